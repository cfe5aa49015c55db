// Whether a volume's files and its own maps tell the same story. Nothing is ever repaired.
#pragma once

#include <cstdint>
#include <vector>

#include "core/finding.h"
#include "core/view.h"
#include "core/volume.h"

namespace platter {

/// What was gone through.
struct VolumeCheck {
  std::uint64_t files = 0;
  std::uint64_t directories = 0;
  std::uint64_t owned_bytes = 0;  ///< of blocks that files own, each counted once
  std::vector<Finding> findings;
};

/// The volume's own records against one another; then every file: blocks past the end, blocks of
/// two owners, counts of names; then the owners against the maps of free blocks.
///
/// Memory: a bit for each block of the volume that is there, and an entry for each file. Time:
/// where many files own the same blocks, no more than some 16 times the volume is followed.
[[nodiscard]] VolumeCheck check_volume(Volume& volume, const View& view);

}  // namespace platter
