#include "filesystem/xfs_shape.h"

#include <algorithm>
#include <bit>

namespace platter::filesystem {

std::uint64_t XfsShape::block_of(std::uint64_t address, std::uint64_t count) const noexcept {
  const std::uint64_t group = address >> group_log;
  const std::uint64_t block = address & ((std::uint64_t{1} << group_log) - 1);
  if (group >= groups || !fits_within(block, count, blocks_in(group))) {
    return std::max(address, blocks);
  }
  return group * group_blocks + block;
}

std::uint64_t XfsShape::inode_place(std::uint64_t number) const noexcept {
  const std::uint64_t block = block_of(number >> inodes_log, 1);
  const std::uint64_t index = number & (inodes_per_block() - 1);
  if (number == 0 || block >= blocks) return kLargest;
  return saturating_add(saturating_mul(block, block_bytes), index * inode_bytes);
}

std::optional<XfsShape> xfs_shape(const View& view, const XfsSuper& super) {
  const std::uint64_t word = super.get<"version">();
  XfsShape shape;
  shape.version = word & kXfsVersionMask;
  shape.block_bytes = super.get<"block_bytes">();
  shape.sector_bytes = super.get<"sector_bytes">();
  shape.inode_bytes = super.get<"inode_bytes">();
  shape.group_blocks = super.get<"group_blocks">();
  if (!is_power_of_two_in(shape.block_bytes, 512, 65536) ||
      !is_power_of_two_in(shape.sector_bytes, 512, 32768) ||
      !is_power_of_two_in(shape.inode_bytes, 256, std::min<std::uint64_t>(shape.block_bytes, 2048)))
    return std::nullopt;
  // So that a group holds its own sectors and one block more.
  if (shape.group_blocks <= shape.head_blocks()) return std::nullopt;
  shape.groups = super.get<"groups">();
  shape.blocks = std::min(super.get<"data_blocks">(), shape.groups * shape.group_blocks);
  if (shape.groups == 0 || shape.blocks <= (shape.groups - 1) * shape.group_blocks) {
    return std::nullopt;
  }
  // The largest volume has 2^63 bytes; so that no place in one overflows.
  if (shape.blocks > (kLargest >> 1U) / shape.block_bytes) return std::nullopt;
  shape.group_log = static_cast<unsigned>(std::bit_width(shape.group_blocks - 1));
  shape.inodes_log = static_cast<unsigned>(std::countr_zero(shape.block_bytes / shape.inode_bytes));
  shape.sums = shape.version == kXfsChecksums;
  const bool bits = shape.version >= kXfsNumbers;
  shape.second_form = shape.sums || (bits && (word & kXfsDirectory2) != 0);
  const std::uint64_t log = super.get<"directory_log">();
  const bool multiple = shape.second_form && log < 8;
  shape.directory_bytes = multiple ? shape.block_bytes << log : shape.block_bytes;
  if (shape.directory_bytes > 65536) shape.directory_bytes = shape.block_bytes;
  const std::uint64_t more =
      bits && (word & kXfsMoreFeatures) != 0 ? super.get<"more_features">() : 0;
  shape.typed_names = (more & kXfsTypesInNames) != 0;
  shape.lazy_counts = shape.sums || (more & kXfsLazyCounts) != 0;
  if (shape.sums) {
    const auto rest = view.record<kXfsSuperblock5>(kXfsSuperblock.bytes, ByteOrder::big);
    shape.incompatible = rest.get<"features_incompatible">();
    shape.typed_names = shape.typed_names || (shape.incompatible & kXfsIncompatTypes) != 0;
    shape.sparse_chunks = (shape.incompatible & kXfsIncompatSparseChunks) != 0;
  }
  return shape;
}

}  // namespace platter::filesystem
