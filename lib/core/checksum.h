// Checksums that labels carry. CRC and parity codes have files of their own.
#pragma once

#include <cstdint>
#include <span>

#include "core/layout.h"

namespace platter {

/// Exclusive-or of all 16-bit words; an odd last byte is left out.
[[nodiscard]] std::uint16_t xor_of_words(std::span<const std::byte> data, ByteOrder order) noexcept;
/// Sum of all 16-bit words in 32 bits, carries not folded.
[[nodiscard]] std::uint32_t sum_of_words16(std::span<const std::byte> data,
                                           ByteOrder order) noexcept;
/// Sum of all 32-bit words modulo 2^32; a rest below four bytes is left out.
[[nodiscard]] std::uint32_t sum_of_words32(std::span<const std::byte> data,
                                           ByteOrder order) noexcept;

}  // namespace platter
