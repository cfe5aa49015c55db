// Fields of structures that are read by the hundred thousand.
#pragma once

#include <bit>
#include <cstdint>
#include <cstring>

#include "core/record.h"

namespace platter::filesystem {

/// Reads numbers of a structure as FieldReader does, in little- or big-endian order only, with one
/// load each. Signed fields come as std::int64_t.
template <const Structure& S>
class QuickReader {
 public:
  /// \param data at least S.bytes bytes
  QuickReader(const std::byte* data, ByteOrder order) noexcept
      : data_(data),
        turn_((order == ByteOrder::big) != (std::endian::native == std::endian::big)) {}

  template <FieldName N>
  [[nodiscard]] auto get(std::size_t index = 0) const noexcept {
    constexpr const Field& field = S.first_field[S.index_of(N.view())];
    static_assert(field.order == ByteOrder::inherit);
    const std::byte* at = data_ + field.offset + index * field.width;
    std::uint64_t value = 0;
    if constexpr (field.width == 1) {
      value = std::to_integer<std::uint64_t>(*at);
    } else if constexpr (field.width == 2) {
      std::uint16_t word;
      std::memcpy(&word, at, sizeof word);
      value = turn_ ? __builtin_bswap16(word) : word;
    } else {
      static_assert(field.width == 4);
      std::uint32_t word;
      std::memcpy(&word, at, sizeof word);
      value = turn_ ? __builtin_bswap32(word) : word;
    }
    if constexpr (field.kind == FieldKind::signed_integer) {
      return sign_extend(value, field.width);
    } else {
      static_assert(field.kind == FieldKind::unsigned_integer);
      return value;
    }
  }
  template <FieldName N>
  [[nodiscard]] static consteval std::uint32_t offset_of() {
    return S.first_field[S.index_of(N.view())].offset;
  }

 private:
  const std::byte* data_;
  bool turn_;
};

/// Whether a name has a '/' or NUL in it; eight bytes at a time, the last eight perhaps twice.
[[nodiscard]] inline bool has_slash_or_nul(const char* name, std::size_t length) noexcept {
  constexpr std::uint64_t kOnes = 0x0101010101010101ULL;
  constexpr std::uint64_t kTops = 0x8080808080808080ULL;
  if (length < 8) {
    for (std::size_t at = 0; at < length; ++at) {
      if (name[at] == '/' || name[at] == '\0') return true;
    }
    return false;
  }
  const auto zero_in = [](std::uint64_t word) { return (word - kOnes) & ~word & kTops; };
  const auto found_at = [&](std::size_t at) {
    std::uint64_t word;
    std::memcpy(&word, name + at, sizeof word);
    return zero_in(word) | zero_in(word ^ kOnes * '/');
  };
  std::uint64_t found = found_at(length - 8);
  for (std::size_t at = 0; at + 8 < length; at += 8)
    found |= found_at(at);
  return found != 0;
}

}  // namespace platter::filesystem
