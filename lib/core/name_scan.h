// Looking through names eight bytes at a time: every file of a list has one.
#pragma once

#include <array>
#include <cstdint>
#include <cstring>
#include <string_view>

namespace platter {

namespace name_scan_detail {

inline constexpr std::uint64_t kOnes = 0x0101010101010101ULL;
inline constexpr std::uint64_t kTops = 0x8080808080808080ULL;

/// Sets the top bit of some byte when one of the bytes is zero, and only then; but a byte that has
/// its top bit may keep it.
constexpr std::uint64_t zero_byte_or_top_in(std::uint64_t word) noexcept {
  return word - kOnes;
}

/// Collects `find(word)` over all bytes of a name, those before the last eight perhaps twice.
/// \param name at least eight bytes
template <typename Find>
std::uint64_t over_words(std::string_view name, Find find) noexcept {
  const auto found_at = [&](std::size_t at) {
    std::uint64_t word;
    std::memcpy(&word, name.data() + at, sizeof word);
    return find(word);
  };
  std::uint64_t found = found_at(name.size() - 8);
  for (std::size_t at = 0; at + 8 < name.size(); at += 8)
    found |= found_at(at);
  return found;
}

/// Characters that stand for themselves everywhere, see is_plain_name().
inline constexpr auto kPlain = [] {
  std::array<bool, 256> plain{};
  for (std::size_t c = 0x20; c < 0x7F; ++c)
    plain[c] = c != '/' && c != '"' && c != '\\' && c != ';';
  return plain;
}();

}  // namespace name_scan_detail

/// Whether a name in an 8-bit character set has a '/' or NUL in it.
[[nodiscard]] inline bool has_slash_or_nul(std::string_view name) noexcept {
  using namespace name_scan_detail;
  if (name.size() < 8) {
    for (const char c : name) {
      if (c == '/' || c == '\0') return true;
    }
    return false;
  }
  return (over_words(name,
                     [](std::uint64_t word) {
                       const std::uint64_t slash = word ^ kOnes * '/';
                       return (zero_byte_or_top_in(word) & ~word) |
                              (zero_byte_or_top_in(slash) & ~slash);
                     }) &
          kTops) != 0;
}

/// Whether a name in an 8-bit character set consists of characters that mean nothing but
/// themselves in every such set, in a path, in JSON and on a terminal: printable ASCII without '/',
/// '"' and '\\', no '.' in front. Most names do. A ';', which sets off versions on optical discs,
/// does not count as plain.
[[nodiscard]] inline bool is_plain_name(std::string_view name) noexcept {
  using namespace name_scan_detail;
  if (name.empty() || name.front() == '.') return false;
  if (name.size() < 8) {
    for (const char c : name) {
      if (!kPlain[static_cast<unsigned char>(c)]) return false;
    }
    return true;
  }
  // Bytes from 0x7F on gain the top bit when one is added or have it, those below 0x20 when 0x20
  // is taken away. A carry into the next byte comes only from one that is found already.
  return (over_words(name,
                     [](std::uint64_t word) {
                       return word | (word + kOnes) | (word - kOnes * 0x20) |
                              zero_byte_or_top_in(word ^ kOnes * '/') |
                              zero_byte_or_top_in(word ^ kOnes * '"') |
                              zero_byte_or_top_in(word ^ kOnes * '\\') |
                              zero_byte_or_top_in(word ^ kOnes * ';');
                     }) &
          kTops) == 0;
}

}  // namespace platter
