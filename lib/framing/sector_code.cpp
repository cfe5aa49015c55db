// Frame kinds, addresses, checking and encoding. See sector_code.h for the sources.
#include "framing/sector_code.h"

#include <algorithm>
#include <cstring>

namespace platter::sector_code {
namespace {

using detail::Kernel;
using detail::ParityCount;

constexpr std::size_t mode_offset = 15;
constexpr std::size_t subheader_offset = 16;
constexpr std::size_t submode_offset = 18;
constexpr std::byte form2_bit{0x20};
constexpr unsigned all_parity_words = p_word_count + q_word_count;

const std::uint8_t* raw(FrameView frame) noexcept {
  return reinterpret_cast<const std::uint8_t*>(frame.data());
}

bool all_zero(std::span<const std::byte> bytes) noexcept {
  return std::ranges::all_of(bytes, [](std::byte byte) { return byte == std::byte{0}; });
}

// The kind that the mode byte names; mode 2 comes out as formless, invalid ones as unknown. Bits
// 5-7 carry packet indicators on packet-written discs (from memory).
FrameKind kind_of_mode_byte(std::byte mode) noexcept {
  switch (std::to_integer<unsigned>(mode) & 0x1FU) {
    case 0:
      return FrameKind::mode0;
    case 1:
      return FrameKind::mode1;
    case 2:
      return FrameKind::mode2_formless;
    default:
      return FrameKind::unknown;
  }
}

bool mode_byte_names(FrameKind kind, std::byte mode) noexcept {
  const FrameKind named = kind_of_mode_byte(mode);
  const bool is_form = kind == FrameKind::mode2_form1 || kind == FrameKind::mode2_form2;
  return named != FrameKind::unknown && named == (is_form ? FrameKind::mode2_formless : kind);
}

// Up to four wrong bytes of twelve are forgiven when the header is plausible: digital audio at rest
// can look like most of a sync (samples of -1 are FF FF), but not like a header as well.
bool has_damaged_sync(FrameView frame) noexcept {
  unsigned right = 0;
  for (std::size_t i = 0; i < sync_pattern.size(); ++i) {
    right += frame[i] == sync_pattern[i] ? 1U : 0U;
  }
  return right >= 8 && parse_address(frame.subspan<12, 3>()).has_value() &&
         kind_of_mode_byte(frame[mode_offset]) != FrameKind::unknown;
}

unsigned bad_words(ParityCount count) noexcept {
  return static_cast<unsigned>(count.p_bad) + count.q_bad;
}

// Mode 2 subheader copies that differ in one byte at most and both say form 2.
bool subheader_nearly_says_form2(FrameView frame) noexcept {
  unsigned different = 0;
  for (std::size_t i = 0; i < 4; ++i) {
    different += frame[subheader_offset + i] != frame[subheader_offset + 4 + i] ? 1U : 0U;
  }
  return different <= 1 &&
         (frame[submode_offset] & frame[submode_offset + 4] & form2_bit) == form2_bit;
}

// The kind by the codes, when the bytes that should tell it are damaged or contradict each other.
FrameKind kind_by_codes(FrameView frame, Path path, const Kernel& kernel) noexcept {
  const bool empty = all_zero(frame.subspan<subheader_offset>());
  for (const FrameKind kind : {FrameKind::mode1, FrameKind::mode2_form1, FrameKind::mode2_form2}) {
    if (!empty && edc_state(frame, kind, path) == EdcState::good) {
      return kind;
    }
  }
  const unsigned as_mode1 = bad_words(kernel.count_bad_parity(raw(frame), false));
  const unsigned as_form1 = bad_words(kernel.count_bad_parity(raw(frame), true));
  // Random bytes satisfy one word in 65536, so half of the words is far from chance; unless all is
  // zero, which satisfies them without meaning anything.
  const bool has_parity = !all_zero(frame.subspan<2076>());
  if (has_parity && std::min(as_mode1, as_form1) < all_parity_words / 2) {
    return as_mode1 <= as_form1 ? FrameKind::mode1 : FrameKind::mode2_form1;
  }
  const FrameKind named = kind_of_mode_byte(frame[mode_offset]);
  if (named == FrameKind::mode2_formless && subheader_nearly_says_form2(frame)) {
    return FrameKind::mode2_form2;
  }
  return named;
}

FrameKind classify_with(FrameView frame, Path path, const Kernel& kernel) noexcept {
  const bool sync_ok = std::memcmp(frame.data(), sync_pattern.data(), sync_pattern.size()) == 0;
  if (!sync_ok && !has_damaged_sync(frame)) {
    return FrameKind::audio;
  }
  switch (kind_of_mode_byte(frame[mode_offset])) {
    case FrameKind::mode1:
      return FrameKind::mode1;
    case FrameKind::mode0:
      return all_zero(frame.subspan<subheader_offset>()) ? FrameKind::mode0
                                                         : kind_by_codes(frame, path, kernel);
    case FrameKind::mode2_formless:
      if (std::memcmp(frame.data() + subheader_offset, frame.data() + subheader_offset + 4, 4) ==
          0) {
        return (frame[submode_offset] & form2_bit) == form2_bit ? FrameKind::mode2_form2
                                                                : FrameKind::mode2_form1;
      }
      return kind_by_codes(frame, path, kernel);
    default:
      return kind_by_codes(frame, path, kernel);
  }
}

FrameCheck check_with(FrameView frame, Path path, const Kernel& kernel) noexcept {
  FrameCheck result;
  result.kind = classify_with(frame, path, kernel);
  if (result.kind == FrameKind::audio) {
    return result;
  }
  result.sync_ok = std::memcmp(frame.data(), sync_pattern.data(), sync_pattern.size()) == 0;
  result.mode_ok = mode_byte_names(result.kind, frame[mode_offset]);
  result.address = parse_address(frame.subspan<12, 3>());
  result.edc = edc_state(frame, result.kind, path);
  if (result.kind == FrameKind::mode1 || result.kind == FrameKind::mode2_form1) {
    const ParityCount count =
        kernel.count_bad_parity(raw(frame), result.kind == FrameKind::mode2_form1);
    result.p_bad = count.p_bad;
    result.q_bad = count.q_bad;
  }
  if (result.kind == FrameKind::mode1) {
    result.filler_ok = all_zero(frame.subspan<2068, 8>());
  } else if (result.kind == FrameKind::mode0) {
    result.filler_ok = all_zero(frame.subspan<subheader_offset>());
  }
  return result;
}

void store_little_32(std::span<std::byte, 4> place, std::uint32_t value) noexcept {
  for (std::size_t i = 0; i < 4; ++i) {
    place[i] = static_cast<std::byte>((value >> (8 * i)) & 0xFFU);
  }
}

// Sync and header; the rest zero.
std::optional<Frame> empty_frame(std::int32_t lba, std::byte mode) noexcept {
  const auto address = address_bytes(lba);
  if (!address) {
    return std::nullopt;
  }
  Frame frame{};
  std::ranges::copy(sync_pattern, frame.begin());
  std::ranges::copy(*address, frame.begin() + 12);
  frame[mode_offset] = mode;
  return frame;
}

void write_subheader(Frame& frame, const Subheader& subheader) noexcept {
  std::ranges::copy(subheader, frame.begin() + subheader_offset);
  std::ranges::copy(subheader, frame.begin() + subheader_offset + 4);
}

}  // namespace

const Kernel& detail::kernel_for(Path path) noexcept {
  static constexpr Kernel portable{edc_portable, count_bad_parity_portable};
  const Kernel* const accelerated = path == Path::fastest ? accelerated_kernel() : nullptr;
  return accelerated != nullptr ? *accelerated : portable;
}

bool accelerated_path_available() noexcept {
  return detail::accelerated_kernel() != nullptr;
}

std::string_view kind_name(FrameKind kind) noexcept {
  switch (kind) {
    case FrameKind::audio:
      return "audio";
    case FrameKind::mode0:
      return "mode0";
    case FrameKind::mode1:
      return "mode1";
    case FrameKind::mode2_formless:
      return "mode2";
    case FrameKind::mode2_form1:
      return "mode2-form1";
    case FrameKind::mode2_form2:
      return "mode2-form2";
    case FrameKind::unknown:
      break;
  }
  return "unknown";
}

std::optional<std::int32_t> parse_address(
    std::span<const std::byte, 3> minute_second_frame) noexcept {
  std::array<std::int32_t, 3> fields{};
  for (std::size_t i = 0; i < fields.size(); ++i) {
    const int tens = std::to_integer<int>(minute_second_frame[i] >> 4);
    const int ones = std::to_integer<int>(minute_second_frame[i] & std::byte{0x0F});
    if (tens > 9 || ones > 9) {
      return std::nullopt;
    }
    fields[i] = tens * 10 + ones;
  }
  if (fields[1] > 59 || fields[2] > 74) {
    return std::nullopt;
  }
  return (fields[0] * 60 + fields[1]) * 75 + fields[2] + first_lba;
}

std::optional<std::array<std::byte, 3>> address_bytes(std::int32_t lba) noexcept {
  if (lba < first_lba || lba > last_lba) {
    return std::nullopt;
  }
  const std::int32_t frames = lba - first_lba;
  const std::array<std::int32_t, 3> fields{frames / 75 / 60, frames / 75 % 60, frames % 75};
  std::array<std::byte, 3> bytes{};
  for (std::size_t i = 0; i < fields.size(); ++i) {
    bytes[i] = static_cast<std::byte>(fields[i] / 10 * 16 + fields[i] % 10);
  }
  return bytes;
}

FrameKind classify(FrameView frame) noexcept {
  return classify_with(frame, Path::fastest, detail::kernel_for(Path::fastest));
}

FrameCheck check(FrameView frame, Path path) noexcept {
  return check_with(frame, path, detail::kernel_for(path));
}

std::size_t whole_frames(std::size_t byte_count, std::size_t stride) noexcept {
  if (stride < frame_bytes || byte_count < frame_bytes) {
    return 0;
  }
  return (byte_count - frame_bytes) / stride + 1;
}

std::size_t check_frames(std::span<const std::byte> bytes, std::size_t stride,
                         std::span<FrameCheck> checks, Path path) noexcept {
  const std::size_t count = std::min(whole_frames(bytes.size(), stride), checks.size());
  const Kernel& kernel = detail::kernel_for(path);
  for (std::size_t i = 0; i < count; ++i) {
    checks[i] = check_with(bytes.subspan(i * stride).first<frame_bytes>(), path, kernel);
  }
  return count;
}

std::optional<Frame> encode_mode1(std::span<const std::byte, user_bytes> user,
                                  std::int32_t lba) noexcept {
  auto frame = empty_frame(lba, std::byte{1});
  if (frame) {
    const MutableFrameView view{*frame};
    std::ranges::copy(user, view.begin() + 16);
    store_little_32(view.subspan<2064, 4>(), edc(view.first<2064>()));
    write_parity(view, FrameKind::mode1);
  }
  return frame;
}

std::optional<Frame> encode_form1(std::span<const std::byte, user_bytes> user, Subheader subheader,
                                  std::int32_t lba) noexcept {
  auto frame = empty_frame(lba, std::byte{2});
  if (frame) {
    const MutableFrameView view{*frame};
    subheader[2] &= ~form2_bit;
    write_subheader(*frame, subheader);
    std::ranges::copy(user, view.begin() + 24);
    store_little_32(view.subspan<2072, 4>(), edc(view.subspan<16, 2056>()));
    write_parity(view, FrameKind::mode2_form1);
  }
  return frame;
}

std::optional<Frame> encode_form2(std::span<const std::byte, form2_user_bytes> user,
                                  Subheader subheader, std::int32_t lba, bool with_edc) noexcept {
  auto frame = empty_frame(lba, std::byte{2});
  if (frame) {
    const MutableFrameView view{*frame};
    subheader[2] |= form2_bit;
    write_subheader(*frame, subheader);
    std::ranges::copy(user, view.begin() + 24);
    if (with_edc) {
      store_little_32(view.last<4>(), edc(view.subspan<16, 2332>()));
    }
  }
  return frame;
}

}  // namespace platter::sector_code
