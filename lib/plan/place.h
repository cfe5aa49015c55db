// Copying an image into its region of a card, and proving that it is there.
//
// Nothing outside the region is ever written: every write goes through one function that knows the
// region's end. The proof is a second pass that reads the card, past the page cache where the
// system allows it, and compares it with the image byte for byte; a digest of the image is computed
// by another thread meanwhile.
#pragma once

#include <cstdint>
#include <functional>
#include <string>

#include "core/source.h"
#include "plan/block_map.h"
#include "plan/card.h"
#include "plan/chunks.h"
#include "plan/size.h"

namespace platter::plan {

struct PlaceOptions {
  bool changed_only = false;  ///< read first, write only what differs
  bool fill = false;          ///< zeros from the end of the image to the end of the region
  bool digest = true;         ///< SHA-256 of the image
};

struct PlaceResult {
  bool finished = false;            ///< false: stopped by on_progress, nothing is proven
  bool verified = false;            ///< the card holds what it should
  std::uint64_t written_bytes = 0;  ///< what had to be written
  BlockMap differing;               ///< blocks of the card that came back different
  std::string sha256;               ///< of the image; "" without digest
};

/// What `changed_only` writes or leaves at once.
inline constexpr std::size_t kChangeBytes = 64 * kKiB;

/// Copies and verifies. `before_writing` is called once, just before the first byte of the card
/// changes, and not at all when nothing has to be written.
/// Throws IoError: the image cannot be read or changed meanwhile, the card cannot be written, ended
/// early or cannot be read back. The card may then hold part of the image, inside the region only.
/// \param image   of image.size() bytes, which must not exceed region.bytes
/// \param region  bytes of the card; must lie within it
[[nodiscard]] PlaceResult place_image(const ByteSource& image, const std::string& image_path,
                                      Card& card, Extent region, const PlaceOptions& options,
                                      const std::function<void()>& before_writing = {},
                                      const OnProgress& on_progress = {});

/// SHA-256 of an image alone. Throws IoError.
[[nodiscard]] std::string digest_of_image(const ByteSource& image, const std::string& image_path);

struct VerifyResult {
  bool finished = false;
  bool equal = false;
  BlockMap differing;                  ///< blocks of the card; not known against a digest alone
  std::uint64_t first_difference = 0;  ///< byte of the card
};

/// Compares a region with an image. The rest of the region behind the image may hold anything.
/// Throws IoError as place_image() does.
[[nodiscard]] VerifyResult verify_image(const ByteSource& image, const std::string& image_path,
                                        Card& card, Extent region,
                                        const OnProgress& on_progress = {});

/// Compares the first `bytes` of a region with a SHA-256, for when the image is gone.
[[nodiscard]] VerifyResult verify_digest(const std::string& sha256, std::uint64_t bytes, Card& card,
                                         Extent region, const OnProgress& on_progress = {});

}  // namespace platter::plan
