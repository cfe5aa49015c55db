#include "filesystem/hfsplus_volume.h"

#include <algorithm>

#include <fmt/format.h>

#include "filesystem/hfs_layout.h"
#include "filesystem/hfsplus_names.h"
#include "filesystem/hfsplus_nodes.h"
#include "filesystem/link_text.h"

namespace platter::filesystem {
namespace {

constexpr std::size_t kLongestTarget = 65536;
constexpr std::size_t kUnit = 2;  // bytes of a UTF-16 unit

// Names of files on a hybrid disc that share their blocks: where those lie.
constexpr std::uint64_t kPlaceMark = std::uint64_t{1} << 61U;

constexpr std::uint32_t kTypeBits = 0170000;
constexpr std::uint32_t kPermissionBits = 07777;

}  // namespace

HfsPlusVolume::HfsPlusVolume(View volume, std::uint64_t lead, const HfsPlusHeader& header)
    : volume_(std::move(volume)),
      lead_(lead),
      header_(header),
      blocks_(header.get<"blocks">()),
      block_bytes_(header.get<"block_bytes">()),
      extents_(volume_, {}),
      catalog_(volume_, {}),
      attribute_tree_(volume_, {}),
      by_case_(false),
      seen_(kRemembered) {
  extents_ = tree_of(kHfsExtentsFile, header_.sub<"extents">(), "extents file");
  catalog_ = tree_of(kHfsCatalogFile, header_.sub<"catalog">(), "catalog");
  attribute_tree_ =
      tree_of(kHfsPlusAttributeFile, header_.sub<"attribute_tree">(), "attributes file");
  allocation_ = runs_of(kHfsPlusAllocationFile, header_.sub<"allocation">());
  by_case_ = header_.get<"signature">() == kHfsPlusCaseSignature &&
             catalog_.header().get<"key_order">() == kHfsPlusByCase;
  find_private_directory();
}

void HfsPlusVolume::say(std::uint64_t at, std::string message, Severity severity) {
  find(severity, FindingCode::filesystem_damaged, at, catalog_.form().node_bytes,
       std::move(message));
}

void HfsPlusVolume::collect(HfsTree& tree) {
  if (auto problem = tree.take_problem()) {
    say(image_place(problem->place), std::move(problem->message));
  }
}

// Hard links count only when they were created with one of these two directories.
void HfsPlusVolume::find_private_directory() {
  const auto directory_of = [](const Found& found) -> const std::byte* {
    const auto data = found.data();
    const bool is_one =
        hfsplus_kind(data) == kHfsDirectoryRecord && data.size() >= kHfsPlusDirectory.bytes;
    return is_one ? data.data() : nullptr;
  };
  const Found root = record_of_directory(kHfsRoot);
  const Found found = record_of_key(kHfsRoot, hfsplus_private_name());
  const std::byte* own = directory_of(found);
  if (own == nullptr) return;
  const FieldReader<kHfsPlusDirectory> directory(own, ByteOrder::big);
  private_id_ = directory.get<"id">();
  private_created_ = directory.get<"created">();
  root_created_ = private_created_;
  if (const std::byte* top = directory_of(root)) {
    root_created_ = FieldReader<kHfsPlusDirectory>(top, ByteOrder::big).get<"created">();
  }
}

HfsPlusVolume::Found HfsPlusVolume::record_at(NodeId locator) const {
  const std::uint64_t leaf = hfsplus_leaf_of(locator);
  Found found;
  if (!held_ || held_->number != leaf) {
    // What a failing medium leaves half read is not held.
    HfsTreeNode node = held_ ? std::move(*held_) : HfsTreeNode{};
    held_.reset();
    if (!catalog_.read(leaf, node)) return found;
    held_ = std::move(node);
  }
  if (!held_->is_leaf()) return found;
  const auto record = held_->record(hfsplus_index_of(locator));
  found.bytes.assign(record.begin(), record.end());
  found.place = image_place(held_->place);
  found.locator = locator;
  return found;
}

HfsPlusVolume::Found HfsPlusVolume::record_of_key(std::uint64_t parent, std::string_view name) {
  Found found;
  catalog_.each_from(
      [&](std::span<const std::byte> record) {
        const HfsPlusCatalogKey key = hfsplus_catalog_key(record);
        return key.parent < parent ||
               (key.parent == parent && compare_hfsplus_names(key.name, name, by_case_) < 0);
      },
      [&](const HfsTreeNode& node, std::size_t index) {
        const auto record = node.record(index);
        const HfsPlusCatalogKey key = hfsplus_catalog_key(record);
        if (key.parent == parent && compare_hfsplus_names(key.name, name, by_case_) == 0) {
          found.bytes.assign(record.begin(), record.end());
          found.place = image_place(node.place);
          found.locator = hfsplus_file_node(node.number, index);
        }
        return false;
      });
  collect(catalog_);
  return found;
}

// The record of a directory lies in its parent. It was read just now, or the thread leads there.
HfsPlusVolume::Found HfsPlusVolume::record_of_directory(std::uint64_t id) {
  const auto is_it = [&](const Found& found) {
    const auto data = found.data();
    return hfsplus_kind(data) == kHfsDirectoryRecord && data.size() >= kHfsPlusDirectory.bytes &&
           FieldReader<kHfsPlusDirectory>(data.data(), ByteOrder::big).get<"id">() == id;
  };
  const Seen& seen = seen_[id % kRemembered];
  if (seen.id == id) {
    Found found = record_at(seen.locator);
    if (is_it(found)) return found;
  }
  const Found thread = record_of_key(id, "");
  const auto data = thread.data();
  if (hfsplus_kind(data) != kHfsDirectoryThread || data.size() < kHfsPlusThread.bytes) return {};
  const FieldReader<kHfsPlusThread> reader(data.data(), ByteOrder::big);
  const std::uint64_t units = std::min(reader.get<"name_units">(), kHfsPlusMostUnits);
  Found found = record_of_key(reader.get<"parent">(),
                              hfs_name(kUnit * units, data.subspan(kHfsPlusThread.bytes)));
  return is_it(found) ? found : Found{};
}

void HfsPlusVolume::add_permissions(Attributes& attributes,
                                    FieldReader<kHfsPlusPermissions> permissions,
                                    std::uint64_t place) {
  const auto mode = static_cast<std::uint32_t>(permissions.get<"mode">());
  if ((mode & kTypeBits) == 0) return;  // never set
  attributes.mode = mode & kPermissionBits;
  attributes.uid = static_cast<std::uint32_t>(permissions.get<"uid">());
  attributes.gid = static_cast<std::uint32_t>(permissions.get<"gid">());
  const NodeType type = type_of_mode(mode);
  const bool is_directory = attributes.type == NodeType::directory;
  if (type == NodeType::unknown || (type == NodeType::directory) != is_directory) {
    say(place, fmt::format("the mode of a {} is {:o}, expected one of its kind",
                           is_directory ? "directory" : "file", mode));
  } else {
    attributes.type = type;
  }
}

Attributes HfsPlusVolume::attributes_of_directory(std::uint64_t id) {
  Attributes attributes;
  const Found found = record_of_directory(id);
  if (found.bytes.empty()) {
    if (id == kHfsRoot) attributes.type = NodeType::directory;
    return attributes;
  }
  const FieldReader<kHfsPlusDirectory> directory(found.data().data(), ByteOrder::big);
  attributes.type = NodeType::directory;
  attributes.modified = hfs_time(directory.get<"modified">());
  attributes.changed = hfs_time(directory.get<"changed">());
  attributes.accessed = hfs_time(directory.get<"accessed">());
  attributes.created = hfs_time(directory.get<"created">());
  add_permissions(attributes, directory.sub<"permissions">(), found.place);
  return attributes;
}

Attributes HfsPlusVolume::attributes(NodeId node) {
  if (is_hfsplus_directory(node)) return attributes_of_directory(node);
  Attributes attributes;
  const Found found = record_at(node);
  const auto data = found.data();
  if (hfsplus_kind(data) != kHfsFileRecord || data.size() < kHfsPlusFile.bytes) return attributes;
  const File file(data.data(), ByteOrder::big);
  const bool resource = is_hfsplus_resource(node);
  const bool link = file.text<"type">() == "slnk" && file.text<"creator">() == "rhap";
  attributes.type = link ? NodeType::symlink : NodeType::file;
  attributes.modified = hfs_time(file.get<"modified">());
  attributes.changed = hfs_time(file.get<"changed">());
  attributes.accessed = hfs_time(file.get<"accessed">());
  attributes.created = hfs_time(file.get<"created">());
  const auto permissions = file.sub<"permissions">();
  add_permissions(attributes, permissions, found.place);
  if (resource) attributes.type = NodeType::file;
  const Fork fork = resource ? file.sub<"resource">() : file.sub<"data">();
  attributes.bytes = fork.get<"length">();
  const auto special = static_cast<std::uint32_t>(permissions.get<"special">());
  if (attributes.type == NodeType::char_device || attributes.type == NodeType::block_device) {
    attributes.device = DeviceNumber{special >> 24U, special & 0xFFFFFFU};
  }
  const HfsPlusCatalogKey key = hfsplus_catalog_key(found.bytes);
  if (private_id_ != 0 && key.parent == private_id_ && is_hfsplus_linked_name(key.name)) {
    attributes.links = special;
    attributes.identity = node;
  } else if (!is_hybrid()) {
    attributes.links = 1;
  } else if (attributes.type == NodeType::file && attributes.bytes != 0) {
    // Makers of hybrid discs give all names of a file the same blocks.
    attributes.identity =
        kPlaceMark | image_place(fork.sub<"extents">(0).get<"start">() * block_bytes_);
  }
  return attributes;
}

std::string HfsPlusVolume::link_target(NodeId node) {
  const Attributes known = attributes(node);
  if (known.type != NodeType::symlink) return {};
  std::string target = link_text(*this, volume_, node, std::min(known.bytes, kLongestTarget));
  // Makers of discs fill the block up.
  const std::size_t end = target.find('\0');
  if (end != std::string::npos) target.resize(end);
  return target;
}

}  // namespace platter::filesystem
