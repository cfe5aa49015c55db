#include "plan/capacity.h"

#include <string>

#include <catch2/catch.hpp>

namespace {

using namespace platter::plan;

TEST_CASE("discs: sectors by playing time") {
  // Common practice, no source: what discs of 63, 74 and 80 minutes hold. The 75 sectors a second
  // are ECMA-130's.
  REQUIRE(known_discs().size() == 3);
  CHECK(known_discs()[0].sectors() == 283500);
  CHECK(known_discs()[1].sectors() == 333000);
  CHECK(known_discs()[2].sectors() == 360000);
  CHECK(known_discs()[0].bytes() == 580608000);
  CHECK(known_discs()[1].bytes() == 681984000);
  CHECK(known_discs()[2].bytes() == 737280000);
}

TEST_CASE("discs: the smallest that is large enough") {
  CHECK(smallest_disc(1)->minutes == 63);
  CHECK(smallest_disc(580608000)->minutes == 63);
  CHECK(smallest_disc(580608001)->minutes == 74);
  CHECK(smallest_disc(737280000)->minutes == 80);
  CHECK(smallest_disc(737280001) == nullptr);
}

// Puts a value into bits high..low of 32 hexadecimal digits, without the code under test.
std::string with_bits(std::string digits, int high, int low, unsigned value) {
  for (int bit = low; bit <= high; ++bit, value >>= 1U) {
    const auto at = static_cast<std::size_t>(31 - bit / 4);
    const char digit = digits[at];
    auto nibble = static_cast<unsigned>(digit <= '9' ? digit - '0' : digit - 'a' + 10);
    const unsigned mask = 1U << static_cast<unsigned>(bit % 4);
    nibble = (value & 1U) != 0 ? nibble | mask : nibble & ~mask;
    digits[at] = "0123456789abcdef"[nibble];
  }
  return digits;
}

const std::string kNothing(32, '0');

TEST_CASE("card register, first structure: the specification's arithmetic") {
  // SD Physical Layer Simplified Specification 5.3.2: capacity is BLOCKNR * BLOCK_LEN with
  // MULT = 2^(C_SIZE_MULT+2), BLOCKNR = (C_SIZE+1) * MULT, BLOCK_LEN = 2^READ_BL_LEN.
  auto csd = with_bits(kNothing, 73, 62, 3751);
  csd = with_bits(csd, 49, 47, 7);
  csd = with_bits(csd, 83, 80, 9);
  CHECK(card_bytes_of_csd_text(csd).value == 983564288U);
  // The largest of that structure: a 2 GiB card has blocks of 1024 bytes (same clause).
  csd = with_bits(with_bits(with_bits(kNothing, 73, 62, 4095), 49, 47, 7), 83, 80, 10);
  CHECK(card_bytes_of_csd_text(csd).value == 2147483648U);
  // The example of that clause: 32 MB with C_SIZE 2000 blocks, MULT 32, BLOCK_LEN 512.
  csd = with_bits(with_bits(with_bits(kNothing, 73, 62, 1999), 49, 47, 3), 83, 80, 9);
  CHECK(card_bytes_of_csd_text(csd).value == 2000U * 32 * 512);
}

TEST_CASE("card register, second structure: units of 512 KiB") {
  // SD Physical Layer Simplified Specification 5.3.3: memory capacity = (C_SIZE+1) * 512 KByte.
  auto csd = with_bits(with_bits(kNothing, 127, 126, 1), 69, 48, 15159);
  CHECK(card_bytes_of_csd_text(csd).value == 7948206080U);
  csd = with_bits(with_bits(kNothing, 127, 126, 1), 69, 48, 0x3FFFFF);
  CHECK(card_bytes_of_csd_text(csd).value == std::uint64_t{1} << 41);
}

TEST_CASE("card register, third structure: 28 bits of the same unit") {
  // drivers/mmc/core/sd.c of the Linux kernel.
  const auto csd = with_bits(with_bits(kNothing, 127, 126, 2), 75, 48, 0xFFFFFFF);
  CHECK(card_bytes_of_csd_text(csd).value == std::uint64_t{1} << 47);
}

TEST_CASE("card register: what is none") {
  CHECK_FALSE(card_bytes_of_csd_text(""));
  CHECK_FALSE(card_bytes_of_csd_text(std::string(31, '0')));
  CHECK_FALSE(card_bytes_of_csd_text(std::string(32, 'g')));
  CHECK_FALSE(card_bytes_of_csd_text(kNothing));  // blocks of one byte
  CHECK_FALSE(card_bytes_of_csd_text(std::string(32, 'f')));
}

}  // namespace
