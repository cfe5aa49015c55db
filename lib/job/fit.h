// Does an image fit the run of blocks it is assigned?
#pragma once

#include <cstdint>
#include <vector>

#include "survey/survey.h"

namespace platter {

struct Fit {
  bool fits = false;
  std::uint64_t image_bytes = 0;
  std::uint64_t claimed_bytes = 0;  ///< what labels and filesystems say the disk needs
  std::uint64_t region_start = 0;
  std::uint64_t region_bytes = 0;
  std::int64_t spare_bytes = 0;  ///< negative: so many are missing
  std::vector<Finding> findings;
};

/// Compares the image, and what its labels and filesystems claim, with a region. An image may be
/// shorter than the disk that its label describes; the machine will reach for all of that disk.
/// \param start,bytes the region, in bytes of the card
[[nodiscard]] Fit fit(const Survey& survey, std::uint64_t start, std::uint64_t bytes);

/// The end of the furthest slice or volume that an image's layers claim, and who claims it;
/// 0 and nullptr when there is none.
struct Reach {
  std::uint64_t bytes = 0;
  const Layer* layer = nullptr;
};
[[nodiscard]] Reach claimed_reach(const std::vector<Layer>& layers);

}  // namespace platter
