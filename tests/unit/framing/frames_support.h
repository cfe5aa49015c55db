// Optical dumps for tests, made from plain bytes by the library's encoders (which tests of their
// own compare with the standard's definitions).
#pragma once

#include <algorithm>
#include <cstdint>
#include <random>
#include <vector>

#include "framing/sector_code.h"
#include "writers/iso9660_writer.h"

namespace platter::test {

enum class Wrap : std::uint8_t { mode1, form1, form2 };

struct Dump {
  Wrap wrap = Wrap::mode1;
  std::int32_t first_lba = 0;
  std::size_t frame_bytes = 2352;  ///< 2336 leaves sync and header out
};

/// Frames around every 2048 bytes of `plain`; form 2 frames carry them in front of zeros.
inline std::vector<std::byte> dump_of(std::vector<std::byte> plain, const Dump& how = {}) {
  namespace code = sector_code;
  constexpr code::Subheader kData{std::byte{0}, std::byte{0}, std::byte{0x08}, std::byte{0}};
  plain.resize((plain.size() + 2047) / 2048 * 2048);
  std::vector<std::byte> dump;
  for (std::size_t at = 0; at < plain.size(); at += 2048) {
    const auto lba = how.first_lba + static_cast<std::int32_t>(at / 2048);
    const auto user = std::span(plain).subspan(at).first<2048>();
    code::Frame frame{};
    if (how.wrap == Wrap::mode1) {
      frame = code::encode_mode1(user, lba).value();
    } else if (how.wrap == Wrap::form1) {
      frame = code::encode_form1(user, kData, lba).value();
    } else {
      std::array<std::byte, code::form2_user_bytes> wide{};
      std::ranges::copy(user, wide.begin());
      frame = code::encode_form2(wide, kData, lba).value();
    }
    const std::size_t skipped = how.frame_bytes == 2336 ? 16 : 0;
    dump.insert(dump.end(), frame.begin() + static_cast<std::ptrdiff_t>(skipped), frame.end());
    // Sub-channel bytes that look like nothing else.
    for (std::size_t i = 2352 - skipped; i < how.frame_bytes; ++i) {
      dump.push_back(static_cast<std::byte>(0xA0 + i % 16));
    }
  }
  return dump;
}

inline std::vector<std::byte> noise_bytes(std::size_t count, unsigned seed) {
  std::mt19937_64 random(seed);
  std::vector<std::byte> bytes(count);
  for (std::byte& byte : bytes)
    byte = static_cast<std::byte>(random());
  return bytes;
}

/// A small ISO 9660 volume of about `sectors` sectors.
inline std::vector<std::byte> small_volume(std::size_t sectors = 60) {
  fixtures::IsoOptions options;
  options.texts.volume_id = "FRAMED";
  fixtures::Iso9660Writer writer(options);
  std::string content(sectors > 30 ? (sectors - 30) * 2048 : 2048, 'x');
  for (std::size_t i = 0; i < content.size(); i += 7)
    content[i] = static_cast<char>('a' + i % 23);
  writer.add_file("a.txt", content);
  return writer.build();
}

inline std::vector<std::byte>& append(std::vector<std::byte>& to,
                                      const std::vector<std::byte>& more) {
  to.insert(to.end(), more.begin(), more.end());
  return to;
}

}  // namespace platter::test
