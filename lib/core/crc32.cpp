#include "core/crc32.h"

#include <array>

namespace platter {
namespace {

constexpr std::uint32_t kPolynomial = 0xEDB88320;

consteval std::array<std::uint32_t, 256> make_table() {
  std::array<std::uint32_t, 256> table{};
  for (std::uint32_t byte = 0; byte < table.size(); ++byte) {
    std::uint32_t value = byte;
    for (int bit = 0; bit < 8; ++bit) {
      value = (value & 1U) != 0 ? value >> 1U ^ kPolynomial : value >> 1U;
    }
    table[byte] = value;
  }
  return table;
}

constexpr std::array<std::uint32_t, 256> kTable = make_table();

}  // namespace

std::uint32_t crc32(std::span<const std::byte> data, std::uint32_t earlier) noexcept {
  std::uint32_t value = ~earlier;
  for (const std::byte byte : data) {
    value = value >> 8U ^ kTable[(value ^ std::to_integer<std::uint32_t>(byte)) & 0xFFU];
  }
  return ~value;
}

}  // namespace platter
