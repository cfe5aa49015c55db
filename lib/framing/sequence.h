// What the order of frames tells: addresses that do not follow one another, frames that have lost
// their sync, and where data ends and audio begins.
#pragma once

#include <cstdint>
#include <limits>
#include <span>
#include <vector>

#include "framing/examine.h"

namespace platter::framing {

/// What is kept of every frame.
struct FrameNote {
  static constexpr std::int32_t kNoAddress = std::numeric_limits<std::int32_t>::min();
  std::int32_t lba = kNoAddress;
  sector_code::FrameKind kind = sector_code::FrameKind::audio;
  bool unreadable = false;
  bool constant = false;  ///< no sync, and one byte repeated

  /// Whether a sync was there.
  [[nodiscard]] bool framed() const noexcept {
    return !unreadable && kind != sector_code::FrameKind::audio;
  }
  [[nodiscard]] bool without_sync() const noexcept {
    return !unreadable && kind == sector_code::FrameKind::audio;
  }
  [[nodiscard]] bool addressed() const noexcept { return framed() && lba != kNoAddress; }
};

/// Frames whose address is not that of the frame before plus one. One wrong address is one step; so
/// is a jump after which the addresses count on.
[[nodiscard]] std::vector<AddressStep> find_steps(std::span<const FrameNote> notes);

/// Frames without sync that may be damaged frames of data.
struct Suspects {
  std::uint64_t first = 0;
  std::uint64_t frames = 0;
  /// True: data stands on both sides and its addresses leave exactly this many frames between, so
  /// these are lost frames even when they cannot be corrected. False: only a frame that parity
  /// proves was one.
  bool certain = false;
};
/// Digital audio has no mark of its own, so a few frames without sync amid data that counts on, or
/// any number of them filled with one byte, are lost data; longer runs with content are audio.
[[nodiscard]] std::vector<Suspects> find_suspects(std::span<const FrameNote> notes);

/// Runs of data and audio, all frames, ascending.
[[nodiscard]] std::vector<FrameRun> find_runs(std::span<const FrameNote> notes);

}  // namespace platter::framing
