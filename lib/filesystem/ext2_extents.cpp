// Where the content of ext2 files lies: pointers, extent trees, and inside inodes.
#include <algorithm>
#include <cstring>

#include <fmt/format.h>

#include "filesystem/ext2_attributes.h"
#include "filesystem/ext2_volume.h"

namespace platter::filesystem {
namespace {

using Inode = FieldReader<kExt2Inode>;
using Header = FieldReader<kExt2ExtentHeader>;
using Leaf = FieldReader<kExt2Extent>;
using Index = FieldReader<kExt2ExtentIndex>;
using Attribute = FieldReader<kExt2Attribute>;

constexpr std::uint64_t kDirect = 12;
constexpr unsigned kDeepest = 5;                // 4 entries in the inode and 84 in a small block
constexpr std::uint64_t kMostInExtent = 32768;  // more: not written yet
constexpr std::uint64_t kInlineBytes = 60;      // bytes of the pointers
constexpr std::uint64_t kSystemNames = 7;
constexpr std::uint64_t kHurd = 1;

}  // namespace

bool Ext2Volume::map_pointers(const Node& node, FileMap& map) {
  const std::uint64_t pointers = numbers_.block_bytes / 4;
  const PointerBlock form{4, pointers, order_};
  for (std::uint64_t i = 0; i < kDirect; ++i) {
    if (!map.add(i, node.record.get<"block">(static_cast<std::size_t>(i)))) return false;
  }
  std::uint64_t unit = kDirect;
  std::uint64_t below = pointers;
  for (unsigned level = 1; level <= 3; ++level) {
    if (!map.add_tree(unit, node.record.get<"block">(kDirect + level - 1), level, form)) {
      return false;
    }
    unit += below;
    below *= pointers;
  }
  return true;
}

bool Ext2Volume::map_extents(const ExtentNode& at, FileMap& map) {
  const Header header(at.bytes, order_);
  const std::uint64_t entries = header.get<"entries">();
  const std::uint64_t room = (at.length - kExt2ExtentHeader.bytes) / kExt2Extent.bytes;
  if (header.get<"magic">() != kExt2ExtentMagic || entries > room ||
      header.get<"depth">() != at.depth) {
    map.trouble(MapTrouble::node, at.block);
    return map.add_absent(at.unit, at.until - std::min(at.until, at.unit));
  }
  const std::byte* first = at.bytes + kExt2ExtentHeader.bytes;
  for (std::uint64_t i = 0; i < entries; ++i) {
    const std::byte* entry = first + i * kExt2Extent.bytes;
    if (at.depth == 0) {
      if (!map_extent(entry, map)) return false;
      continue;
    }
    const Index index(entry, order_);
    const std::uint64_t until =
        i + 1 < entries ? Index(entry + kExt2ExtentIndex.bytes, order_).get<"block">() : at.until;
    const std::uint64_t block = index.get<"leaf_hi">() << 32U | index.get<"leaf">();
    if (!map_child({nullptr, 0, at.depth - 1, block, index.get<"block">(), until}, map))
      return false;
  }
  return true;
}

bool Ext2Volume::map_child(ExtentNode child, FileMap& map) {
  const std::uint64_t count = child.until - std::min(child.until, child.unit);
  if (!map.is_place(child.block, 1)) {
    map.trouble(MapTrouble::pointer, child.block);
    return map.add_absent(child.unit, count);
  }
  if (!map.enter(child.block)) {
    map.add_absent(child.unit, kLargest);
    return false;
  }
  child.bytes = map.read_block(child.block, child.depth, child.length);
  // A node that is there in part only has entries that nobody can see.
  if (child.bytes == nullptr || child.length < numbers_.block_bytes) {
    return map.add_absent(child.unit, count);
  }
  return map_extents(child, map);
}

bool Ext2Volume::map_extent(const std::byte* entry, FileMap& map) {
  const Leaf leaf(entry, order_);
  const std::uint64_t length = leaf.get<"len">();
  const std::uint64_t block = leaf.get<"start_hi">() << 32U | leaf.get<"start">();
  if (length == 0 || block == 0) {
    map.trouble(MapTrouble::pointer, block);
    return true;
  }
  if (length <= kMostInExtent) return map.add(leaf.get<"block">(), block, length);
  // Given to the file, but never written: reads as zeros.
  return map.add_reserved(block, length - kMostInExtent);
}

bool Ext2Volume::map_node(const Node& node, FileMap& map) {
  if ((node.flags & kExt2InodeExtents) == 0) return map_pointers(node, map);
  const auto root = node.record.raw<"block">();
  const auto depth = static_cast<unsigned>(Header(root.data(), order_).get<"depth">());
  const std::uint64_t block = (node.place + Inode::offset_of<"block">()) / numbers_.block_bytes;
  if (depth > kDeepest) {
    map.trouble(MapTrouble::node, block);
    return map.add_absent(0, kLargest);
  }
  return map_extents({root.data(), root.size(), depth, block, 0, kLargest}, map);
}

void Ext2Volume::map(NodeId number, FileMap::Wanted wanted,
                     FunctionRef<bool(const Extent&)> visit) {
  const auto node = node_of(number);
  if (!node) return;
  const bool special = number < (numbers_.dynamic ? super_.get<"first_ino">() : 11);
  const bool has_content = node->type == NodeType::file || node->type == NodeType::directory ||
                           node->type == NodeType::symlink ||
                           (special && node->type == NodeType::unknown);
  if (!has_content) return;
  const bool data = wanted == FileMap::Wanted::data;
  if (is_short_link(*node)) {
    const std::uint64_t at = node->place + Inode::offset_of<"block">();
    if (data && node->bytes != 0) visit({0, saturating_add(view_.start(), at), node->bytes, false});
    return;
  }
  if (data) say_stored_form(*node);
  if ((node->flags & kExt2InodeInline) != 0) {
    if (data) inline_extents(*node, visit);
    return;
  }
  const BlockSpace blocks = space();
  FileMap map(view_, blocks, node->bytes, wanted, visit);
  map_node(*node, map);
  map.finish();
  if (map.trouble() == MapTrouble::none) return;
  find(Severity::fault, trouble_code(map.trouble()), saturating_add(view_.start(), node->place),
       kExt2Inode.bytes, fmt::format("inode {} {}", number, trouble_words(map, blocks)));
}

// Where a regular file lies whose inode shows at a glance that it lies in one piece, as most do; 0
// bytes for an empty one. Everything else, and everything doubtful, is for map().
std::optional<Extent> Ext2Volume::one_extent(const std::byte* bytes) const {
  const Inode inode(bytes, order_);
  constexpr std::uint64_t kSpecial = kExt2InodeCompressed | kExt2InodeEncrypted | kExt2InodeInline;
  const std::uint64_t flags = inode.get<"flags">();
  if (type_of_mode(static_cast<std::uint32_t>(inode.get<"mode">())) != NodeType::file ||
      (flags & kSpecial) != 0) {
    return std::nullopt;
  }
  const std::uint64_t size = size_of(NodeType::file, inode.get<"size">(), inode.get<"size_high">());
  std::uint64_t first = 0;
  std::uint64_t count = 0;
  if ((flags & kExt2InodeExtents) != 0) {
    const std::byte* root = bytes + Inode::offset_of<"block">();
    const Header header(root, order_);
    const Leaf leaf(root + kExt2ExtentHeader.bytes, order_);
    if (header.get<"magic">() != kExt2ExtentMagic || header.get<"depth">() != 0 ||
        header.get<"entries">() != 1 || leaf.get<"block">() != 0) {
      return std::nullopt;
    }
    first = leaf.get<"start_hi">() << 32U | leaf.get<"start">();
    count = leaf.get<"len">();
    if (count == 0 || count > kMostInExtent) return std::nullopt;
  } else {
    if (size == 0) return Extent{};
    if (size > kDirect * numbers_.block_bytes) return std::nullopt;
    first = inode.get<"block">(0);
    count = divide_up(size, numbers_.block_bytes);
    for (std::size_t i = 1; i < count; ++i) {
      if (inode.get<"block">(i) != first + i) return std::nullopt;
    }
  }
  if (first <= numbers_.first_block || !fits_within(first, count, numbers_.blocks)) {
    return std::nullopt;
  }
  return Extent{.start = saturating_add(view_.start(), first * numbers_.block_bytes),
                .bytes = std::min(count * numbers_.block_bytes, size)};
}

void Ext2Volume::each_extent(NodeId node, FunctionRef<bool(const Extent&)> visit) {
  const std::byte* bytes = inode(node);
  if (bytes == nullptr) return;
  if (const auto extent = one_extent(bytes)) {
    if (extent->bytes != 0) visit(*extent);
    return;
  }
  map(node, FileMap::Wanted::data, visit);
}

void Ext2Volume::each_further_block(NodeId node, FunctionRef<bool(const Extent&)> visit) {
  bool wanted = true;
  map(node, FileMap::Wanted::pointer_blocks,
      [&](const Extent& extent) { return wanted = visit(extent); });
  if (!wanted || super_.get<"creator_os">() != kHurd) return;
  // The command line of the program that stands for the file has a block of its own.
  const std::byte* bytes = inode(node);
  const std::uint64_t block = bytes == nullptr ? 0 : Inode(bytes, order_).get<"os1">();
  if (block > numbers_.first_block && block < numbers_.blocks) {
    visit({0, saturating_add(view_.start(), block * numbers_.block_bytes), numbers_.block_bytes,
           false});
  }
}

void Ext2Volume::say_stored_form(const Node& node) {
  std::string_view form;
  if ((node.flags & kExt2InodeEncrypted) != 0 &&
      (numbers_.incompatible & kExt2IncompatEncryption) != 0) {
    form = "encrypted";
  } else if ((node.flags & kExt2InodeCompressed) != 0 &&
             (numbers_.incompatible & kExt2IncompatCompression) != 0) {
    form = "compressed";
  }
  if (form.empty()) return;
  find(Severity::caution, FindingCode::filesystem_damaged,
       saturating_add(view_.start(), node.place), kExt2Inode.bytes,
       fmt::format("inode {} is {}; its bytes are shown as they are stored", node.number, form));
}

// Content that fits stands over the pointers, and goes on in the extended attribute "system.data"
// in the rest of the inode.
void Ext2Volume::inline_extents(const Node& node, FunctionRef<bool(const Extent&)> visit) {
  const std::uint64_t start = saturating_add(view_.start(), node.place);
  const std::uint64_t first = std::min(node.bytes, kInlineBytes);
  if (first == 0 || !visit({0, start + Inode::offset_of<"block">(), first, false})) return;
  if (node.bytes <= kInlineBytes) return;
  // A file may be longer than what it has inside: the rest is a hole (Linux fs/ext4/inline.c reads
  // zeros there), as populated volumes of mke2fs have it.
  if (const auto rest = inline_rest(node)) {
    const std::uint64_t length = std::min(rest->bytes, node.bytes - first);
    if (length != 0) visit({first, rest->start, length, false});
    return;
  }
  const std::uint64_t done = first;
  find(Severity::fault, FindingCode::filesystem_damaged, start, numbers_.inode_bytes,
       fmt::format("inode {} holds {} bytes of its content, expected {}", node.number, done,
                   node.bytes));
  visit({done, 0, node.bytes - done, true});
}

std::optional<Extent> Ext2Volume::inline_rest(const Node& node) {
  const std::byte* bytes = inode(node.number);
  if (bytes == nullptr) return std::nullopt;
  const std::span all(bytes, static_cast<std::size_t>(numbers_.inode_bytes));
  const auto first = attributes_inside(all);
  if (!first) return std::nullopt;
  // Values are counted from the first entry.
  const auto area = all.subspan(static_cast<std::size_t>(*first));
  std::optional<Extent> rest;
  each_ext2_attribute(area, 0, order_, [&](const Attribute& attribute, std::string_view name) {
    if (attribute.get<"name_index">() != kSystemNames || name != "data") return true;
    const std::uint64_t value = attribute.get<"value_offs">();
    const std::uint64_t length = attribute.get<"value_size">();
    if (fits_within(value, length, area.size())) {
      const std::uint64_t place = saturating_add(view_.start(), node.place + *first + value);
      rest = Extent{kInlineBytes, place, length, false};
    }
    return false;
  });
  return rest;
}

}  // namespace platter::filesystem
