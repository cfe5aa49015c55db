// Arithmetic on numbers that come from a disk.
//
// A product or sum of such numbers must never wrap: a wrapped end would pass a bounds check. These
// helpers stop at the largest value instead, which every later comparison rejects.
#pragma once

#include <bit>
#include <cstdint>
#include <limits>

namespace platter {

inline constexpr std::uint64_t kLargest = std::numeric_limits<std::uint64_t>::max();

/// a + b, or the largest value when that does not fit.
[[nodiscard]] constexpr std::uint64_t saturating_add(std::uint64_t a, std::uint64_t b) noexcept {
  return a > kLargest - b ? kLargest : a + b;
}

/// a * b, or the largest value when that does not fit.
[[nodiscard]] constexpr std::uint64_t saturating_mul(std::uint64_t a, std::uint64_t b) noexcept {
  return b != 0 && a > kLargest / b ? kLargest : a * b;
}

/// The product of several factors, or the largest value when it does not fit.
template <typename... Rest>
[[nodiscard]] constexpr std::uint64_t saturating_mul(std::uint64_t a, std::uint64_t b,
                                                     std::uint64_t c, Rest... rest) noexcept {
  return saturating_mul(saturating_mul(a, b), c, rest...);
}

/// a / b rounded up; b must not be 0.
[[nodiscard]] constexpr std::uint64_t divide_up(std::uint64_t a, std::uint64_t b) noexcept {
  return a / b + (a % b != 0 ? 1 : 0);
}

/// Whether [start, start + bytes) lies wholly inside [0, limit), without computing the end.
[[nodiscard]] constexpr bool fits_within(std::uint64_t start, std::uint64_t bytes,
                                         std::uint64_t limit) noexcept {
  return bytes <= limit && start <= limit - bytes;
}

/// Whether value is a power of two inside [low, high].
[[nodiscard]] constexpr bool is_power_of_two_in(std::uint64_t value, std::uint64_t low,
                                                std::uint64_t high) noexcept {
  return std::has_single_bit(value) && value >= low && value <= high;
}

}  // namespace platter
