// Cylinder groups of the fast file system: their blocks, maps and counts.
#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "core/record.h"
#include "core/view.h"
#include "filesystem/ffs_shape.h"

namespace platter::filesystem {

/// A group's own block, of either form.
struct FfsGroupBlock {
  std::uint64_t place = 0;       ///< bytes from the volume's start
  std::vector<std::byte> bytes;  ///< the whole block
  bool old_form = false;
  std::uint64_t number = 0;   ///< as the block says
  std::uint64_t length = 0;   ///< fragments, as the block says
  std::uint64_t inodes = 0;   ///< as the block says
  std::uint64_t written = 0;  ///< inodes that were ever written
  FfsTotals counts;           ///< as the block says
  std::array<std::uint64_t, 8> runs{};
  std::span<const std::byte> inode_map;     ///< 1 = used
  std::span<const std::byte> fragment_map;  ///< 1 = free

  /// Whether a bit of a map is set: bit k of byte n is n * 8 + k in every byte order.
  [[nodiscard]] static bool bit(std::span<const std::byte> map, std::uint64_t index) noexcept {
    const auto at = static_cast<std::size_t>(index / 8);
    return (map[at] >> static_cast<int>(index % 8) & std::byte{1}) != std::byte{0};
  }
  [[nodiscard]] bool fragment_free(std::uint64_t index) const noexcept {
    return bit(fragment_map, index);
  }
  [[nodiscard]] bool inode_used(std::uint64_t index) const noexcept {
    return bit(inode_map, index);
  }
};

enum class FfsGroupState : std::uint8_t {
  sound,   ///< the magic is there and the maps lie inside the block
  absent,  ///< the image ends before it
  no_magic,
  maps_outside,
};

/// Reads a group's block into `group`, whose buffer is used again.
FfsGroupState read_ffs_group(const View& view, const FfsShape& shape, std::uint64_t number,
                             FfsGroupBlock& group);

/// How many of a group's inodes were ever written (UFS2); all when the group does not tell.
[[nodiscard]] std::uint64_t read_written_inodes(const View& view, const FfsShape& shape,
                                                std::uint64_t number);

/// A run of a group's fragments that are all free or all in use. Indices count from the group's
/// base, which is not where its records start.
struct FfsMapRun {
  std::uint64_t first = 0;
  std::uint64_t end = 0;
  bool free = false;
};
/// The run that starts at `first` and ends at `end` or before.
[[nodiscard]] FfsMapRun ffs_map_run(const FfsGroupBlock& group, std::uint64_t first,
                                    std::uint64_t end) noexcept;

}  // namespace platter::filesystem
