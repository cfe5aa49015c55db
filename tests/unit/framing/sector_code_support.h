// What the tests of the frame codes share: content, and the definitions of ECMA-130 written out a
// second time, slowly, as the outside witness.
#pragma once

#include <algorithm>
#include <cstdint>
#include <optional>
#include <ostream>
#include <span>
#include <vector>

#include "framing/sector_code.h"

namespace platter::test {

using namespace platter::sector_code;

using Bytes = std::vector<std::byte>;

template <std::size_t Count>
std::array<std::byte, Count> ramp() {
  std::array<std::byte, Count> bytes{};
  for (std::size_t i = 0; i < Count; ++i)
    bytes[i] = static_cast<std::byte>(i & 0xFF);
  return bytes;
}

template <std::size_t Count>
std::array<std::byte, Count> zeros() {
  return {};
}

template <std::size_t Count, typename Random>
std::array<std::byte, Count> noise(Random& random) {
  std::array<std::byte, Count> bytes{};
  for (std::byte& byte : bytes)
    byte = static_cast<std::byte>(random() & 0xFFU);
  return bytes;
}

inline constexpr Subheader data_subheader{std::byte{0}, std::byte{0}, std::byte{0x08},
                                          std::byte{0}};

template <typename Random>
std::byte nonzero_byte(Random& random) {
  return static_cast<std::byte>(1 + random() % 255);
}

// ---- The definitions once more, slowly: nothing here is shared with the library. ----

// Long division of the message, one bit at a time, by x^32+x^31+x^16+x^15+x^4+x^3+x+1. The
// remainder has x^31 on top and is turned round at the end, as the frame stores it.
inline std::uint32_t edc_by_division(std::span<const std::byte> bytes) {
  std::uint64_t remainder = 0;
  const auto feed = [&remainder](unsigned bit) {
    remainder = (remainder << 1) | bit;
    if ((remainder >> 32) != 0) remainder ^= 0x18001801BULL;
  };
  for (const std::byte byte : bytes) {
    for (int i = 0; i < 8; ++i)
      feed((std::to_integer<unsigned>(byte) >> i) & 1U);
  }
  for (int i = 0; i < 32; ++i)
    feed(0);
  std::uint32_t turned = 0;
  for (int i = 0; i < 32; ++i) {
    if (((remainder >> i) & 1U) != 0) turned |= 1U << (31 - i);
  }
  return turned;
}

inline unsigned field_product(unsigned a, unsigned b) {
  unsigned product = 0;
  for (int i = 0; i < 8; ++i) {
    if (((b >> i) & 1U) != 0) product ^= a << i;
  }
  for (int i = 15; i >= 8; --i) {
    if (((product >> i) & 1U) != 0) product ^= 0x11DU << (i - 8);
  }
  return product;
}

inline unsigned field_power(unsigned exponent) {
  static const std::array<unsigned, 64> powers = [] {
    std::array<unsigned, 64> table{};
    table[0] = 1;
    for (std::size_t i = 1; i < table.size(); ++i)
      table[i] = field_product(table[i - 1], 2);
    return table;
  }();
  return powers.at(exponent);
}

// Offsets in the frame of the symbols of each word, in the words of the standard: P word n takes
// 43*m+n, Q word n takes (44*m+43*n) mod 1118 of the 16-bit words from byte 12 on.
inline std::vector<std::vector<std::size_t>> word_layout(bool q) {
  std::vector<std::vector<std::size_t>> words;
  for (std::size_t n = 0; n < (q ? 26U : 43U); ++n) {
    for (std::size_t b = 0; b < 2; ++b) {
      std::vector<std::size_t> offsets;
      for (std::size_t m = 0; m < (q ? 43U : 26U); ++m) {
        offsets.push_back(12 + 2 * (q ? (44 * m + 43 * n) % 1118 : 43 * m + n) + b);
      }
      if (q) {
        offsets.push_back(12 + 2 * (1118 + n) + b);
        offsets.push_back(12 + 2 * (1144 + n) + b);
      }
      words.push_back(offsets);
    }
  }
  return words;
}

inline const std::vector<std::vector<std::size_t>>& p_layout() {
  static const auto layout = word_layout(false);
  return layout;
}

inline const std::vector<std::vector<std::size_t>>& q_layout() {
  static const auto layout = word_layout(true);
  return layout;
}

// The two parity symbols from the two equations, by Cramer's rule with an inverse found by search.
inline void solve_parity(Frame& frame, const std::vector<std::size_t>& offsets,
                         bool header_as_zero) {
  const std::size_t count = offsets.size();
  unsigned sum = 0;
  unsigned weighted = 0;
  for (std::size_t i = 0; i + 2 < count; ++i) {
    if (header_as_zero && offsets[i] < 16) continue;
    const auto symbol = std::to_integer<unsigned>(frame[offsets[i]]);
    sum ^= symbol;
    weighted ^= field_product(symbol, field_power(static_cast<unsigned>(count - 1 - i)));
  }
  static const unsigned inverse_of_3 = [] {
    unsigned inverse = 1;
    while (field_product(inverse, 3) != 1)
      ++inverse;
    return inverse;
  }();
  const unsigned first = field_product(sum ^ weighted, inverse_of_3);
  frame[offsets[count - 2]] = static_cast<std::byte>(first);
  frame[offsets[count - 1]] = static_cast<std::byte>(sum ^ first);
}

inline Frame encode_slowly(std::span<const std::byte> user, int minute, int second, int third,
                           int mode, std::optional<Subheader> subheader) {
  Frame frame{};
  std::fill(frame.begin() + 1, frame.begin() + 11, std::byte{0xFF});
  frame[12] = static_cast<std::byte>(minute / 10 * 16 + minute % 10);
  frame[13] = static_cast<std::byte>(second / 10 * 16 + second % 10);
  frame[14] = static_cast<std::byte>(third / 10 * 16 + third % 10);
  frame[15] = static_cast<std::byte>(mode);
  std::size_t at = 16;
  std::size_t covered_from = 0;
  if (subheader) {
    std::copy(subheader->begin(), subheader->end(), frame.begin() + 16);
    std::copy(subheader->begin(), subheader->end(), frame.begin() + 20);
    at = 24;
    covered_from = 16;
  }
  std::copy(user.begin(), user.end(), frame.begin() + static_cast<std::ptrdiff_t>(at));
  at += user.size();
  const std::uint32_t sum =
      edc_by_division(std::span(frame).subspan(covered_from, at - covered_from));
  for (std::size_t i = 0; i < 4; ++i)
    frame[at + i] = static_cast<std::byte>(sum >> (8 * i));
  if (user.size() == 2048) {
    for (const auto& word : p_layout())
      solve_parity(frame, word, subheader.has_value());
    for (const auto& word : q_layout())
      solve_parity(frame, word, subheader.has_value());
  }
  return frame;
}

inline bool all_words_hold(const Frame& frame, FrameKind kind) {
  const FrameSyndromes words = syndromes(frame, kind);
  return std::none_of(words.p.begin(), words.p.end(), [](auto& word) { return word.bad(); }) &&
         std::none_of(words.q.begin(), words.q.end(), [](auto& word) { return word.bad(); });
}

// Damages a copy of `sound`, repairs it, and demands that all of it comes back and that the list of
// changes is the damage.
inline bool repair_restores(const Frame& sound, const Frame& damaged) {
  Frame frame = damaged;
  const RepairResult result = repair(frame);
  if (result.outcome != RepairOutcome::corrected || frame != sound) return false;
  std::size_t listed = 0;
  for (std::size_t offset = 0; offset < frame_bytes; ++offset) {
    if (sound[offset] == damaged[offset]) continue;
    if (listed >= result.changes.size()) return false;
    const ChangedByte expected{static_cast<std::uint16_t>(offset), damaged[offset], sound[offset]};
    if (result.changes[listed] != expected) return false;
    ++listed;
  }
  return listed == result.changes.size();
}

// Damage that may or may not be repaired; true unless the outcome and the frame contradict.
inline bool repair_is_honest(const Frame& sound, const Frame& damaged) {
  Frame frame = damaged;
  const RepairResult result = repair(frame);
  switch (result.outcome) {
    case RepairOutcome::corrected:
      return frame == sound;
    case RepairOutcome::sound:
      return damaged == sound && frame == sound;
    case RepairOutcome::not_correctable:
    case RepairOutcome::unprotected:
      break;
  }
  return frame == damaged && result.changes.empty();
}

inline std::vector<Path> both_paths() {
  return {Path::portable, Path::fastest};
}

}  // namespace platter::test

namespace platter::sector_code {

inline std::ostream& operator<<(std::ostream& out, FrameKind kind) {
  return out << kind_name(kind);
}

inline std::ostream& operator<<(std::ostream& out, const FrameCheck& check) {
  return out << check.kind << " edc=" << static_cast<int>(check.edc) << " p=" << int{check.p_bad}
             << " q=" << int{check.q_bad} << " sync=" << check.sync_ok << " mode=" << check.mode_ok
             << " filler=" << check.filler_ok << " address=" << check.address.value_or(-1000000);
}

}  // namespace platter::sector_code
