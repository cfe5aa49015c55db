#include "plan/size.h"

#include <string>

#include <catch2/catch.hpp>

namespace {

using platter::plan::Extent;
using platter::plan::in_blocks;
using platter::plan::parse_extent;
using platter::plan::parse_size;
using platter::plan::readable_size;

TEST_CASE("sizes: a bare number counts 512-byte blocks") {
  CHECK(parse_size("0").value == 0U);
  CHECK(parse_size("1").value == 512U);
  CHECK(parse_size("0x10").value == 16U * 512);
  CHECK(parse_size("0x1B").value == 27U * 512);
  CHECK(parse_size(" 2048 ").value == 1048576U);
}

TEST_CASE("sizes: every unit of the vocabulary") {
  // Powers of two: IEC 80000-13; powers of ten: the SI brochure; 2048: ECMA-130 (mode 1 user data).
  CHECK(parse_size("7B").value == 7U);
  CHECK(parse_size("7 KiB").value == 7U * 1024);
  CHECK(parse_size("7K").value == 7U * 1024);
  CHECK(parse_size("7580 MiB").value == 7580ULL * 1024 * 1024);
  CHECK(parse_size("7M").value == 7U * 1024 * 1024);
  CHECK(parse_size("7GiB").value == 7ULL * 1024 * 1024 * 1024);
  CHECK(parse_size("7G").value == 7ULL * 1024 * 1024 * 1024);
  CHECK(parse_size("7kB").value == 7000U);
  CHECK(parse_size("7MB").value == 7000000U);
  CHECK(parse_size("7GB").value == 7000000000U);
  CHECK(parse_size("360000cd").value == 737280000U);
  CHECK(parse_size("0x10 B").value == 16U);
}

TEST_CASE("sizes: decimals count when they give whole bytes") {
  CHECK(parse_size("1.5 GiB").value == 1610612736U);
  CHECK(parse_size("0.5 KiB").value == 512U);
  CHECK(parse_size("4.7 GB").value == 4700000000U);
  CHECK_FALSE(parse_size("0.3 KiB"));
  CHECK_FALSE(parse_size("1.5"));
  CHECK_FALSE(parse_size("1. MiB"));
  CHECK_FALSE(parse_size("1.0000000001 GB"));
}

TEST_CASE("sizes: what cannot be understood says why") {
  CHECK(parse_size("").error == "a size is missing");
  CHECK(parse_size("-1").error == "'-1' is negative");
  CHECK(parse_size("x").error == "'x' does not start with a number");
  CHECK(parse_size("0x").error == "'0x' does not start with a number");
  CHECK(
      parse_size("12 parsecs").error ==
      "'12 parsecs' has the unknown unit 'parsecs'; known are B, KiB, MiB, GiB, kB, MB, GB or cd");
  CHECK(parse_size("5KB").error ==
        "'5KB' could mean two things: write kB for 1000 or KiB for 1024 bytes");
  CHECK(parse_size("0x10KiB").error ==
        "'0x10KiB': after a hexadecimal number the unit needs a space before it");
  CHECK(parse_size("1\x1b[2J").error.find('\x1b') == std::string::npos);
  CHECK_FALSE(parse_size("1 2"));
  CHECK_FALSE(parse_size("+1"));
  CHECK_FALSE(parse_size("1e3"));
}

TEST_CASE("sizes: nothing wraps") {
  CHECK(parse_size("18446744073709551614B").value == 18446744073709551614U);
  CHECK_FALSE(parse_size("18446744073709551615B"));
  CHECK_FALSE(parse_size("18446744073709551616B"));
  CHECK_FALSE(parse_size("36028797018963968"));  // 2^55 blocks are 2^64 bytes
  CHECK(parse_size("36028797018963967").value == 36028797018963967ULL * 512);
  CHECK_FALSE(parse_size("18446744073709551615 GiB"));
  CHECK_FALSE(parse_size("17179869183.999999999 GiB"));
}

TEST_CASE("extents: START+LENGTH") {
  CHECK(parse_extent("2048+1 GiB").value == Extent{1048576, 1073741824});
  CHECK(parse_extent("0x800 + 360000cd").value == Extent{1048576, 737280000});
  CHECK(parse_extent("0+1").value == Extent{0, 512});
  CHECK_FALSE(parse_extent("2048"));
  CHECK_FALSE(parse_extent("2048+0"));
  CHECK_FALSE(parse_extent("+5"));
  CHECK_FALSE(parse_extent("5+"));
  CHECK_FALSE(parse_extent("1+2+3"));
  CHECK_FALSE(parse_extent("18446744073709551614B+2B"));
  CHECK(parse_extent("1 foo+2").error.rfind("START: ", 0) == 0);
  CHECK(parse_extent("1+2 foo").error.rfind("LENGTH: ", 0) == 0);
}

TEST_CASE("sizes for people have three significant figures") {
  CHECK(readable_size(0) == "0 B");
  CHECK(readable_size(1023) == "1023 B");
  CHECK(readable_size(1024) == "1.00 KiB");
  CHECK(readable_size(1048575) == "1.00 MiB");
  CHECK(readable_size(11010048) == "10.5 MiB");
  CHECK(readable_size(737280000) == "703 MiB");
  CHECK(readable_size(1073741824) == "1.00 GiB");
  CHECK(readable_size(7948206080) == "7.40 GiB");
  CHECK(readable_size(18446744073709551615U) == "16.0 EiB");
  CHECK(in_blocks(1048576) == "2048 blocks");
  CHECK(in_blocks(512) == "1 block");
  CHECK(in_blocks(1000) == "1000 bytes");
}

}  // namespace
