// The 32-bit cyclic redundancy check of IEEE 802.3 (reflected polynomial 0xEDB88320, preset and
// final inversion all ones), as GPT and compressed containers use it.
#pragma once

#include <cstddef>
#include <cstdint>
#include <span>

namespace platter {

/// CRC-32 of the bytes. To go on after an earlier part, pass what the earlier call returned.
[[nodiscard]] std::uint32_t crc32(std::span<const std::byte> data,
                                  std::uint32_t earlier = 0) noexcept;

}  // namespace platter
