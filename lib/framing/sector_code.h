// The codes inside a 2352-byte optical frame: address, error detection code (EDC) and the P and Q
// parity of the Reed-Solomon product code (RSPC).
//
// Sources: ECMA-130 2nd edition, clause 14 (layout of a sector in the digital data track) and
// annex A (RSPC). Mode 2 with its two forms is not in ECMA-130; its layout is common practice, no
// source, and is confirmed only by the test vectors.
//
// Everything here is pure: no files, no clock, no global state but constant tables. No function
// throws (the list inside `RepairResult` allocates), and any bytes whatever may be given.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <string_view>
#include <vector>

namespace platter::sector_code {

inline constexpr std::size_t frame_bytes = 2352;
inline constexpr std::size_t user_bytes = 2048;        // mode 1 and mode 2 form 1
inline constexpr std::size_t form2_user_bytes = 2324;  // mode 2 form 2
inline constexpr std::size_t p_word_count = 86;        // each (26,24)
inline constexpr std::size_t q_word_count = 52;        // each (45,43)
inline constexpr std::int32_t first_lba = -150;        // 00:00:00
inline constexpr std::int32_t last_lba = 449849;       // 99:59:74

using Frame = std::array<std::byte, frame_bytes>;
using FrameView = std::span<const std::byte, frame_bytes>;
using MutableFrameView = std::span<std::byte, frame_bytes>;
using Subheader = std::array<std::byte, 4>;  // file, channel, submode, coding

// The 12 bytes every data frame begins with (ECMA-130 clause 14).
inline constexpr std::array<std::byte, 12> sync_pattern{
    std::byte{0x00}, std::byte{0xFF}, std::byte{0xFF}, std::byte{0xFF},
    std::byte{0xFF}, std::byte{0xFF}, std::byte{0xFF}, std::byte{0xFF},
    std::byte{0xFF}, std::byte{0xFF}, std::byte{0xFF}, std::byte{0x00}};

// What a frame holds.
enum class FrameKind : std::uint8_t {
  audio,           // no sync: 588 stereo samples, or something that is no frame at all
  mode0,           // sync and header, then zeros
  mode1,           // 2048 user bytes with EDC and parity
  mode2_formless,  // 2336 user bytes without any code
  mode2_form1,     // subheader, 2048 user bytes with EDC and parity
  mode2_form2,     // subheader, 2324 user bytes, EDC optional
  unknown,         // sync present, but neither the mode byte nor the codes tell the mode
};

// How the EDC of a frame stands.
enum class EdcState : std::uint8_t {
  absent,  // the kind has none, or it is a form 2 frame that stores zero
  good,
  bad,
};

// Which implementation does the arithmetic. Both give the same answers.
enum class Path : std::uint8_t {
  fastest,   // chosen from the processor at run time
  portable,  // plain C++, also where the processor could do better (tests, benchmarks)
};

// The verdict on one frame.
struct FrameCheck {
  FrameKind kind = FrameKind::audio;
  EdcState edc = EdcState::absent;
  std::uint8_t p_bad = 0;  // P words (of 86) with a syndrome that is not zero
  std::uint8_t q_bad = 0;  // Q words (of 52) likewise
  bool sync_ok = false;    // all 12 bytes; false for audio
  bool mode_ok = false;    // the mode byte names this kind; false for audio
  bool filler_ok = true;   // the bytes that must be zero: mode 0 16-2351, mode 1 2068-2075
  // The header as a logical block; empty if it is not valid BCD, and for audio.
  std::optional<std::int32_t> address;

  // True when nothing that this kind of frame protects is wrong. Audio and formless frames protect
  // nothing and so are always sound in this sense; a frame of unknown kind never is.
  [[nodiscard]] bool sound() const noexcept {
    if (kind == FrameKind::audio) {
      return true;
    }
    return kind != FrameKind::unknown && sync_ok && mode_ok && filler_ok && address.has_value() &&
           edc != EdcState::bad && p_bad == 0 && q_bad == 0;
  }
  friend bool operator==(const FrameCheck&, const FrameCheck&) = default;
};

// The two syndromes of one code word: the plain sum of its symbols, and the sum weighted with
// alpha^(N-1-i). Both are zero in a sound word (ECMA-130 annex A).
struct Syndrome {
  std::uint8_t sum = 0;
  std::uint8_t weighted = 0;
  [[nodiscard]] bool bad() const noexcept { return (sum | weighted) != 0; }
  friend bool operator==(const Syndrome&, const Syndrome&) = default;
};

// All syndromes of a frame. Word 2n is the even (low) byte and word 2n+1 the odd (high) byte of
// column n for P, of diagonal n for Q.
struct FrameSyndromes {
  std::array<Syndrome, p_word_count> p;
  std::array<Syndrome, q_word_count> q;
};

enum class RepairOutcome : std::uint8_t {
  sound,            // nothing to do
  corrected,        // bytes were changed, and EDC and all parity words prove the result
  not_correctable,  // damaged beyond the code; the frame is as it was
  unprotected,      // the kind carries no code that could prove or repair it; as it was
};

struct ChangedByte {
  std::uint16_t offset = 0;  // in the frame
  std::byte before{};
  std::byte after{};
  friend bool operator==(const ChangedByte&, const ChangedByte&) = default;
};

struct RepairResult {
  RepairOutcome outcome = RepairOutcome::not_correctable;
  FrameKind kind = FrameKind::unknown;  // of the frame as it now is
  std::vector<ChangedByte> changes;     // ascending offsets; empty unless corrected
};

// The kind as one word for people and JSON: "audio", "mode0", "mode1", "mode2", "mode2-form1",
// "mode2-form2", "unknown".
[[nodiscard]] std::string_view kind_name(FrameKind kind) noexcept;

// True when `Path::fastest` is something other than the portable code on this processor.
[[nodiscard]] bool accelerated_path_available() noexcept;

// EDC of `bytes` (ECMA-130 clause 14): generator (x^16+x^15+x^2+1)(x^16+x^2+x+1), least
// significant bit of each byte first, no final inversion. `start` is 0, or the EDC of the bytes
// before these. Stored little-endian; the EDC of bytes followed by their stored EDC is 0.
[[nodiscard]] std::uint32_t edc(std::span<const std::byte> bytes, std::uint32_t start = 0,
                                Path path = Path::fastest) noexcept;

// State of the EDC of `frame` taken as `kind`: over 0-2063 stored at 2064 (mode 1, ECMA-130 clause
// 14.3), 16-2071 at 2072 (form 1), 16-2347 at 2348 (form 2, zero meaning absent). The other kinds
// have none.
[[nodiscard]] EdcState edc_state(FrameView frame, FrameKind kind,
                                 Path path = Path::fastest) noexcept;

// Syndromes of all 86 P and 52 Q words (ECMA-130 annex A) over bytes 12-2351. With
// `kind == mode2_form1` bytes 12-15 count as zero; any other kind takes them as they are.
[[nodiscard]] FrameSyndromes syndromes(FrameView frame, FrameKind kind) noexcept;

// Writes P (2076-2247) and Q (2248-2351) from bytes 12-2075 (ECMA-130 annex A). Header as for
// `syndromes`.
void write_parity(MutableFrameView frame, FrameKind kind) noexcept;

// Offset in the frame of symbol `index` (0-25) of P word `word` (0-85); symbols 24 and 25 are
// parity. Larger arguments are taken modulo the range.
[[nodiscard]] std::size_t p_symbol_offset(std::size_t word, std::size_t index) noexcept;

// Offset in the frame of symbol `index` (0-44) of Q word `word` (0-51); symbols 43 and 44 are
// parity. Larger arguments are taken modulo the range.
[[nodiscard]] std::size_t q_symbol_offset(std::size_t word, std::size_t index) noexcept;

// Logical block of a header (ECMA-130 clause 14): minute, second, frame in BCD;
// (minute*60+second)*75+frame-150, from -150 to 449849. Empty when a digit or a field is out of
// range.
[[nodiscard]] std::optional<std::int32_t> parse_address(
    std::span<const std::byte, 3> minute_second_frame) noexcept;

// The reverse of `parse_address`. Empty when `lba` is outside -150 to 449849.
[[nodiscard]] std::optional<std::array<std::byte, 3>> address_bytes(std::int32_t lba) noexcept;

// What `frame` holds. Sync, then mode byte (bits 5-7 may carry packet indicators, from memory, and
// are ignored), then for mode 2 the form bit of the two subheader copies. A sync with up to four
// wrong bytes still counts when the header is plausible. Where the copies differ, or the mode byte
// is impossible, or a mode 0 frame is not empty, the EDC decides, then the number of parity words
// that hold. Mode 2 data whose first 8 bytes happen to look like a subheader twice reads as form 1
// or 2.
[[nodiscard]] FrameKind classify(FrameView frame) noexcept;

// Checks sync, address, EDC, parity and filler of one frame.
[[nodiscard]] FrameCheck check(FrameView frame, Path path = Path::fastest) noexcept;

// Checks frame after frame: frame k is the 2352 bytes at k*`stride` (2352, or 2368 and 2448 where
// sub-channel bytes follow each frame). Fills `checks` from its start and returns how many frames
// were checked: the smaller of `checks.size()` and `whole_frames(bytes.size(), stride)`.
std::size_t check_frames(std::span<const std::byte> bytes, std::size_t stride,
                         std::span<FrameCheck> checks, Path path = Path::fastest) noexcept;

// How many frames lie wholly within `byte_count` bytes at a distance of `stride` bytes; 0 when
// `stride` is below 2352. The last one need not be followed by its sub-channel bytes.
[[nodiscard]] std::size_t whole_frames(std::size_t byte_count, std::size_t stride) noexcept;

// A mode 1 frame (ECMA-130 clause 14) of 2048 user bytes at `lba`; empty when `lba` has no address.
[[nodiscard]] std::optional<Frame> encode_mode1(std::span<const std::byte, user_bytes> user,
                                                std::int32_t lba) noexcept;

// A mode 2 form 1 frame; the form bit of the subheader is cleared. Empty when `lba` has no address.
[[nodiscard]] std::optional<Frame> encode_form1(std::span<const std::byte, user_bytes> user,
                                                Subheader subheader, std::int32_t lba) noexcept;

// A mode 2 form 2 frame with EDC (`with_edc`) or zeros in its place; the form bit of the subheader
// is set. Empty when `lba` has no address.
[[nodiscard]] std::optional<Frame> encode_form2(std::span<const std::byte, form2_user_bytes> user,
                                                Subheader subheader, std::int32_t lba,
                                                bool with_edc = true) noexcept;

// Repairs `frame` in place from its parity, or leaves it as it was.
//
// P and Q words correct each other in turn (one unknown byte, or two whose places the other code
// marks) until nothing changes; ECMA-130 annex A gives the code, the order of the passes is ours.
// Where the EDC holds from the start, filler and parity are written anew. The result stands only if
// the EDC holds, every P and Q word holds, and the filler of mode 1 is zero. The sync is a constant
// and is rewritten when the rest is proved so. Where the mode byte and the codes disagree, mode 1
// and both forms are tried and the codes decide.
//
// Repaired for certain: any one wrong byte of the protected area (mode 1: 12-2351; form 1: 16-2351
// and the mode in byte 15), any burst of up to 86 bytes there, any damage to parity alone, and with
// each any damage to the sync; commonly far more. Not repaired: minute, second and frame of a mode
// 2 frame (no code covers them) and the content of form 2 (its EDC only detects). A form 1 frame
// whose bytes 16-2075 would all become zero is refused: that is a code word, but formless data of a
// few bytes among zeros looks the same.
[[nodiscard]] RepairResult repair(MutableFrameView frame);

namespace detail {

// Words with a syndrome that is not zero.
struct ParityCount {
  std::uint8_t p_bad = 0;
  std::uint8_t q_bad = 0;
};

// One implementation of the two loops that cost time.
struct Kernel {
  std::uint32_t (*edc)(const std::uint8_t* bytes, std::size_t count, std::uint32_t start) noexcept;
  // `header_as_zero`: bytes 12-15 count as zero (form 1).
  ParityCount (*count_bad_parity)(const std::uint8_t* frame, bool header_as_zero) noexcept;
};

std::uint32_t edc_portable(const std::uint8_t* bytes, std::size_t count,
                           std::uint32_t start) noexcept;
ParityCount count_bad_parity_portable(const std::uint8_t* frame, bool header_as_zero) noexcept;

// Null where the processor (or the compiler's target) has no carry-less multiplication and 256-bit
// integer vectors.
const Kernel* accelerated_kernel() noexcept;

const Kernel& kernel_for(Path path) noexcept;

}  // namespace detail
}  // namespace platter::sector_code
