#include "plan/capacity.h"

#include <algorithm>
#include <charconv>

#include <fmt/format.h>

namespace platter::plan {
namespace {

constexpr Disc kDiscs[] = {{"63-minute disc", 63}, {"74-minute disc", 74}, {"80-minute disc", 80}};

// Bits high..low of the register, as the specification numbers them.
std::uint64_t bits(std::span<const std::byte, 16> csd, unsigned high, unsigned low) {
  std::uint64_t value = 0;
  for (unsigned bit = high + 1; bit-- > low;) {
    const auto byte = std::to_integer<unsigned>(csd[15 - bit / 8]);
    value = value << 1U | ((byte >> (bit % 8)) & 1U);
  }
  return value;
}

}  // namespace

std::span<const Disc> known_discs() noexcept {
  return kDiscs;
}

const Disc* smallest_disc(std::uint64_t bytes) noexcept {
  for (const Disc& disc : kDiscs) {
    if (bytes <= disc.bytes()) return &disc;
  }
  return nullptr;
}

Parsed<std::uint64_t> card_bytes_of_csd(std::span<const std::byte, 16> csd) {
  constexpr std::uint64_t kUnit = 512 * kKiB;
  switch (bits(csd, 127, 126)) {
    case 0: {
      const std::uint64_t block_length = bits(csd, 83, 80);
      if (block_length < 9 || block_length > 11) {
        return {{},
                fmt::format("the register's READ_BL_LEN is {}, allowed are 9 to 11", block_length)};
      }
      return {(bits(csd, 73, 62) + 1) << (bits(csd, 49, 47) + 2 + block_length), {}};
    }
    case 1:
      return {(bits(csd, 69, 48) + 1) * kUnit, {}};
    case 2:
      return {(bits(csd, 75, 48) + 1) * kUnit, {}};
    default:
      return {{}, "the register has the unknown structure 3"};
  }
}

Parsed<std::uint64_t> card_bytes_of_csd_text(std::string_view digits) {
  std::array<std::byte, 16> csd{};
  if (digits.size() != 32) {
    return {
        {},
        fmt::format("a register has 32 hexadecimal digits, found {} characters", digits.size())};
  }
  for (std::size_t i = 0; i < csd.size(); ++i) {
    unsigned value = 0;
    const char* first = digits.data() + 2 * i;
    const auto [end, problem] = std::from_chars(first, first + 2, value, 16);
    if (problem != std::errc{} || end != first + 2) {
      return {{}, "a register has 32 hexadecimal digits, found something else"};
    }
    csd[i] = static_cast<std::byte>(value);
  }
  return card_bytes_of_csd(csd);
}

}  // namespace platter::plan
