// Finding the superblock of a fast file system and describing what it says.
#pragma once

#include <optional>
#include <string>

#include "core/claim.h"
#include "filesystem/ffs_numbers.h"
#include "filesystem/ffs_shape.h"

namespace platter::filesystem {

/// A superblock that makes a claim.
struct FfsFound {
  Claim claim;
  FfsRecord sizes;     ///< whose geometry counts: the superblock in use, or a copy that settled it
  FfsReading reading;  ///< geometry of `sizes`; counts of the superblock in use
  bool counts_hold = true;  ///< the counts are those of the superblock in use
  std::uint64_t place = 0;  ///< bytes from the view's start: the superblock whose counts are told
};

/// The filesystem that starts at the start of the view.
[[nodiscard]] std::optional<FfsFound> find_ffs(const View& view, bool ufs2);

/// A claim on the superblock at `place` of the view, which starts where the filesystem starts.
/// \param in_use whether it is the superblock in use, so that its counts and times hold
[[nodiscard]] Claim describe_ffs(const View& view, std::uint64_t place, const FfsRecord& superblock,
                                 const FfsReading& reading, bool in_use);

/// Keeps the superblock with its claim, as the structure of its dialect.
void keep_ffs_record(Claim& claim, const FfsRecord& superblock, const FfsReading& reading,
                     const View& view, std::uint64_t offset, std::string role);

/// Adds what the root directory tells: the form of directory entries, and whether the bytes of
/// every 32-bit word are reversed.
void judge_root(const View& view, FfsFound& found);

}  // namespace platter::filesystem
