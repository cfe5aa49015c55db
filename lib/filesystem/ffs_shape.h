// Where things lie on a fast file system volume, in 64 bits and whatever its dialect.
#pragma once

#include <algorithm>
#include <cstdint>
#include <optional>
#include <span>

#include "core/numbers.h"
#include "core/view.h"
#include "filesystem/ffs_group.h"
#include "filesystem/ffs_numbers.h"

namespace platter::filesystem {

/// What reading files needs of a superblock. Every number is hostile until it was compared; the
/// functions here saturate. Places are bytes, addresses are fragments, both from the volume's
/// start.
struct FfsShape {
  ByteOrder order = ByteOrder::big;
  FfsDialect dialect = FfsDialect::classic;
  std::uint64_t block_bytes = 0;
  std::uint64_t fragment_bytes = 0;
  std::uint64_t parts = 0;      ///< fragments in a block
  std::uint64_t fragments = 0;  ///< the whole volume
  std::uint64_t groups = 0;
  std::uint64_t group_fragments = 0;
  std::uint64_t group_inodes = 0;
  std::uint64_t copy = 0;         ///< superblock copy, from a group's start
  std::uint64_t group_block = 0;  ///< from a group's start
  std::uint64_t inode_table = 0;  ///< from a group's start
  std::uint64_t data = 0;         ///< from a group's start
  std::uint64_t shift = 0;        ///< cgoffset
  std::uint64_t shift_mask = 0;   ///< cgmask
  std::uint64_t summary = 0;      ///< address of the summary area
  std::uint64_t summary_bytes = 0;
  std::uint64_t inode_bytes = 0;
  std::uint64_t inodes_per_block = 0;
  std::uint64_t address_bytes = 0;
  std::uint64_t addresses_per_block = 0;
  std::uint64_t short_link = 0;  ///< text of fewer bytes stands inside the inode; 0: not by length
  std::uint64_t chunk = 0;       ///< directory entries never cross a multiple of this
  bool typed_entries = false;    ///< what the dialect writes; a directory may tell otherwise
  bool wide_ids = false;         ///< 4.4BSD: 32-bit ids stand at 112 and 116
  bool narrow_ids = true;        ///< the 16-bit ids say all that there is
  bool snapshots = false;        ///< the snapshot flag is known
  std::uint64_t log_place = 0;   ///< SVR4 line: byte of the log's allocation; 0: no log
  FfsTotals totals;
  std::optional<std::uint64_t> totals_place = {};  ///< byte of the superblock that tells them

  /// \param sizes   the superblock that the reading's geometry is from
  FfsShape(const FfsRecord& sizes, const FfsReading& reading);

  [[nodiscard]] bool ufs2() const noexcept { return dialect == FfsDialect::ufs2; }
  /// Whether inodes and groups can be addressed at all.
  [[nodiscard]] bool usable() const noexcept {
    return group_inodes != 0 && group_fragments != 0 && groups != 0 && fragments != 0;
  }
  /// Whether a group's own records lie in it one after the other. Without that the groups are not
  /// worth a look: their tables would overlap and work would multiply.
  [[nodiscard]] bool groups_hold_records() const noexcept;
  [[nodiscard]] std::uint64_t inodes() const noexcept {
    return saturating_mul(groups, group_inodes);
  }
  [[nodiscard]] std::uint64_t byte_of(std::uint64_t fragment) const noexcept {
    return saturating_mul(fragment, fragment_bytes);
  }
  [[nodiscard]] std::uint64_t group_base(std::uint64_t group) const noexcept {
    return saturating_mul(group, group_fragments);
  }
  /// From where a group's own records are counted.
  [[nodiscard]] std::uint64_t group_start(std::uint64_t group) const noexcept {
    const std::uint64_t turn = ufs2() ? 0 : saturating_mul(shift, group & ~shift_mask);
    return saturating_add(group_base(group), turn);
  }
  /// Fragments of a group.
  [[nodiscard]] std::uint64_t group_length(std::uint64_t group) const noexcept {
    const std::uint64_t base = group_base(group);
    return base >= fragments ? 0 : std::min(group_fragments, fragments - base);
  }
  /// Byte of an inode; the number must be below inodes().
  [[nodiscard]] std::uint64_t inode_place(std::uint64_t inode) const noexcept;
  /// Whether an address lies in a group's own records.
  [[nodiscard]] bool is_record(std::uint64_t fragment) const noexcept;
  /// Fragments of the summary area.
  [[nodiscard]] std::uint64_t summary_fragments() const noexcept {
    return divide_up(summary_bytes, fragment_bytes);
  }
};

/// What the first entry of the root directory, which must be "." and inode 2, tells.
enum class FfsRootEntry : std::uint8_t {
  unknown,   ///< not there, or not "."
  old_form,  ///< 16 bits of name length
  typed,     ///< type and name length
  reversed,  ///< as it looks when the bytes of every 32-bit word are reversed
};
[[nodiscard]] FfsRootEntry read_root_entry(const View& view, const FfsShape& shape);

/// Of a directory's first entry: whether entries are typed; nothing when it is not ".".
[[nodiscard]] std::optional<bool> typed_by_first_entry(std::span<const std::byte> entry,
                                                       ByteOrder order);

}  // namespace platter::filesystem
