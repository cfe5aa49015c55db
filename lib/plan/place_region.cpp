#include "plan/place_region.h"

#include <optional>
#include <utility>

namespace platter::plan {
namespace {

// A receipt that cannot be read proves nothing, and is going to be replaced.
std::optional<Receipt> old_receipt(const std::string& path) {
  try {
    return load_receipt(path);
  } catch (const IoError&) {
    return std::nullopt;
  }
}

bool speaks_of(const Receipt& receipt, const RegionJob& job, std::uint64_t image_bytes) {
  return !job.image_stamp.empty() && receipt.image_stamp == job.image_stamp &&
         receipt.region == job.region && receipt.place == job.place &&
         receipt.image_bytes == image_bytes && !receipt.sha256.empty();
}

Receipt receipt_for(const RegionJob& job, const Card& card, std::uint64_t image_bytes,
                    const std::string& sha256) {
  Receipt receipt;
  receipt.region = job.region;
  receipt.card = card.path();
  receipt.place = job.place;
  receipt.image = job.image_path;
  receipt.image_bytes = image_bytes;
  receipt.image_stamp = job.image_stamp;
  receipt.sha256 = sha256;
  receipt.zero_bytes = job.options.fill ? job.place.bytes - image_bytes : 0;
  receipt.tool = "platter " PLATTER_VERSION;
  receipt.time = job.time;
  return receipt;
}

}  // namespace

RegionResult place_region(const ByteSource& image, Card& card, const RegionJob& job,
                          const OnProgress& on_progress) {
  PlaceOptions options = job.options;
  std::string carried_over;
  if (options.changed_only) {
    const auto old = old_receipt(job.receipt_path);
    if (old && speaks_of(*old, job, image.size())) carried_over = old->sha256;
  }
  options.digest = options.digest && carried_over.empty();

  RegionResult result;
  result.placed = place_image(
      image, job.image_path, card, job.place, options, [&job] { remove_receipt(job.receipt_path); },
      on_progress);
  if (!result.placed.verified) return result;
  if (image_stamp(job.image_path) != job.image_stamp) {
    throw IoError(job.image_path, 0, 0, "the image changed while it was being copied");
  }
  if (!carried_over.empty()) {
    // Something had to be written although file and receipt agree: then neither is taken on trust.
    result.digest_carried_over = result.placed.written_bytes == 0;
    if (result.digest_carried_over) {
      result.placed.sha256 = std::move(carried_over);
    } else if (job.options.digest) {
      result.placed.sha256 = digest_of_image(image, job.image_path);
    }
  }
  store_receipt(job.receipt_path, receipt_for(job, card, image.size(), result.placed.sha256));
  result.receipt_stored = true;
  return result;
}

}  // namespace platter::plan
