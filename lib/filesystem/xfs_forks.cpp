// Where the content of XFS files lies: inside inodes, in lists and in trees of extents.
#include <algorithm>

#include <fmt/format.h>

#include "filesystem/xfs_volume.h"

namespace platter::filesystem {
namespace {

using Root = FieldReader<kXfsExtentsRoot>;
using Head = FieldReader<kXfsExtentsHead>;
using Wide = FieldReader<kXfsWide>;

constexpr std::uint64_t kDeepest = 5;  // levels of blocks below the inode: the buffers of FileMap
constexpr std::uint64_t kUnwritten = std::uint64_t{1} << 63U;

std::uint64_t value_at(const std::byte* numbers, std::uint64_t index) {
  return Wide(numbers + index * kXfsWide.bytes, ByteOrder::big).get<"value">();
}

}  // namespace

// What is done with the extents of a fork.
struct XfsVolume::Mapping {
  FileMap& map;
  std::uint64_t content_units;  // blocks up to the file's end; extents of attributes lie behind it
  std::uint64_t reserved_left;  // blocks behind the end that may still be handed out
  bool elsewhere;               // the content lies in the realtime part

  bool reserve(std::uint64_t block, std::uint64_t count) {
    if (count > reserved_left) {
      map.trouble(MapTrouble::too_much, block);
      return false;
    }
    reserved_left -= count;
    return map.add_reserved(block, count);
  }
};

// A block of a tree of extents, for the file's blocks from `unit` up to `until`.
struct XfsVolume::ExtentNode {
  std::uint64_t level;
  std::uint64_t block;
  std::uint64_t unit;
  std::uint64_t until;

  [[nodiscard]] std::uint64_t count() const { return until - std::min(until, unit); }
};

XfsVolume::Fork XfsVolume::content_fork(const Node& node) const {
  const auto inode = node.inode();
  const std::uint64_t all = node.length - node.core;
  const std::uint64_t start = inode.get<"attributes_start">() * 8;
  const bool wide =
      node.core > kXfsInode.bytes && (node.rest().get<"flags2">() & kXfsWideExtentCount) != 0;
  Fork fork;
  fork.format = inode.get<"format">();
  fork.bytes = std::span(node.raw).subspan(
      static_cast<std::size_t>(node.core),
      static_cast<std::size_t>(start == 0 ? all : std::min(start, all)));
  fork.extents = wide ? inode.get<"wide_extents">() : inode.get<"extents">();
  fork.block = (node.place - view_.start()) / shape_.block_bytes;
  return fork;
}

XfsVolume::Fork XfsVolume::attribute_fork(const Node& node) const {
  const auto inode = node.inode();
  const std::uint64_t start = inode.get<"attributes_start">() * 8;
  Fork fork = content_fork(node);
  const bool wide =
      node.core > kXfsInode.bytes && (node.rest().get<"flags2">() & kXfsWideExtentCount) != 0;
  fork.extents = wide ? inode.get<"extents">() : inode.get<"attribute_extents">();
  fork.format = inode.get<"attributes_format">();
  const std::uint64_t at = node.core + start;
  if (start == 0 || at >= node.length) {
    fork.format = kXfsForkInside;
    fork.bytes = {};
  } else {
    fork.bytes = std::span(node.raw).subspan(static_cast<std::size_t>(at),
                                             static_cast<std::size_t>(node.length - at));
  }
  return fork;
}

bool XfsVolume::map_extent(const std::byte* entry, Mapping& mapping) {
  const FieldReader<kXfsExtent> extent(entry, ByteOrder::big);
  const std::uint64_t high = extent.get<"high">();
  const std::uint64_t low = extent.get<"low">();
  const std::uint64_t unit = high >> 9U & ((std::uint64_t{1} << 54U) - 1);
  const std::uint64_t address = (high & 0x1FFU) << 43U | low >> 21U;
  const std::uint64_t count = low & 0x1FFFFFU;
  if (count == 0) {
    mapping.map.trouble(MapTrouble::pointer, std::max(address, shape_.blocks));
    return true;
  }
  const std::uint64_t inside =
      unit < mapping.content_units ? std::min(count, mapping.content_units - unit) : 0;
  const bool unwritten = (high & kUnwritten) != 0;
  if (mapping.elsewhere) return unwritten || mapping.map.add_absent(unit, count);
  const std::uint64_t block = shape_.block_of(address, count);
  // Given to the file, but never written: reads as zeros.
  if (unwritten) return mapping.reserve(block, count);
  if (inside != 0 && !mapping.map.add(unit, block, inside)) return false;
  return inside == count || mapping.reserve(block + inside, count - inside);
}

bool XfsVolume::map_list(const Fork& fork, Mapping& mapping) {
  const std::uint64_t count = std::min(fork.extents, fork.bytes.size() / kXfsExtent.bytes);
  for (std::uint64_t i = 0; i < count; ++i) {
    if (!map_extent(fork.bytes.data() + i * kXfsExtent.bytes, mapping)) return false;
  }
  return true;
}

bool XfsVolume::map_children(const std::byte* keys, const std::byte* pointers, std::uint64_t count,
                             const ExtentNode& at, Mapping& mapping) {
  for (std::uint64_t i = 0; i < count; ++i) {
    ExtentNode child;
    child.level = at.level - 1;
    child.block = shape_.block_of(value_at(pointers, i), 1);
    child.unit = value_at(keys, i);
    child.until = i + 1 < count ? value_at(keys, i + 1) : at.until;
    if (!map_child(child, mapping)) return false;
  }
  return true;
}

bool XfsVolume::map_child(const ExtentNode& child, Mapping& mapping) {
  FileMap& map = mapping.map;
  if (!map.is_place(child.block, 1)) {
    map.trouble(MapTrouble::pointer, child.block);
    return map.add_absent(child.unit, child.count());
  }
  if (!map.enter(child.block)) {
    map.add_absent(child.unit, kLargest);
    return false;
  }
  std::size_t present = 0;
  const std::byte* bytes =
      map.read_block(child.block, static_cast<std::size_t>(child.level), present);
  // A node that is there in part only has entries that nobody can see.
  if (bytes == nullptr || present < shape_.block_bytes) {
    return map.add_absent(child.unit, child.count());
  }
  const Head head(bytes, ByteOrder::big);
  const std::uint64_t start = shape_.sums ? kXfsExtentsHead5 : kXfsExtentsHead.bytes;
  const std::uint64_t room = (shape_.block_bytes - start) / kXfsExtent.bytes;  // of both kinds
  const std::uint64_t count = head.get<"records">();
  const std::uint64_t magic = shape_.sums ? kXfsExtentsMagic5 : kXfsExtentsMagic;
  if (head.get<"magic">() != magic || head.get<"level">() != child.level || count > room) {
    map.trouble(MapTrouble::node, child.block);
    return map.add_absent(child.unit, child.count());
  }
  const std::byte* first = bytes + start;
  if (child.level > 0) {
    return map_children(first, first + room * kXfsWide.bytes, count, child, mapping);
  }
  for (std::uint64_t i = 0; i < count; ++i) {
    if (!map_extent(first + i * kXfsExtent.bytes, mapping)) return false;
  }
  return true;
}

bool XfsVolume::map_fork(const Fork& fork, Mapping& mapping) {
  if (fork.format == kXfsForkExtents) return map_list(fork, mapping);
  if (fork.format != kXfsForkTree) return true;
  const ExtentNode nothing{0, fork.block, 0, kLargest};
  if (fork.bytes.size() < kXfsExtentsRoot.bytes + kXfsExtent.bytes) {
    mapping.map.trouble(MapTrouble::node, fork.block);
    return mapping.map.add_absent(0, kLargest);
  }
  const Root root(fork.bytes.data(), ByteOrder::big);
  const std::uint64_t room = (fork.bytes.size() - kXfsExtentsRoot.bytes) / kXfsExtent.bytes;
  const std::uint64_t level = root.get<"level">();
  if (level == 0 || level > kDeepest || root.get<"records">() > room) {
    mapping.map.trouble(MapTrouble::node, fork.block);
    return mapping.map.add_absent(0, kLargest);
  }
  const std::byte* keys = fork.bytes.data() + kXfsExtentsRoot.bytes;
  ExtentNode at = nothing;
  at.level = level;
  return map_children(keys, keys + room * kXfsWide.bytes, root.get<"records">(), at, mapping);
}

void XfsVolume::say_trouble(const Node& node, const Fork& fork, const FileMap& map) {
  const std::uint64_t room = fork.bytes.size() / kXfsExtent.bytes;
  if (fork.format == kXfsForkExtents && fork.extents > room) {
    find(Severity::fault, FindingCode::filesystem_damaged, node.place, kXfsInode.bytes,
         fmt::format("inode {} has {} extents in its list, expected at most {}", node.number,
                     fork.extents, room));
  }
  if (map.trouble() == MapTrouble::none) return;
  find(Severity::fault, trouble_code(map.trouble()), node.place, kXfsInode.bytes,
       fmt::format("inode {} {}", node.number, trouble_words(map, space())));
}

void XfsVolume::map(const Node& node, std::uint64_t bytes, FileMap::Wanted wanted,
                    FunctionRef<bool(const Extent&)> visit) {
  const BlockSpace blocks = space();
  const Fork fork = content_fork(node);
  FileMap map(view_, blocks, bytes, wanted, visit);
  Mapping mapping{
      map, divide_up(bytes, shape_.block_bytes), shape_.blocks,
      node.type == NodeType::file && (node.inode().get<"flags">() & kXfsInRealtime) != 0};
  if (mapping.elsewhere && fork.extents != 0) {
    find(Severity::caution, FindingCode::content_missing, node.place, kXfsInode.bytes,
         fmt::format("the content of inode {} lies in the realtime part of the volume, which is on "
                     "another device",
                     node.number));
  }
  map_fork(fork, mapping);
  map.finish();
  say_trouble(node, fork, map);
}

void XfsVolume::inside_extent(const Node& node, FunctionRef<bool(const Extent&)> visit) {
  const std::uint64_t room = content_fork(node).bytes.size();
  const std::uint64_t held = std::min(room, node.bytes);
  if (held != 0 && !visit({0, node.place + node.core, held, false})) return;
  if (node.bytes <= room) return;
  find(Severity::fault, FindingCode::filesystem_damaged, node.place, kXfsInode.bytes,
       fmt::format("inode {} has {} bytes of content inside itself, expected at most {}",
                   node.number, node.bytes, room));
  visit({held, 0, node.bytes - held, true});
}

bool XfsVolume::has_link_heads(const Node& node) const {
  return shape_.sums && node.type == NodeType::symlink &&
         node.inode().get<"format">() != kXfsForkInside;
}

// Each run of blocks begins with a head of its own. A maker that leaves the heads out is met too
// (mkfs.xfs 6.1 with long links in its prototype).
void XfsVolume::link_extents(const Node& node, FunctionRef<bool(const Extent&)> visit) {
  const std::uint64_t inside = shape_.block_bytes - kXfsLinkHead.bytes;
  const std::uint64_t stored = saturating_mul(divide_up(node.bytes, inside), shape_.block_bytes);
  std::uint64_t done = 0;
  bool bare = false;
  map(node, stored, FileMap::Wanted::data, [&](const Extent& extent) {
    if (done >= node.bytes) return false;
    const std::uint64_t magic = extent.absent
                                    ? kXfsLinkMagic5
                                    : view_.number(extent.start - view_.start(), 4, ByteOrder::big);
    if (magic != kXfsLinkMagic5) {
      find(
          Severity::caution, FindingCode::filesystem_damaged, extent.start, kXfsLinkHead.bytes,
          fmt::format("the text of the link in inode {} begins with {:#010x}, expected a head with "
                      "{:#010x}; it is read as if it had none",
                      node.number, magic, kXfsLinkMagic5));
      bare = true;
      return false;
    }
    const std::uint64_t room =
        extent.bytes - std::min<std::uint64_t>(extent.bytes, kXfsLinkHead.bytes);
    const std::uint64_t length = std::min(room, node.bytes - done);
    const Extent text{done, extent.absent ? 0 : extent.start + kXfsLinkHead.bytes, length,
                      extent.absent};
    done += length;
    return length == 0 || visit(text);
  });
  if (bare && done == 0) map(node, node.bytes, FileMap::Wanted::data, visit);
}

void XfsVolume::each_extent(NodeId number, FunctionRef<bool(const Extent&)> visit) {
  const auto node = node_of(number);
  if (!node) return;
  const bool has_content = node->type == NodeType::file || node->type == NodeType::directory ||
                           node->type == NodeType::symlink;
  if (!has_content || node->bytes == 0) return;
  const std::uint64_t format = node->inode().get<"format">();
  if (format == kXfsForkInside) return inside_extent(*node, visit);
  if (format != kXfsForkExtents && format != kXfsForkTree) {
    find(
        Severity::fault, FindingCode::filesystem_damaged, node->place, kXfsInode.bytes,
        fmt::format("inode {} stores its content in the form {}, expected 1 to 3", number, format));
    visit({0, 0, node->bytes, true});
    return;
  }
  if (has_link_heads(*node)) return link_extents(*node, visit);
  map(*node, node->bytes, FileMap::Wanted::data, visit);
}

void XfsVolume::each_further_block(NodeId number, FunctionRef<bool(const Extent&)> visit) {
  const auto node = node_of(number);
  if (!node || node->type == NodeType::unknown) return;
  bool stopped = false;
  const auto pass = [&](const Extent& extent) {
    stopped = stopped || !visit(extent);
    return !stopped;
  };
  const Fork content = content_fork(*node);
  if (content.format == kXfsForkExtents || content.format == kXfsForkTree) {
    // Blocks that begin with a head are none of a link's extents.
    map(*node, has_link_heads(*node) ? 0 : node->bytes, FileMap::Wanted::pointer_blocks, pass);
  }
  const Fork attributes = attribute_fork(*node);
  if (stopped || (attributes.format != kXfsForkExtents && attributes.format != kXfsForkTree)) {
    return;
  }
  FileMap map(view_, space(), 0, FileMap::Wanted::pointer_blocks, pass);
  Mapping mapping{map, 0, shape_.blocks, false};
  map_fork(attributes, mapping);
  say_trouble(*node, attributes, map);
}

}  // namespace platter::filesystem
