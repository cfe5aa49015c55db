// Placing the images of a plan on its card, and verifying them: what is done for each region, what
// is refused, and why.
#pragma once

#include <functional>
#include <string>
#include <vector>

#include "job/card_job.h"
#include "plan/chunks.h"

namespace platter {

struct PlaceRequest {
  std::vector<std::string> regions;    ///< names; empty: every region that has an image
  bool write = false;                  ///< without it nothing changes
  bool create = false;                 ///< make a card file that does not exist
  bool fill = false;                   ///< zeros to the end of optical regions
  bool changed_only = false;           ///< write only what differs
  bool digest = true;                  ///< SHA-256 of each image
  std::vector<std::string> overwrite;  ///< regions whose present content may be lost
  OpenOptions open;
  std::int64_t time = 0;  ///< for receipts, seconds since 1970-01-01 UTC
};

struct PlacedRegion {
  std::string name;
  plan::Extent place;
  std::string image;
  std::uint64_t image_bytes = 0;
  bool card_seen = false;          ///< whether the region could be looked at before
  std::vector<std::string> holds;  ///< layers that lie there now, e.g. "sun: Sun disk label"
  std::uint64_t written_bytes = 0;
  bool verified = false;
  std::string sha256;
  std::string receipt;  ///< path, when one was written
};

struct Placement {
  CardJob job;
  std::vector<PlacedRegion> regions;
  std::vector<Finding> findings;  ///< of the plan, then of the card
  bool asked_to_write = false;
  bool wrote = false;    ///< whether anything could have changed
  bool finished = true;  ///< false: stopped by on_progress
};

/// Called with the region's name while bytes move; false stops.
using RegionProgress = std::function<bool(const std::string& region, const plan::Progress&)>;

/// Says what placing would do and, when asked to write and nothing speaks against it, does it.
/// A fault of the plan, or a region that holds something which `overwrite` does not name, keeps the
/// whole card as it is. Throws IoError: an image or the card cannot be read or written, the card is
/// in use, or a device's size is not the plan's.
/// \throws std::invalid_argument for a name in `regions` or `overwrite` that the plan has not
[[nodiscard]] Placement place(const std::string& plan_path, const PlaceRequest& request,
                              const RegionProgress& on_progress = {});

struct VerifiedRegion {
  std::string name;
  bool equal = false;
  bool by_receipt = false;  ///< the image is gone; compared with the receipt's digest
  plan::BlockMap differing;
  std::uint64_t first_difference = 0;  ///< byte of the card
};

struct Verification {
  CardJob job;
  std::vector<VerifiedRegion> regions;
  std::vector<Finding> findings;
  bool finished = true;
};

/// Compares regions of the card (every one with an image when `names` is empty) with the images, or
/// with the receipts of images that are gone.
/// Throws IoError, and std::invalid_argument for a name that the plan has not.
[[nodiscard]] Verification verify(const std::string& plan_path,
                                  const std::vector<std::string>& names,
                                  const OpenOptions& open = {},
                                  const RegionProgress& on_progress = {});

/// The innermost layer that holds a byte of the image, or nullptr.
[[nodiscard]] const Layer* innermost_layer_at(const std::vector<Layer>& layers,
                                              std::uint64_t byte) noexcept;

}  // namespace platter
