// The names in HFS+ directories: both forks of files, hard links, the private directory.
#include <algorithm>

#include <fmt/format.h>

#include "filesystem/hfsplus_names.h"
#include "filesystem/hfsplus_nodes.h"
#include "filesystem/hfsplus_volume.h"

namespace platter::filesystem {
namespace {

constexpr std::size_t kUnit = 2;  // bytes of a UTF-16 unit
constexpr std::string_view kForkSuffix = ".rsrc";

// Replaces units of a name; returns whether there was one.
bool replace_units(std::string& name, char from, char to) {
  bool any = false;
  for (std::size_t at = 0; at + 1 < name.size(); at += kUnit) {
    if (name[at] != '\0' || name[at + 1] != from) continue;
    name[at + 1] = to;
    any = true;
  }
  return any;
}

}  // namespace

/// A record of the catalog below a directory. Lives as long as the visit.
struct HfsPlusVolume::Child {
  std::string_view name;
  std::span<const std::byte> data;
  NodeId locator = 0;
  std::uint64_t place = 0;  ///< image
};

void HfsPlusVolume::each_child(std::uint64_t directory, FunctionRef<bool(const Child&)> visit) {
  catalog_.each_from(
      [&](std::span<const std::byte> record) {
        return hfsplus_catalog_key(record).parent < directory;
      },
      [&](const HfsTreeNode& node, std::size_t index) {
        const auto record = node.record(index);
        const HfsPlusCatalogKey key = hfsplus_catalog_key(record);
        if (key.parent == 0) {
          say(image_place(node.place),
              fmt::format("record {} of a catalog leaf has no key", index));
          return true;
        }
        if (key.parent != directory) return false;
        if (key.name.empty()) return true;  // the thread
        return visit({key.name, hfs_record_data(record, catalog_.form().key_width),
                      hfsplus_file_node(node.number, index), image_place(node.place)});
      });
  collect(catalog_);
}

// Names that could be taken for, or stand in the way of, those that resource forks get.
std::vector<std::string> HfsPlusVolume::names_like_forks(std::uint64_t directory) {
  const std::string suffix = hfsplus_name_of(kForkSuffix);
  std::vector<std::string> names;
  each_child(directory, [&](const Child& child) {
    if (child.name.find(suffix) != std::string_view::npos) {
      replace_units(names.emplace_back(child.name), '/', ':');
    }
    return true;
  });
  std::ranges::sort(names);
  return names;
}

// The private directory holds the files of hard links, which are shown under their names. It is
// shown itself only when there is anything else in it: files that were removed while in use.
bool HfsPlusVolume::is_hidden(std::uint64_t directory) {
  if (directory != private_id_) return false;
  bool hidden = true;
  each_child(directory,
             [&](const Child& child) { return hidden = is_hfsplus_linked_name(child.name); });
  return hidden;
}

void HfsPlusVolume::each_entry(NodeId directory, FunctionRef<bool(const Entry&)> visit) {
  if (!is_hfsplus_directory(directory)) return;
  std::optional<std::vector<std::string>> taken;
  std::string name;
  each_child(directory, [&](const Child& child) {
    if (directory == private_id_ && is_hfsplus_linked_name(child.name)) return true;
    name.assign(child.name);
    if (replace_units(name, ':', ':')) {
      find(Severity::caution, FindingCode::name_illegal, child.place, catalog_.form().node_bytes,
           "the name of an entry holds a colon, which its filesystem forbids");
    }
    // On this filesystem '/' is a character like any other, and ':' parts names.
    replace_units(name, '/', ':');
    const Child named{name, child.data, child.locator, child.place};
    const std::uint64_t kind = hfsplus_kind(child.data);
    if (kind == kHfsFileRecord && child.data.size() >= kHfsPlusFile.bytes) {
      return visit_file(named, directory, taken, visit);
    }
    if (kind == kHfsDirectoryRecord && child.data.size() >= kHfsPlusDirectory.bytes) {
      return visit_directory(named, visit);
    }
    say(child.place,
        fmt::format("a catalog record with a name has the kind {}, expected a file or a directory",
                    kind));
    return true;
  });
}

bool HfsPlusVolume::visit_directory(const Child& child, FunctionRef<bool(const Entry&)> visit) {
  const std::uint64_t own =
      FieldReader<kHfsPlusDirectory>(child.data.data(), ByteOrder::big).get<"id">();
  if (own < kHfsFirstUserId) {
    say(child.place,
        fmt::format("a directory has the id {}, expected {} or more", own, kHfsFirstUserId));
  }
  seen_[own % kRemembered] = {own, child.locator};
  if (is_hidden(own)) return true;
  return visit(
      {.name = child.name, .charset = Charset::ucs2_be, .node = own, .place = child.place});
}

bool HfsPlusVolume::is_hard_link(File file) const {
  const std::uint64_t created = file.get<"created">();
  return private_id_ != 0 && file.text<"type">() == "hlnk" && file.text<"creator">() == "hfs+" &&
         (created == private_created_ || created == root_created_);
}

HfsPlusVolume::Found HfsPlusVolume::linked_file(File link, std::uint64_t place) {
  const std::uint64_t number = link.sub<"permissions">().get<"special">();
  const std::string name = fmt::format("{}{}", kHfsPlusLinkedFile, number);
  Found found = record_of_key(private_id_, hfsplus_name_of(name));
  const auto data = found.data();
  if (hfsplus_kind(data) == kHfsFileRecord && data.size() >= kHfsPlusFile.bytes) return found;
  say(place, fmt::format("a hard link leads to the file {} of the private directory, which is not "
                         "there",
                         name));
  return {};
}

bool HfsPlusVolume::visit_file(const Child& child, std::uint64_t directory,
                               std::optional<std::vector<std::string>>& taken,
                               FunctionRef<bool(const Entry&)> visit) {
  File file(child.data.data(), ByteOrder::big);
  NodeId node = child.locator;
  Found target;
  if (is_hard_link(file)) target = linked_file(file, child.place);
  if (!target.bytes.empty()) {
    file = File(target.data().data(), ByteOrder::big);
    node = target.locator;
  }
  if ((file.sub<"permissions">().get<"owner_flags">() & kHfsPlusPacked) != 0) {
    find(Severity::note, FindingCode::packed_content, child.place, catalog_.form().node_bytes,
         "files are stored compressed, in their resource forks or in attributes");
  }
  if (!visit(
          {.name = child.name, .charset = Charset::ucs2_be, .node = node, .place = child.place})) {
    return false;
  }
  if (file.sub<"resource">().get<"length">() == 0) return true;
  if (!taken) taken = names_like_forks(directory);
  std::string name = std::string(child.name) + hfsplus_name_of(kForkSuffix);
  const std::size_t plain = name.size();
  for (unsigned number = 2; std::ranges::binary_search(*taken, name); ++number) {
    name.resize(plain);
    name += hfsplus_name_of(fmt::format("-{}", number));
  }
  return visit({.name = name,
                .charset = Charset::ucs2_be,
                .node = node | kHfsPlusResourceMark,
                .place = child.place});
}

}  // namespace platter::filesystem
