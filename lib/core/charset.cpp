#include "core/charset.h"

#include <array>
#include <cstddef>

#include <fmt/format.h>

namespace platter {
namespace {

// One code point of UTF-8 text at `at`; length 0 when the bytes are no UTF-8.
struct CodePoint {
  std::uint32_t value = 0;
  std::size_t length = 0;
};

CodePoint code_point_at(std::string_view bytes, std::size_t at) noexcept {
  const auto byte = [&](std::size_t i) { return static_cast<unsigned char>(bytes[i]); };
  const unsigned lead = byte(at);
  if (lead < 0x80) return {lead, 1};
  std::size_t length = 0;
  std::uint32_t value = 0;
  std::uint32_t smallest = 0;
  if ((lead & 0xE0U) == 0xC0) {
    length = 2, value = lead & 0x1FU, smallest = 0x80;
  } else if ((lead & 0xF0U) == 0xE0) {
    length = 3, value = lead & 0x0FU, smallest = 0x800;
  } else if ((lead & 0xF8U) == 0xF0) {
    length = 4, value = lead & 0x07U, smallest = 0x10000;
  } else {
    return {};
  }
  if (bytes.size() - at < length) return {};
  for (std::size_t i = 1; i < length; ++i) {
    if ((byte(at + i) & 0xC0U) != 0x80) return {};
    value = value << 6U | (byte(at + i) & 0x3FU);
  }
  const bool surrogate = value >= 0xD800 && value <= 0xDFFF;
  if (value < smallest || value > 0x10FFFF || surrogate) return {};
  return {value, length};
}

void append_utf8(std::string& out, std::uint32_t value) {
  const auto put = [&out](std::uint32_t byte) { out.push_back(static_cast<char>(byte)); };
  if (value < 0x80) {
    put(value);
  } else if (value < 0x800) {
    put(0xC0U | value >> 6U);
    put(0x80U | (value & 0x3FU));
  } else if (value < 0x10000) {
    put(0xE0U | value >> 12U);
    put(0x80U | (value >> 6U & 0x3FU));
    put(0x80U | (value & 0x3FU));
  } else {
    put(0xF0U | value >> 18U);
    put(0x80U | (value >> 12U & 0x3FU));
    put(0x80U | (value >> 6U & 0x3FU));
    put(0x80U | (value & 0x3FU));
  }
}

constexpr std::uint32_t kReplacement = 0xFFFD;

Decoded decode_utf16(std::string_view raw, bool big) {
  Decoded result;
  const auto unit = [&](std::size_t i) -> std::uint32_t {
    const auto first = static_cast<unsigned char>(raw[i]);
    const auto second = static_cast<unsigned char>(raw[i + 1]);
    return big ? static_cast<std::uint32_t>(first << 8U | second)
               : static_cast<std::uint32_t>(second << 8U | first);
  };
  std::size_t i = 0;
  while (i + 1 < raw.size()) {
    std::uint32_t value = unit(i);
    i += 2;
    if (value >= 0xD800 && value <= 0xDFFF) {
      const bool pair =
          value < 0xDC00 && i + 1 < raw.size() && unit(i) >= 0xDC00 && unit(i) <= 0xDFFF;
      if (pair) {
        value = 0x10000 + ((value - 0xD800) << 10U) + (unit(i) - 0xDC00);
        i += 2;
      } else {
        value = kReplacement;
        result.exact = false;
      }
    }
    append_utf8(result.utf8, value);
  }
  if (i < raw.size()) result.exact = false;  // an odd byte is left over
  return result;
}

// Code page 437, upper half, in Unicode (Unicode Consortium mapping table for IBM code page 437).
constexpr std::array<char16_t, 128> kCodePage437 = {
    0x00C7, 0x00FC, 0x00E9, 0x00E2, 0x00E4, 0x00E0, 0x00E5, 0x00E7, 0x00EA, 0x00EB, 0x00E8, 0x00EF,
    0x00EE, 0x00EC, 0x00C4, 0x00C5, 0x00C9, 0x00E6, 0x00C6, 0x00F4, 0x00F6, 0x00F2, 0x00FB, 0x00F9,
    0x00FF, 0x00D6, 0x00DC, 0x00A2, 0x00A3, 0x00A5, 0x20A7, 0x0192, 0x00E1, 0x00ED, 0x00F3, 0x00FA,
    0x00F1, 0x00D1, 0x00AA, 0x00BA, 0x00BF, 0x2310, 0x00AC, 0x00BD, 0x00BC, 0x00A1, 0x00AB, 0x00BB,
    0x2591, 0x2592, 0x2593, 0x2502, 0x2524, 0x2561, 0x2562, 0x2556, 0x2555, 0x2563, 0x2551, 0x2557,
    0x255D, 0x255C, 0x255B, 0x2510, 0x2514, 0x2534, 0x252C, 0x251C, 0x2500, 0x253C, 0x255E, 0x255F,
    0x255A, 0x2554, 0x2569, 0x2566, 0x2560, 0x2550, 0x256C, 0x2567, 0x2568, 0x2564, 0x2565, 0x2559,
    0x2558, 0x2552, 0x2553, 0x256B, 0x256A, 0x2518, 0x250C, 0x2588, 0x2584, 0x258C, 0x2590, 0x2580,
    0x03B1, 0x00DF, 0x0393, 0x03C0, 0x03A3, 0x03C3, 0x00B5, 0x03C4, 0x03A6, 0x0398, 0x03A9, 0x03B4,
    0x221E, 0x03C6, 0x03B5, 0x2229, 0x2261, 0x00B1, 0x2265, 0x2264, 0x2320, 0x2321, 0x00F7, 0x2248,
    0x00B0, 0x2219, 0x00B7, 0x221A, 0x207F, 0x00B2, 0x25A0, 0x00A0};

// The 8-bit set of HFS names, upper half, in Unicode (the Linux kernel's fs/nls table for HFS gives
// the same).
constexpr std::array<char16_t, 128> kHfsRoman = {
    0x00C4, 0x00C5, 0x00C7, 0x00C9, 0x00D1, 0x00D6, 0x00DC, 0x00E1, 0x00E0, 0x00E2, 0x00E4, 0x00E3,
    0x00E5, 0x00E7, 0x00E9, 0x00E8, 0x00EA, 0x00EB, 0x00ED, 0x00EC, 0x00EE, 0x00EF, 0x00F1, 0x00F3,
    0x00F2, 0x00F4, 0x00F6, 0x00F5, 0x00FA, 0x00F9, 0x00FB, 0x00FC, 0x2020, 0x00B0, 0x00A2, 0x00A3,
    0x00A7, 0x2022, 0x00B6, 0x00DF, 0x00AE, 0x00A9, 0x2122, 0x00B4, 0x00A8, 0x2260, 0x00C6, 0x00D8,
    0x221E, 0x00B1, 0x2264, 0x2265, 0x00A5, 0x00B5, 0x2202, 0x2211, 0x220F, 0x03C0, 0x222B, 0x00AA,
    0x00BA, 0x03A9, 0x00E6, 0x00F8, 0x00BF, 0x00A1, 0x00AC, 0x221A, 0x0192, 0x2248, 0x2206, 0x00AB,
    0x00BB, 0x2026, 0x00A0, 0x00C0, 0x00C3, 0x00D5, 0x0152, 0x0153, 0x2013, 0x2014, 0x201C, 0x201D,
    0x2018, 0x2019, 0x00F7, 0x25CA, 0x00FF, 0x0178, 0x2044, 0x20AC, 0x2039, 0x203A, 0xFB01, 0xFB02,
    0x2021, 0x00B7, 0x201A, 0x201E, 0x2030, 0x00C2, 0x00CA, 0x00C1, 0x00CB, 0x00C8, 0x00CD, 0x00CE,
    0x00CF, 0x00CC, 0x00D3, 0x00D4, 0xF8FF, 0x00D2, 0x00DA, 0x00DB, 0x00D9, 0x0131, 0x02C6, 0x02DC,
    0x00AF, 0x02D8, 0x02D9, 0x02DA, 0x00B8, 0x02DD, 0x02DB, 0x02C7};

Decoded decode_bytewise(std::string_view raw, const std::array<char16_t, 128>* upper) {
  Decoded result;
  for (const char c : raw) {
    const auto byte = static_cast<unsigned char>(c);
    const bool mapped = byte >= 0x80 && upper != nullptr;
    append_utf8(result.utf8, mapped ? (*upper)[byte - 0x80U] : byte);
  }
  return result;
}

bool misleads_a_terminal(std::uint32_t value) noexcept {
  const bool control = value < 0x20 || (value >= 0x7F && value < 0xA0);
  const bool bidirectional = (value >= 0x202A && value <= 0x202E) ||
                             (value >= 0x2066 && value <= 0x2069) || value == 0x200E ||
                             value == 0x200F;
  return control || bidirectional || value == 0x2028 || value == 0x2029;
}

}  // namespace

bool is_utf8(std::string_view bytes) noexcept {
  for (std::size_t at = 0; at < bytes.size();) {
    const CodePoint point = code_point_at(bytes, at);
    if (point.length == 0) return false;
    at += point.length;
  }
  return true;
}

Decoded decode_text(std::string_view raw, Charset charset) {
  switch (charset) {
    case Charset::latin1:
      return decode_bytewise(raw, nullptr);
    case Charset::cp437:
      return decode_bytewise(raw, &kCodePage437);
    case Charset::hfs_roman:
      return decode_bytewise(raw, &kHfsRoman);
    case Charset::ucs2_be:
      return decode_utf16(raw, true);
    case Charset::utf16_le:
      return decode_utf16(raw, false);
    case Charset::ascii:
      break;
  }
  if (is_utf8(raw)) return {std::string(raw), true};
  Decoded result{{}, false};
  for (const char c : raw) {
    const auto byte = static_cast<unsigned char>(c);
    if (byte >= 0x20 && byte < 0x7F && byte != '%') {
      result.utf8.push_back(c);
    } else {
      result.utf8 += fmt::format("%{:02X}", byte);
    }
  }
  return result;
}

std::string printable(std::string_view utf8) {
  std::string result;
  result.reserve(utf8.size());
  for (std::size_t at = 0; at < utf8.size();) {
    const CodePoint point = code_point_at(utf8, at);
    if (point.length == 0) {
      result += fmt::format("\\x{:02x}", static_cast<unsigned char>(utf8[at]));
      ++at;
      continue;
    }
    if (!misleads_a_terminal(point.value)) {
      result.append(utf8.substr(at, point.length));
    } else if (point.value < 0x100) {
      result += fmt::format("\\x{:02x}", point.value);
    } else {
      result += fmt::format("\\u{{{:04x}}}", point.value);
    }
    at += point.length;
  }
  return result;
}

std::string hex_of(std::string_view raw) {
  std::string result;
  result.reserve(raw.size() * 2);
  for (const char c : raw)
    result += fmt::format("{:02x}", static_cast<unsigned char>(c));
  return result;
}

std::size_t columns_of(std::string_view utf8) noexcept {
  std::size_t columns = 0;
  for (const char c : utf8)
    columns += (static_cast<unsigned char>(c) & 0xC0U) != 0x80 ? 1U : 0U;
  return columns;
}

}  // namespace platter
