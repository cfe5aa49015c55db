// The error detection code: ECMA-130 clause 14.
#include "framing/sector_code.h"

namespace platter::sector_code {
namespace {

constexpr std::uint32_t edc_polynomial = 0xD8018001U;  // reflected: bit 31 is x^0
constexpr std::size_t slice_count = 16;

using SliceTables = std::array<std::array<std::uint32_t, 256>, slice_count>;

// Table k gives the effect of a byte that k more bytes follow.
constexpr SliceTables make_slice_tables() {
  SliceTables tables{};
  for (std::uint32_t byte = 0; byte < 256; ++byte) {
    std::uint32_t rest = byte;
    for (int bit = 0; bit < 8; ++bit) {
      rest = (rest >> 1) ^ ((rest & 1U) != 0 ? edc_polynomial : 0U);
    }
    tables[0][byte] = rest;
  }
  for (std::size_t slice = 1; slice < slice_count; ++slice) {
    for (std::size_t byte = 0; byte < 256; ++byte) {
      const std::uint32_t before = tables[slice - 1][byte];
      tables[slice][byte] = (before >> 8) ^ tables[0][before & 0xFFU];
    }
  }
  return tables;
}

constexpr SliceTables slice_tables = make_slice_tables();

std::uint32_t load_little_32(const std::uint8_t* bytes) noexcept {
  return static_cast<std::uint32_t>(bytes[0]) | (static_cast<std::uint32_t>(bytes[1]) << 8) |
         (static_cast<std::uint32_t>(bytes[2]) << 16) |
         (static_cast<std::uint32_t>(bytes[3]) << 24);
}

// The effect of four bytes of which the last has `after` bytes behind it.
std::uint32_t slice_four(std::uint32_t word, std::size_t after) noexcept {
  return slice_tables[after + 3][word & 0xFFU] ^ slice_tables[after + 2][(word >> 8) & 0xFFU] ^
         slice_tables[after + 1][(word >> 16) & 0xFFU] ^ slice_tables[after][word >> 24];
}

}  // namespace

std::uint32_t detail::edc_portable(const std::uint8_t* bytes, std::size_t count,
                                   std::uint32_t start) noexcept {
  std::uint32_t rest = start;
  for (; count >= slice_count; count -= slice_count, bytes += slice_count) {
    rest = slice_four(load_little_32(bytes) ^ rest, 12) ^ slice_four(load_little_32(bytes + 4), 8) ^
           slice_four(load_little_32(bytes + 8), 4) ^ slice_four(load_little_32(bytes + 12), 0);
  }
  for (; count > 0; --count, ++bytes) {
    rest = (rest >> 8) ^ slice_tables[0][(rest ^ *bytes) & 0xFFU];
  }
  return rest;
}

std::uint32_t edc(std::span<const std::byte> bytes, std::uint32_t start, Path path) noexcept {
  return detail::kernel_for(path).edc(reinterpret_cast<const std::uint8_t*>(bytes.data()),
                                      bytes.size(), start);
}

EdcState edc_state(FrameView frame, FrameKind kind, Path path) noexcept {
  // The stored EDC is taken in with what it covers, so a sound frame leaves nothing.
  switch (kind) {
    case FrameKind::mode1:
      return edc(frame.first<2068>(), 0, path) == 0 ? EdcState::good : EdcState::bad;
    case FrameKind::mode2_form1:
      return edc(frame.subspan<16, 2060>(), 0, path) == 0 ? EdcState::good : EdcState::bad;
    case FrameKind::mode2_form2: {
      if (edc(frame.subspan<16, 2336>(), 0, path) == 0) {
        return EdcState::good;
      }
      const auto stored = frame.last<4>();
      const bool unused = (stored[0] | stored[1] | stored[2] | stored[3]) == std::byte{0};
      return unused ? EdcState::absent : EdcState::bad;
    }
    case FrameKind::audio:
    case FrameKind::mode0:
    case FrameKind::mode2_formless:
    case FrameKind::unknown:
      break;
  }
  return EdcState::absent;
}

}  // namespace platter::sector_code
