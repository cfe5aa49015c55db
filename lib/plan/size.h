// Sizes and positions as people write and read them.
//
// A bare number counts 512-byte blocks; a number with a unit counts what the unit says. Everything
// is kept in bytes behind this door, so no other file multiplies by a unit.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

namespace platter::plan {

/// Bytes of the block that a bare number counts.
inline constexpr std::uint64_t kBlockBytes = 512;
/// User bytes of an optical sector (ECMA-130, mode 1).
inline constexpr std::uint64_t kOpticalBytes = 2048;
inline constexpr std::uint64_t kKiB = std::uint64_t{1} << 10;
inline constexpr std::uint64_t kMiB = std::uint64_t{1} << 20;
inline constexpr std::uint64_t kGiB = std::uint64_t{1} << 30;

/// A value that was understood, or the reason why not; the reason starts lower-case, has no stop.
template <typename Value>
struct Parsed {
  std::optional<Value> value;
  std::string error;

  [[nodiscard]] explicit operator bool() const noexcept { return value.has_value(); }
};

/// A half-open run of bytes.
struct Extent {
  std::uint64_t start = 0;  ///< bytes
  std::uint64_t bytes = 0;
  friend bool operator==(const Extent&, const Extent&) = default;
};

/// Reads a size or position and returns bytes.
///
/// Digits or 0x and hexadecimal digits, then a unit or none. Decimal numbers may have up to nine
/// digits behind a point when a unit follows and the result is a whole number of bytes. After a
/// hexadecimal number a unit must be set off by a space ("0x10 B"), because B is a digit there.
[[nodiscard]] Parsed<std::uint64_t> parse_size(std::string_view text);

/// Reads "START+LENGTH". Refuses an empty run and one whose end does not fit 64 bits.
[[nodiscard]] Parsed<Extent> parse_extent(std::string_view text);

/// A size for a person in three significant figures: "512 B", "1.00 KiB", "10.5 MiB", "700 MiB".
[[nodiscard]] std::string readable_size(std::uint64_t bytes);

/// "2048 blocks", "1 block", or "1000 bytes" when it is no whole number of 512-byte blocks.
[[nodiscard]] std::string in_blocks(std::uint64_t bytes);

}  // namespace platter::plan
