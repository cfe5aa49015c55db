// What follows from the superblock of ext2 and its successors.
#pragma once

#include <cstdint>
#include <optional>

#include "core/view.h"
#include "filesystem/ext2_superblock.h"

namespace platter::filesystem {

using Ext2Super = Record<kExt2Superblock>;

struct Ext2Numbers {
  std::uint64_t block_bytes = 0;
  std::uint64_t blocks = 0;
  std::uint64_t free_blocks = 0;
  std::uint64_t reserved_blocks = 0;
  std::uint64_t first_block = 0;  ///< that the groups count from
  std::uint64_t group_blocks = 0;
  std::uint64_t group_inodes = 0;
  std::uint64_t cluster_blocks = 1;  ///< blocks that one bit of a bitmap stands for
  std::uint64_t groups = 0;
  std::uint64_t inodes = 0;
  std::uint64_t inode_bytes = 128;
  std::uint64_t descriptor_bytes = 32;
  bool dynamic = false;          ///< revision 1: the fields from 84 on are in use
  bool clusters = false;         ///< bitmaps count clusters, not blocks
  bool wide = false;             ///< block numbers have 64 bits
  std::uint64_t compatible = 0;  ///< feature words; 0 in revision 0
  std::uint64_t incompatible = 0;
  std::uint64_t read_only = 0;

  [[nodiscard]] std::uint64_t group_start(std::uint64_t group) const noexcept {
    return first_block + group * group_blocks;
  }
  /// Blocks in a group; the last one may be shorter.
  [[nodiscard]] std::uint64_t blocks_in(std::uint64_t group) const noexcept {
    const std::uint64_t start = group_start(group);
    return start >= blocks ? 0 : std::min(group_blocks, blocks - start);
  }
};

/// Nothing when there is no whole superblock with the magic in the view, or its sizes cannot be
/// computed with.
[[nodiscard]] std::optional<Ext2Super> ext2_superblock(const View& view);
[[nodiscard]] std::optional<Ext2Numbers> ext2_numbers(const Ext2Super& super);

/// Where copies of the superblock and the descriptors lie, and where a group's descriptor is.
class Ext2Layout {
 public:
  Ext2Layout(const Ext2Super& super, const Ext2Numbers& numbers);

  [[nodiscard]] bool has_superblock(std::uint64_t group) const noexcept;
  /// Blocks at the start of a group that the copies take, those kept for growth included.
  [[nodiscard]] std::uint64_t copy_blocks(std::uint64_t group) const noexcept;
  /// Byte of the volume where a group's descriptor starts.
  [[nodiscard]] std::uint64_t descriptor_place(std::uint64_t group) const noexcept;

 private:
  Ext2Numbers numbers_;
  std::uint64_t per_block_;         // descriptors
  std::uint64_t first_meta_group_;  // from which on descriptors lie in their meta groups
  std::uint64_t reserved_;
  std::uint64_t superblock_block_;  // of the one in use
  std::uint64_t copies_[2];         // sparse_super2
};

}  // namespace platter::filesystem
