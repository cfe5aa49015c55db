// From bytes on a disk to text a person can read, safely.
//
// Text from a disk is hostile: it may hold terminal control sequences or be no text at all. It is
// decoded by the character set that its format declares, and everything that is not printable is
// escaped here, in one place.
#pragma once

#include <cstdint>
#include <string>
#include <string_view>

namespace platter {

enum class Charset : std::uint8_t {
  ascii,      ///< 7-bit; bytes above 0x7F are not text unless they happen to be UTF-8
  latin1,     ///< ISO 8859-1
  ucs2_be,    ///< UCS-2 or UTF-16, big-endian (Joliet, HFS+)
  utf16_le,   ///< UTF-16, little-endian (GPT names, FAT long names)
  hfs_roman,  ///< the 8-bit set of HFS names
  cp437,      ///< the usual code page of FAT short names
};

/// Whether the bytes are valid UTF-8 (RFC 3629: no surrogates, no overlong forms, <= 10FFFF).
[[nodiscard]] bool is_utf8(std::string_view bytes) noexcept;

/// Decodes to UTF-8. For `ascii`, bytes that are valid UTF-8 stay as they are; otherwise every byte
/// that is no printable ASCII, and '%', becomes %XX, and `exact` is set to false: the result then
/// stands for, but is not, the name on the disk.
struct Decoded {
  std::string utf8;
  bool exact = true;
};
[[nodiscard]] Decoded decode_text(std::string_view raw, Charset charset);

/// Makes UTF-8 text safe for a terminal: C0 and C1 controls, DEL and bidirectional overrides are
/// shown as \xNN or \u{NNNN}, so that no text from a disk can move the cursor or hide words.
[[nodiscard]] std::string printable(std::string_view utf8);

/// "0a1b..." in lower-case hexadecimal.
[[nodiscard]] std::string hex_of(std::string_view raw);

/// Columns that UTF-8 text takes, counting each code point as one.
[[nodiscard]] std::size_t columns_of(std::string_view utf8) noexcept;

}  // namespace platter
