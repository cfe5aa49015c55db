// Every frame of an optical dump checked: sync, address, mode, error detection code and parity.
#pragma once

#include <array>
#include <cstdint>
#include <functional>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "core/source.h"
#include "framing/frame_layout.h"
#include "framing/workers.h"

namespace platter::framing {

inline constexpr std::size_t kFrameKinds = 7;

/// What stands in the plain image for a frame that is not sound.
enum class PlainContent : std::uint8_t {
  proven,     ///< the frame's own user bytes: their error detection code matches
  corrected,  ///< user bytes corrected from parity and proven by the code
  as_stored,  ///< user bytes as they stand, wrong: correcting them was not asked for
  zeros,      ///< nothing trustworthy is there
};

/// A frame that is not sound.
struct BadFrame {
  std::uint64_t frame = 0;  ///< counted from the first whole frame
  sector_code::FrameCheck check = {};
  bool unreadable = false;   ///< the medium did not give its bytes
  bool lost = false;         ///< a frame of data that has lost even its sync
  bool correctable = false;  ///< parity corrects it, and the codes prove the result
  PlainContent plain = PlainContent::zeros;
  std::vector<sector_code::ChangedByte> changes =
      {};  ///< when correctable; offsets in the full frame

  [[nodiscard]] bool ecc_bad() const noexcept { return check.p_bad != 0 || check.q_bad != 0; }
  [[nodiscard]] bool edc_bad() const noexcept { return check.edc == sector_code::EdcState::bad; }
};

/// A frame whose address does not follow from the one before.
struct AddressStep {
  std::uint64_t frame = 0;
  std::int64_t expected = 0;               ///< block
  std::optional<std::int32_t> found = {};  ///< block; empty: no binary-coded decimal
  bool lasting = false;                    ///< the frames behind it count on from `found`
  bool after_other_kind = false;  ///< something that is no frame of this mode stands before it
};

/// A run of frames that are data, or audio.
struct FrameRun {
  std::uint64_t first = 0;
  std::uint64_t frames = 0;
  bool audio = false;
};

struct Examination {
  FrameLayout layout;
  bool finished = false;  ///< false: stopped early; nothing below is complete
  std::array<std::uint64_t, kFrameKinds> kinds{};  ///< frames of each FrameKind
  std::uint64_t edc_bad = 0;
  std::uint64_t ecc_bad = 0;
  std::uint64_t sync_bad = 0;  ///< sync, mode or bytes that must be zero are wrong
  std::uint64_t address_bad = 0;
  std::uint64_t correctable = 0;
  std::uint64_t unreadable = 0;
  std::vector<BadFrame> bad;       ///< ascending
  std::vector<AddressStep> steps;  ///< ascending
  std::vector<FrameRun> runs;      ///< all frames, ascending
  std::string reason;              ///< the system's words about the first unreadable frame

  [[nodiscard]] std::uint64_t count(sector_code::FrameKind kind) const noexcept {
    return kinds[static_cast<std::size_t>(kind)];
  }
  [[nodiscard]] bool data_and_audio() const noexcept;
  /// Frames whose user bytes are neither proven nor correctable.
  [[nodiscard]] std::uint64_t hopeless() const noexcept;
};

/// Takes bytes of the plain image at an offset; called from several threads, never twice for the
/// same bytes except where frames are corrected late.
using WritePlain = std::function<void(std::uint64_t offset, std::span<const std::byte> bytes)>;

struct ExamineOptions {
  bool repair = false;    ///< put corrected user bytes into the plain image
  unsigned jobs = 0;      ///< most threads; 0: one for each processor core
  WritePlain write = {};  ///< empty: no plain image is wanted
  KeepGoing keep_going = {};
  sector_code::Path path = sector_code::Path::fastest;
};

/// Examines every frame. Bytes that cannot be read make bad frames, not exceptions; what `write`
/// throws comes through. Memory: about 8 bytes a frame, and what is wrong.
[[nodiscard]] Examination examine(const ByteSource& image, const FrameLayout& layout,
                                  const ExamineOptions& options = {});

}  // namespace platter::framing
