// Allocation bitmaps: bit k is 1 << (k mod 8) of byte k / 8.
#pragma once

#include <algorithm>
#include <bit>
#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

#include "core/numbers.h"

namespace platter::filesystem {

[[nodiscard]] inline bool bit_of(std::span<const std::byte> map, std::uint64_t index) noexcept {
  const auto byte = std::to_integer<unsigned>(map[static_cast<std::size_t>(index / 8)]);
  return ((byte >> (index % 8)) & 1U) != 0;
}

/// First index behind `at` whose bit differs from the one at `at`, at most `limit`. The map has at
/// least `limit` bits.
[[nodiscard]] inline std::uint64_t run_end(std::span<const std::byte> map, std::uint64_t at,
                                           std::uint64_t limit) noexcept {
  const bool set = bit_of(map, at);
  const std::byte same = set ? std::byte{0xFF} : std::byte{0};
  while (at < limit) {
    if (at % 8 == 0) {
      while (at + 8 <= limit && map[static_cast<std::size_t>(at / 8)] == same)
        at += 8;
      if (at >= limit) break;
    }
    if (bit_of(map, at) != set) return at;
    ++at;
  }
  return limit;
}

/// Clear bits among the first `count`; the map has at least so many.
[[nodiscard]] inline std::uint64_t count_clear(std::span<const std::byte> map,
                                               std::uint64_t count) noexcept {
  std::uint64_t set = 0;
  for (std::uint64_t i = 0; i < count / 8; ++i) {
    set += static_cast<unsigned>(std::popcount(std::to_integer<unsigned>(map[i])));
  }
  for (std::uint64_t bit = count / 8 * 8; bit < count; ++bit)
    set += bit_of(map, bit) ? 1U : 0U;
  return count - set;
}

/// Turns a map that was written as big-endian words of so many bytes into plain byte order. Its own
/// inverse; an incomplete last word stays as it is.
inline void straighten(std::span<std::byte> map, std::size_t word_bytes) noexcept {
  if (word_bytes < 2) return;
  for (std::size_t at = 0; at + word_bytes <= map.size(); at += word_bytes) {
    std::ranges::reverse(map.subspan(at, word_bytes));
  }
}

/// How many bytes the words had in which a big-endian machine wrote a map: 1, 2, 4 or 8. Files are
/// given bits from the front, so the right reading changes least often between set and clear.
[[nodiscard]] inline std::size_t likely_word(std::span<const std::byte> map) {
  std::size_t best = 1;
  std::uint64_t fewest = kLargest;
  std::vector<std::byte> straight(map.begin(), map.end());
  for (const std::size_t word : {1U, 2U, 4U, 8U}) {
    std::ranges::copy(map, straight.begin());
    straighten(straight, word);
    std::uint64_t runs = 0;
    const std::uint64_t bits = std::uint64_t{straight.size()} * 8;
    for (std::uint64_t at = 0; at < bits; at = run_end(straight, at, bits))
      ++runs;
    if (runs < fewest) best = word;
    fewest = std::min(fewest, runs);
  }
  return best;
}

}  // namespace platter::filesystem
