#include "filesystem/minix_volume.h"

#include <algorithm>
#include <cstring>

#include <fmt/format.h>

#include "core/name_scan.h"
#include "filesystem/link_text.h"

namespace platter::filesystem {
namespace {

constexpr std::uint64_t kPiece = 64 * 1024;
constexpr std::uint64_t kDirect = 7;

}  // namespace

MinixVolume::MinixVolume(const View& view, const MinixNumbers& numbers,
                         std::optional<Charset> charset)
    : view_(view.sub(0, saturating_mul(numbers.zones, numbers.zone_bytes))),
      numbers_(numbers),
      charset_(charset.value_or(Charset::ascii)),
      map_word_(minix_map_word(view_, numbers_)),
      inodes_(view_) {}

std::uint64_t MinixVolume::inode_place(NodeId node) const {
  return numbers_.inode_place() + (node - 1) * numbers_.inode_bytes;
}

std::optional<MinixVolume::Inode> MinixVolume::inode(NodeId node) {
  if (node == 0 || node > numbers_.inodes) return std::nullopt;
  const auto bytes = inodes_.at(inode_place(node), static_cast<std::size_t>(numbers_.inode_bytes));
  if (bytes.empty()) {
    if (inodes_.failed()) {
      find(Severity::fault, FindingCode::unreadable,
           saturating_add(view_.start(), inode_place(node)), numbers_.inode_bytes,
           fmt::format("inode {} could not be read", node));
    }
    return std::nullopt;
  }
  const auto word = [](std::uint64_t value) { return static_cast<std::uint32_t>(value); };
  const auto seconds = [](std::uint64_t value) { return static_cast<std::int64_t>(value); };
  Inode inode;
  if (numbers_.version == 1) {
    const FieldReader<kMinixInode1> record(bytes.data(), numbers_.order);
    inode = {word(record.get<"mode">()),
             word(record.get<"uid">()),
             word(record.get<"gid">()),
             word(record.get<"links">()),
             record.get<"size">(),
             0,
             seconds(record.get<"mtime">()),
             0,
             {}};
    for (std::size_t i = 0; i < 9; ++i)
      inode.zones[i] = record.get<"zone">(i);
  } else {
    const FieldReader<kMinixInode2> record(bytes.data(), numbers_.order);
    inode = {word(record.get<"mode">()),
             word(record.get<"uid">()),
             word(record.get<"gid">()),
             word(record.get<"links">()),
             record.get<"size">(),
             seconds(record.get<"atime">()),
             seconds(record.get<"mtime">()),
             seconds(record.get<"ctime">()),
             {}};
    for (std::size_t i = 0; i < 10; ++i)
      inode.zones[i] = record.get<"zone">(i);
  }
  return inode;
}

Attributes MinixVolume::attributes(NodeId node) {
  Attributes result;
  const auto found = inode(node);
  if (!found) return result;
  result.identity = node;
  result.type = type_of_mode(found->mode);
  if (result.type == NodeType::unknown) {
    find(Severity::fault, FindingCode::filesystem_damaged,
         saturating_add(view_.start(), inode_place(node)), 2,
         fmt::format("inode {} has a name and the mode {:#o}, expected the type of a file", node,
                     found->mode));
    return result;
  }
  result.bytes = found->bytes;
  result.mode = found->mode & 07777U;
  result.uid = found->uid;
  result.gid = found->gid;
  result.links = found->links;
  result.modified = Timestamp{found->mtime};
  if (numbers_.version != 1) {
    result.accessed = Timestamp{found->atime};
    result.changed = Timestamp{found->ctime};
  }
  if (result.type == NodeType::char_device || result.type == NodeType::block_device) {
    const auto number = static_cast<std::uint32_t>(found->zones[0]);
    result.device = DeviceNumber{number >> 8U & 0xFFU, number & 0xFFU};
    result.bytes = 0;
  }
  return result;
}

void MinixVolume::map(NodeId node, FileMap::Wanted wanted, FunctionRef<bool(const Extent&)> visit) {
  const auto found = inode(node);
  if (!found) return;
  const NodeType type = type_of_mode(found->mode);
  if (type != NodeType::file && type != NodeType::directory && type != NodeType::symlink) return;
  const BlockSpace zones{numbers_.zone_bytes, numbers_.first_data_zone, numbers_.zones};
  FileMap map(view_, zones, found->bytes, wanted, visit);
  const unsigned width = numbers_.version == 1 ? 2 : 4;
  // A zone of pointers is used for one block only, however large a zone is.
  const PointerBlock form{width, numbers_.block_bytes / width, numbers_.order};
  bool go_on = true;
  for (std::uint64_t i = 0; i < kDirect && go_on; ++i)
    go_on = map.add(i, found->zones[i]);
  const unsigned levels = numbers_.version == 1 ? 2 : 3;
  std::uint64_t unit = kDirect;
  std::uint64_t below = form.pointers;
  for (unsigned level = 1; level <= levels && go_on; ++level) {
    go_on = map.add_tree(unit, found->zones[kDirect + level - 1], level, form);
    unit += below;
    below *= form.pointers;
  }
  map.finish();
  if (map.trouble() == MapTrouble::none) return;
  find(Severity::fault, trouble_code(map.trouble()),
       saturating_add(view_.start(), inode_place(node)), numbers_.inode_bytes,
       fmt::format("inode {} {}", node, trouble_words(map, zones)));
}

void MinixVolume::each_extent(NodeId node, FunctionRef<bool(const Extent&)> visit) {
  map(node, FileMap::Wanted::data, visit);
}

void MinixVolume::each_further_block(NodeId node, FunctionRef<bool(const Extent&)> visit) {
  map(node, FileMap::Wanted::pointer_blocks, visit);
}

void MinixVolume::each_entry(NodeId directory, FunctionRef<bool(const Entry&)> visit) {
  const auto found = inode(directory);
  if (!found || type_of_mode(found->mode) != NodeType::directory) return;
  // What is visited may come back here for another directory.
  std::vector<std::byte> buffer = std::move(spare_);
  each_extent(directory, [&](const Extent& extent) {
    if (extent.absent) return true;
    for (std::uint64_t skip = 0; skip < extent.bytes; skip += kPiece) {
      const std::uint64_t wanted = std::min(kPiece, extent.bytes - skip);
      if (buffer.size() < wanted) buffer.resize(static_cast<std::size_t>(wanted));
      const auto piece = std::span(buffer).first(static_cast<std::size_t>(wanted));
      const std::uint64_t place = extent.start + skip;
      const std::size_t present = view_.read(place - view_.start(), piece);
      if (!read_entries(directory, piece.first(present), place, visit)) return false;
      if (present < wanted) break;
    }
    return true;
  });
  spare_ = std::move(buffer);
}

bool MinixVolume::read_entries(NodeId directory, std::span<const std::byte> bytes,
                               std::uint64_t place, FunctionRef<bool(const Entry&)> visit) {
  const std::size_t width = numbers_.version == 3 ? 4 : 2;
  const std::size_t step = width + numbers_.name_bytes;
  for (std::size_t at = 0; at + step <= bytes.size(); at += step) {
    const std::uint64_t number = decode_unsigned(bytes.subspan(at, width), numbers_.order);
    if (number == 0) continue;
    const char* name = reinterpret_cast<const char*>(bytes.data() + at + width);
    const Entry entry{{name, strnlen(name, numbers_.name_bytes)}, charset_, number, place + at};
    if (entry.name == "." || entry.name == "..") continue;
    if (number > numbers_.inodes) {
      find(Severity::fault, FindingCode::filesystem_damaged, entry.place, width,
           fmt::format("an entry of directory {} leads to inode {}, expected one from 1 to {}",
                       directory, number, numbers_.inodes));
    }
    if (entry.name.empty() || has_slash_or_nul(entry.name)) {
      find(Severity::fault, FindingCode::name_illegal, entry.place, step,
           fmt::format("directory {} holds a name of {} bytes that is empty or has a '/' in it",
                       directory, entry.name.size()));
      if (entry.name.empty()) continue;
    }
    if (!visit(entry)) return false;
  }
  return true;
}

std::string MinixVolume::link_target(NodeId node) {
  const auto found = inode(node);
  if (!found || type_of_mode(found->mode) != NodeType::symlink) return {};
  if (found->bytes > numbers_.block_bytes) {
    find(Severity::fault, FindingCode::filesystem_damaged,
         saturating_add(view_.start(), inode_place(node)), numbers_.inode_bytes,
         fmt::format("the link in inode {} has {} bytes, expected at most {}", node, found->bytes,
                     numbers_.block_bytes));
  }
  return link_text(*this, view_, node, std::min(found->bytes, numbers_.block_bytes));
}

}  // namespace platter::filesystem
