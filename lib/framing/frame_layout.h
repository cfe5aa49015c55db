// Where the frames of an optical dump stand, and where each keeps its user bytes.
//
// Sources: ECMA-130 clause 14 (sync, header, modes 0 and 1). Dumps without sync and header (2336
// bytes), with 16 or 96 bytes of sub-channel behind each frame (2368, 2448) and mode 2 are common
// practice, no source.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <string>

#include "core/source.h"
#include "core/view.h"
#include "framing/sector_code.h"

namespace platter::framing {

/// Bytes of a frame without sync and header.
inline constexpr std::uint32_t kHeadlessFrame = 2336;
/// Every distance from frame to frame that is looked for.
inline constexpr std::array<std::uint32_t, 4> kFrameDistances{2352, 2336, 2368, 2448};

/// How an image is divided into frames. Counts of bytes are bytes of the image as stored.
struct FrameLayout {
  std::uint32_t frame_bytes = 0;  ///< distance from frame to frame, sub-channel included
  std::uint64_t lead = 0;         ///< bytes before the first whole frame
  std::uint64_t frames = 0;       ///< whole frames
  std::uint64_t rest = 0;         ///< bytes of a frame that the image's end cuts
  std::uint64_t pregap = 0;       ///< frames before block 0, which the plain image leaves out
  std::optional<std::int32_t> first_lba;  ///< block that the first whole frame's header counts from
  bool proven = false;                    ///< error detection codes were found to match

  [[nodiscard]] bool headless() const noexcept { return frame_bytes == kHeadlessFrame; }
  /// First byte of a frame in the image.
  [[nodiscard]] std::uint64_t place_of(std::uint64_t frame) const noexcept {
    return lead + frame * frame_bytes;
  }
  /// Frames of the plain image, of 2048 bytes each.
  [[nodiscard]] std::uint64_t plain_frames() const noexcept { return frames - pregap; }
  [[nodiscard]] std::uint64_t plain_bytes() const noexcept {
    return plain_frames() * sector_code::user_bytes;
  }
  friend bool operator==(const FrameLayout&, const FrameLayout&) = default;
};

/// Looks for frames at a distance of `frame_bytes` (one of kFrameDistances). Cheap when there are
/// none. Evidence is demanded: syncs with headers that count up at that distance, or error
/// detection codes that match; a sync alone, or many of them, is none. May throw IoError.
[[nodiscard]] std::optional<FrameLayout> find_layout(const View& image, std::uint32_t frame_bytes);

/// Bytes that decide where a frame's user bytes stand, unless it is damaged: sync, header,
/// subheader.
inline constexpr std::size_t kHeadBytes = 24;

/// What a frame holds by its first bytes; empty when they do not tell and sector_code::classify
/// must see the whole frame.
[[nodiscard]] std::optional<sector_code::FrameKind> kind_of_head(
    std::span<const std::byte, kHeadBytes> head) noexcept;

/// Offset in a 2352-byte frame of its 2048 user bytes; empty for the kinds that have no sector of
/// 2048 bytes (audio, mode 0, mode 2 without form and in form 2, and what cannot be told).
[[nodiscard]] std::optional<std::size_t> user_offset(sector_code::FrameKind kind) noexcept;

/// Copies a stored frame to its full form. A headless frame is given a sync and a mode 2 header
/// with address 00:02:00; neither takes part in its codes. What is missing at the end is zero.
/// \param stored  bytes of the frame as they stand in the image
void full_frame(std::span<const std::byte> stored, bool headless,
                sector_code::MutableFrameView frame) noexcept;

/// Where byte 0 of a full frame stands, counted from the frame's place in the image: -16 for
/// headless frames, otherwise 0.
[[nodiscard]] constexpr std::uint64_t missing_head(bool headless) noexcept {
  return headless ? sector_code::frame_bytes - kHeadlessFrame : 0;
}

/// "00:02:16" for block 16. Blocks that have no address come out as "block N".
[[nodiscard]] std::string address_words(std::int64_t lba);

}  // namespace platter::framing
