// Where the parts of a FAT volume lie.
#pragma once

#include <optional>

#include "core/view.h"
#include "filesystem/fat_structures.h"

namespace platter::filesystem {

using FatBoot = Record<kFatBootSector>;
using Fat32Boot = Record<kFat32BootSector>;

/// Places are bytes from the start of the volume. Every number has been checked against the others:
/// sums of them do not overflow, and no divisor is zero.
struct FatLayout {
  unsigned width = 0;  ///< bits of an entry of the allocation table: 12, 16 or 32
  std::uint64_t sector_bytes = 0;
  std::uint64_t cluster_bytes = 0;
  std::uint64_t fat_start = 0;
  std::uint64_t fat_bytes = 0;  ///< one copy
  std::uint64_t fat_copies = 0;
  std::uint64_t active_copy = 0;
  bool mirrored = true;  ///< all copies should be equal
  std::uint64_t root_start = 0;
  std::uint64_t root_bytes = 0;    ///< 0 on FAT32
  std::uint64_t root_cluster = 0;  ///< FAT32
  std::uint64_t data_start = 0;
  std::uint64_t clusters = 0;  ///< they are numbered from 2 on
  std::uint64_t volume_bytes = 0;
  std::uint64_t media = 0;
  std::uint64_t info_sector = 0;    ///< bytes, 0: none
  std::uint64_t backup_sector = 0;  ///< bytes, 0: none
  bool described = true;  ///< by a parameter block; otherwise by size and media byte alone

  [[nodiscard]] std::uint64_t end_cluster() const noexcept { return clusters + 2; }
  [[nodiscard]] bool is_cluster(std::uint64_t cluster) const noexcept {
    return cluster >= 2 && cluster < end_cluster();
  }
  [[nodiscard]] std::uint64_t place_of_cluster(std::uint64_t cluster) const noexcept {
    return data_start + (cluster - 2) * cluster_bytes;
  }
  [[nodiscard]] std::uint64_t place_of_copy(std::uint64_t copy) const noexcept {
    return fat_start + copy * fat_bytes;
  }
  /// Entries that one copy of the allocation table has room for.
  [[nodiscard]] std::uint64_t fat_entries() const noexcept { return fat_bytes * 8 / width; }
};

/// The layout by the parameter block, when its fields make sense together. The type follows from
/// the number of clusters (below 4085: FAT12; else FAT16); a block without a table size of 16 bits
/// is FAT32's and nothing else's.
[[nodiscard]] std::optional<FatLayout> fat_layout_of(const FatBoot& boot);

/// The layout of a floppy from before parameter blocks: 160, 180, 320 or 360 KiB, told by the size
/// of the view and the media byte (Linux fs/fat/inode.c, floppy_defaults).
[[nodiscard]] std::optional<FatLayout> fat_layout_by_size(const View& view);

/// Either of them.
[[nodiscard]] std::optional<FatLayout> fat_layout(const View& view);

/// Whether a copy of the allocation table begins as it must: the media byte, then ones.
[[nodiscard]] bool fat_head_agrees(const View& view, const FatLayout& layout, std::uint64_t copy);

}  // namespace platter::filesystem
