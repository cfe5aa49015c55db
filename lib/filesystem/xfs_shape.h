// What the numbers of an XFS superblock come to.
#pragma once

#include <cstdint>
#include <optional>

#include "core/view.h"
#include "filesystem/xfs_superblock.h"

namespace platter::filesystem {

using XfsSuper = Record<kXfsSuperblock>;

/// Sizes and places. Blocks are counted from the start of the volume here, and within a group where
/// it is said; addresses on the disk have the group in their upper bits.
struct XfsShape {
  std::uint64_t version = 0;
  std::uint64_t block_bytes = 0;
  std::uint64_t sector_bytes = 0;
  std::uint64_t inode_bytes = 0;
  std::uint64_t directory_bytes = 0;  ///< a block of a directory of the second form
  std::uint64_t blocks = 0;           ///< of the volume
  std::uint64_t group_blocks = 0;     ///< of all groups but the last
  std::uint64_t groups = 0;
  std::uint64_t incompatible = 0;  ///< features that a reader must know; before version 5: 0
  unsigned group_log = 0;          ///< an address is group << group_log | block
  unsigned inodes_log = 0;         ///< inodes in a block, as a logarithm
  bool sums = false;               ///< version 5: larger heads, checksums
  bool typed_names = false;
  bool second_form = false;  ///< of directories
  bool sparse_chunks = false;
  bool lazy_counts = false;  ///< the superblock's counts are written when the volume is left

  [[nodiscard]] std::uint64_t inodes_per_block() const noexcept {
    return std::uint64_t{1} << inodes_log;
  }
  [[nodiscard]] std::uint64_t blocks_in(std::uint64_t group) const noexcept {
    return group + 1 < groups ? group_blocks : blocks - (groups - 1) * group_blocks;
  }
  /// The block that an address means, when `count` blocks from there on lie in one group. Others
  /// come back as numbers that no volume of this size has.
  [[nodiscard]] std::uint64_t block_of(std::uint64_t address, std::uint64_t count) const noexcept;
  /// Byte of an inode in the volume; kLargest when there can be none of that number.
  [[nodiscard]] std::uint64_t inode_place(std::uint64_t number) const noexcept;
  /// Number of an inode that is counted in its group.
  [[nodiscard]] std::uint64_t inode_number(std::uint64_t group,
                                           std::uint64_t inode) const noexcept {
    return group << (group_log + inodes_log) | inode;
  }
  /// Blocks of a group's own four sectors.
  [[nodiscard]] std::uint64_t head_blocks() const noexcept {
    return divide_up(4 * sector_bytes, block_bytes);
  }
};

/// Nothing when files cannot be found by these numbers.
[[nodiscard]] std::optional<XfsShape> xfs_shape(const View& view, const XfsSuper& super);

}  // namespace platter::filesystem
