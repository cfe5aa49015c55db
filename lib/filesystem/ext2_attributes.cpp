// Extended attributes of ext2 that do not fit into an inode lie in a block, which inodes with equal
// attributes share, or one value in an inode of its own, which attributes share. None of these
// belongs to one file: the volume counts who names them.
#include "filesystem/ext2_attributes.h"

#include <algorithm>

#include <fmt/format.h>

#include "filesystem/ext2_volume.h"
#include "filesystem/unix_bitmap.h"

namespace platter::filesystem {
namespace {

using Inode = FieldReader<kExt2Inode>;
using Attribute = FieldReader<kExt2Attribute>;

constexpr std::uint64_t kOldInode = 128;
constexpr std::uint64_t kMostGroups = std::uint64_t{1} << 18U;

}  // namespace

Ext2AttributeUse& Ext2Volume::attribute_use() {
  if (attribute_use_) return *attribute_use_;
  Ext2AttributeUse use;
  if ((numbers_.compatible & kExt2CompatAttributes) != 0) {
    // Groups of a hostile volume may all have one table.
    std::uint64_t inodes = view_.bytes() / numbers_.inode_bytes;
    for (std::uint64_t index = 0; index < std::min(numbers_.groups, kMostGroups); ++index)
      add_attribute_use(index, inodes, use);
  }
  if ((numbers_.incompatible & kExt2IncompatValueInodes) != 0) {
    std::vector<std::byte> block;
    for (const SharedNumber& shared : use.blocks.all()) {
      if (read_attribute_block(shared.number, block))
        add_values(block, kExt2AttributeBlock.bytes, shared.first, use);
    }
  }
  attribute_use_ = std::move(use);
  return *attribute_use_;
}

void Ext2Volume::add_attribute_use(std::uint64_t index, std::uint64_t& most,
                                   Ext2AttributeUse& use) {
  const auto found = group(index);
  if (!found || found->no_inode_bitmap) return;
  std::vector<std::byte> map;
  const bool mapped = read_bitmap(found->inode_bitmap, map);
  const std::uint64_t written =
      numbers_.group_inodes - std::min(numbers_.group_inodes, found->unused_inodes);
  const std::uint64_t bits = std::min(written, std::uint64_t{map.size()} * 8);
  for (std::uint64_t i = 0; i < (mapped ? bits : written) && most != 0; ++i, --most) {
    const NodeId node = index * numbers_.group_inodes + i + 1;
    if (inode_offset(node) >= view_.bytes()) return;
    if (!mapped || bit_of(map, i)) add_attribute_use_of(node, !mapped, use);
  }
}

void Ext2Volume::add_attribute_use_of(NodeId node, bool named_only, Ext2AttributeUse& use) {
  const std::byte* bytes = inode(node);
  if (bytes == nullptr) return;
  const Inode inode(bytes, order_);
  if (type_of_mode(static_cast<std::uint32_t>(inode.get<"mode">())) == NodeType::unknown) return;
  if (named_only && inode.get<"links">() == 0) return;
  const std::uint64_t high = numbers_.wide ? inode.get<"file_acl_high">() : 0;
  const std::uint64_t block = high << 32U | inode.get<"file_acl">();
  if (block != 0) use.blocks.add(block, node);
  if ((numbers_.incompatible & kExt2IncompatValueInodes) == 0) return;
  const std::span all(bytes, static_cast<std::size_t>(numbers_.inode_bytes));
  if (const auto at = attributes_inside(all)) add_values(all, *at, node, use);
}

std::optional<std::uint64_t> Ext2Volume::attributes_inside(
    std::span<const std::byte> inode_bytes) const {
  if (inode_bytes.size() < kOldInode + kExt2InodeExtra.bytes) return std::nullopt;
  const FieldReader<kExt2InodeExtra> extra(inode_bytes.data() + kOldInode, order_);
  const std::uint64_t magic = kOldInode + extra.get<"extra_isize">();
  if (!fits_within(magic, 4, inode_bytes.size()) ||
      decode_unsigned(inode_bytes.subspan(static_cast<std::size_t>(magic), 4), order_) !=
          kExt2AttributeMagic) {
    return std::nullopt;
  }
  return magic + 4;
}

void Ext2Volume::add_values(std::span<const std::byte> attributes, std::uint64_t at, NodeId by,
                            Ext2AttributeUse& use) {
  each_ext2_attribute(attributes, at, order_, [&](const Attribute& attribute, std::string_view) {
    const std::uint64_t value = attribute.get<"value_inum">();
    if (value != 0) use.values.add(value, by);
    return true;
  });
}

bool Ext2Volume::read_attribute_block(std::uint64_t block, std::vector<std::byte>& bytes) {
  if (block <= numbers_.first_block || block >= numbers_.blocks) return false;
  bytes.resize(static_cast<std::size_t>(numbers_.block_bytes));
  const std::uint64_t place = block * numbers_.block_bytes;
  try {
    return view_.read(place, bytes) == bytes.size();
  } catch (const IoError&) {
    find(Severity::fault, FindingCode::unreadable, saturating_add(view_.start(), place),
         numbers_.block_bytes, "a block of extended attributes could not be read");
  }
  return false;
}

std::string Ext2Volume::attribute_block_trouble(std::uint64_t block,
                                                std::vector<std::byte>& bytes) {
  if (block <= numbers_.first_block || block >= numbers_.blocks) {
    return fmt::format("lies outside the volume, expected one from {} to {}",
                       numbers_.first_block + 1, numbers_.blocks - 1);
  }
  if (!read_attribute_block(block, bytes)) return {};  // not in the image, or said already
  const FieldReader<kExt2AttributeBlock> header(bytes.data(), order_);
  const std::uint64_t magic = header.get<"magic">();
  if (magic != kExt2AttributeMagic && magic != kExt2OldAttributeMagic) {
    return fmt::format("has the magic {:#x}, expected {:#x}", magic, kExt2AttributeMagic);
  }
  if (header.get<"blocks">() != 1) {
    return fmt::format("states {} blocks of attributes, expected 1", header.get<"blocks">());
  }
  return {};
}

bool Ext2Volume::is_value(NodeId node) {
  const std::byte* bytes = inode(node);
  if (bytes == nullptr) return false;
  const Inode inode(bytes, order_);
  return (inode.get<"flags">() & kExt2InodeValue) != 0 &&
         type_of_mode(static_cast<std::uint32_t>(inode.get<"mode">())) == NodeType::file;
}

void Ext2Volume::add_attributes(std::vector<BlockRun>& all) {
  Ext2AttributeUse& use = attribute_use();
  const std::uint64_t cluster = numbers_.cluster_blocks;
  std::vector<std::byte> bytes;
  for (const SharedNumber& shared : use.blocks.all()) {
    if (!attribute_block_trouble(shared.number, bytes).empty()) continue;
    // Nothing else lies in the cluster of such a block.
    const std::uint64_t from = (shared.number - numbers_.first_block) / cluster * cluster;
    add_own(all, numbers_.first_block + from, cluster, BlockUse::metadata);
  }
  for (const SharedNumber& shared : use.values.all()) {
    if (is_value(shared.number)) add_inode_runs(all, shared.number, BlockUse::metadata);
  }
}

}  // namespace platter::filesystem
