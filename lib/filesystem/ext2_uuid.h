// Universally unique identifiers as text (RFC 4122 clause 3).
#pragma once

#include <cstddef>
#include <span>
#include <string>

namespace platter::filesystem {

/// 16 bytes in the order of their digits: "01234567-89ab-cdef-0123-456789abcdef".
[[nodiscard]] inline std::string uuid_text(std::span<const std::byte> bytes) {
  constexpr char kDigits[] = "0123456789abcdef";
  std::string text;
  for (std::size_t i = 0; i < bytes.size(); ++i) {
    if (i == 4 || i == 6 || i == 8 || i == 10) text += '-';
    const auto value = std::to_integer<unsigned>(bytes[i]);
    text += kDigits[value >> 4U];
    text += kDigits[value & 0xFU];
  }
  return text;
}

}  // namespace platter::filesystem
