// What a fast file system's superblock says, in 64 bits and whatever its dialect, and which of its
// fields contradict each other.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "core/record.h"
#include "filesystem/ffs_superblock.h"

namespace platter::filesystem {

using FfsRecord = Record<kFfsSuperblock>;

enum class FfsDialect : std::uint8_t {
  classic,    ///< 4.2BSD, 4.3BSD and their direct heirs: rotational tables up to the magic
  svr4,       ///< 4.3BSD-Reno, SunOS 4.1, SVR4 and their heirs: masks at 1340
  bsd44_old,  ///< 4.4BSD kernels on inodes of 4.2BSD
  bsd44,      ///< 4.4BSD: masks at 1336
  ufs2,       ///< wide addresses
  dialect_v,  ///< magic 0x095014 and its relatives
};

/// What creation fixes; equal in all copies of the superblock.
struct FfsGeometry {
  std::uint64_t block_bytes = 0;
  std::uint64_t fragment_bytes = 0;
  std::uint64_t fragments = 0;       ///< the whole filesystem
  std::uint64_t data_fragments = 0;  ///< without the filesystem's own records
  std::uint64_t groups = 0;
  std::uint64_t group_fragments = 0;
  std::uint64_t group_inodes = 0;
  std::uint64_t copy_fragment = 0;         ///< superblock copy, from the start of a group
  std::uint64_t group_block_fragment = 0;  ///< group block, from the start of a group
  friend bool operator==(const FfsGeometry&, const FfsGeometry&) = default;
};

/// What changes while the filesystem is in use; kept in the superblock in use only.
struct FfsTotals {
  std::int64_t directories = 0;
  std::int64_t free_blocks = 0;
  std::int64_t free_inodes = 0;
  std::int64_t free_fragments = 0;  ///< in partly used blocks
};

/// A field that cannot be right, at image bytes [start, start + bytes).
struct FfsDoubt {
  std::uint64_t start = 0;
  std::uint32_t bytes = 0;
  std::string message;
};

/// A superblock that was read and looked at.
struct FfsReading {
  FfsDialect dialect = FfsDialect::classic;
  bool wide = false;            ///< the fields of kFfsWide are in use
  bool words_reversed = false;  ///< numbers of 64 bits stand in reversed word order
  FfsGeometry geometry;
  FfsTotals totals;
  std::vector<FfsDoubt> doubts;
};

/// Whether a magic is one of this format; `ufs2` asks for UFS2. The magic of an interrupted
/// creation belongs to either.
[[nodiscard]] bool is_ffs_magic(std::uint64_t magic, bool ufs2) noexcept;

/// Looks at a superblock. Nothing when its block and fragment sizes cannot be made out: each is
/// stored in several ways, of which most must agree.
/// \param place byte offset, from the start of the filesystem, of the superblock in use; for a
///              copy, of the one that it is a copy of
/// \param ufs2  read it as UFS2
[[nodiscard]] std::optional<FfsReading> read_ffs(const FfsRecord& superblock, std::uint64_t place,
                                                 bool ufs2);

}  // namespace platter::filesystem
