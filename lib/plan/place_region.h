// One region, from image to receipt.
#pragma once

#include <cstdint>
#include <string>

#include "plan/place.h"
#include "plan/receipt.h"

namespace platter::plan {

struct RegionJob {
  std::string region;        ///< name
  std::string image_path;    ///< as the person named it
  std::string image_stamp;   ///< image_stamp() of it, taken before it was opened
  std::string receipt_path;  ///< see receipt_path(plan_path, region)
  Extent place;              ///< bytes of the card
  PlaceOptions options;
  std::int64_t time = 0;  ///< for the receipt, seconds since 1970-01-01 UTC
};

struct RegionResult {
  PlaceResult placed;
  bool receipt_stored = false;
  bool digest_carried_over = false;  ///< see place_region()
};

/// Places an image and keeps its receipt true: an old receipt goes before the first byte of the
/// card changes, a new one is written after the copy was verified.
///
/// With `changed_only`, when nothing has to be written and the receipt at hand is for this region
/// and this very file (same device, file number, size and times, the time of change among them),
/// its SHA-256 is carried over instead of being computed again, and also when no digest was asked
/// for. The card is compared with the image all the same. Where anything is written, a digest that
/// was not computed now is dropped: the file's stamp alone is no proof that it is of these bytes.
/// Throws IoError.
[[nodiscard]] RegionResult place_region(const ByteSource& image, Card& card, const RegionJob& job,
                                        const OnProgress& on_progress = {});

}  // namespace platter::plan
