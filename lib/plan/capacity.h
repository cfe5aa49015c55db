// How much media hold.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <span>
#include <string_view>

#include "plan/size.h"

namespace platter::plan {

/// A recordable disc by its playing time: 75 sectors a second (ECMA-130 clause 14), 2048 user bytes
/// each. Which times discs were sold with is common practice, no source.
struct Disc {
  std::string_view name;
  std::uint64_t minutes;
  [[nodiscard]] constexpr std::uint64_t sectors() const noexcept { return minutes * 60 * 75; }
  [[nodiscard]] constexpr std::uint64_t bytes() const noexcept { return sectors() * kOpticalBytes; }
};

/// Smallest first.
[[nodiscard]] std::span<const Disc> known_discs() noexcept;
/// The smallest disc that holds so many bytes, or nullptr.
[[nodiscard]] const Disc* smallest_disc(std::uint64_t bytes) noexcept;

/// Capacity in bytes of a flash card from its card-specific data register, 16 bytes with bit 127
/// first (SD Physical Layer Simplified Specification, clauses 5.3.2 and 5.3.3; the third structure
/// as drivers/mmc/core/sd.c of the Linux kernel reads it).
[[nodiscard]] Parsed<std::uint64_t> card_bytes_of_csd(std::span<const std::byte, 16> csd);
/// The same from 32 hexadecimal digits, as Linux shows the register in sysfs.
[[nodiscard]] Parsed<std::uint64_t> card_bytes_of_csd_text(std::string_view digits);

}  // namespace platter::plan
