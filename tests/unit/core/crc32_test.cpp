// CRC-32 against values that stand in public documents.
#include "core/crc32.h"

#include <array>
#include <string_view>

#include <catch2/catch.hpp>

using platter::crc32;

namespace {

std::span<const std::byte> bytes_of(std::string_view text) {
  return std::as_bytes(std::span(text));
}

}  // namespace

TEST_CASE("CRC-32: the usual check value") {
  // The check value of CRC-32 (ITU-T V.42, and every table of CRCs) is that of these nine digits.
  CHECK(crc32(bytes_of("123456789")) == 0xCBF43926);
  CHECK(crc32(bytes_of("")) == 0);
  // One zero byte: the value that zlib gives.
  const std::array<std::byte, 1> zero{};
  CHECK(crc32(zero) == 0xD202EF8D);
}

TEST_CASE("CRC-32: in pieces") {
  const auto all = bytes_of("123456789");
  for (std::size_t cut = 0; cut <= all.size(); ++cut) {
    CHECK(crc32(all.subspan(cut), crc32(all.first(cut))) == 0xCBF43926);
  }
}
