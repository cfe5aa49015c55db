#include "filesystem/iso9660_time.h"

#include <catch2/catch.hpp>

#include "support/hexfile.h"

using namespace platter;
using namespace platter::filesystem::iso9660;
using platter::test::hex_text;

namespace {

VolumeTime long_time(const std::string& digits, const std::string& zone) {
  const auto bytes = hex_text("\"" + digits + "\" " + zone, "date17");
  REQUIRE(bytes.size() == kDate17.bytes);
  return volume_time(FieldReader<kDate17>(bytes.data(), ByteOrder::big));
}

VolumeTime short_time(const std::string& hex) {
  const auto bytes = hex_text(hex, "date7");
  REQUIRE(bytes.size() == kDate7.bytes);
  return recording_time(FieldReader<kDate7>(bytes.data(), ByteOrder::big));
}

}  // namespace

// Seconds from `date -u -d TIME +%s` (GNU coreutils).
TEST_CASE("volume times count from 1970 in UTC") {
  CHECK(long_time("1970010100000000", "00").time == Timestamp{0});
  CHECK(long_time("1993061512300000", "04").time == Timestamp{740143800});  // 11:30 UTC
  CHECK(long_time("1993061512300099", "E0").time == Timestamp{740176200});  // 20:30 UTC
  CHECK(long_time("2000022923595900", "00").time == Timestamp{951868799});
  CHECK(long_time("1969123123595900", "00").time == Timestamp{-1});
  CHECK(long_time("0001010100000000", "00").time == Timestamp{-62135596800});
  CHECK(long_time("9999123123595900", "00").time == Timestamp{253402300799});
}

TEST_CASE("zeros, blanks and NULs mean that no time is given") {
  CHECK_FALSE(long_time("0000000000000000", "00").given);
  CHECK_FALSE(long_time("                ", "00").given);
  const std::vector<std::byte> nothing(17);
  CHECK_FALSE(volume_time(FieldReader<kDate17>(nothing.data(), ByteOrder::big)).given);
  CHECK_FALSE(short_time("*7 00").given);
}

TEST_CASE("what is no time is given but has no value") {
  for (const char* digits : {"1993001512300000", "1993131512300000", "1993061500600000",
                             "1993063112300000", "1900022912300000", "1993061524300000",
                             "19930615123000x0", "199306151230:000", "0000061512300000"}) {
    INFO(digits);
    const VolumeTime time = long_time(digits, "00");
    CHECK(time.given);
    // The hundredths are not used: what stands there cannot make the time wrong.
    CHECK(time.time.has_value() == (std::string_view(digits) == "19930615123000x0"));
  }
  CHECK_FALSE(long_time("1993061512300000", "35").time);  // 53 quarter hours
  CHECK_FALSE(long_time("1993061512300000", "CF").time);  // -49
  CHECK(long_time("1993061512300000", "34").time);
  CHECK(long_time("1993061512300000", "D0").time);
}

TEST_CASE("recording times count years from 1900") {
  CHECK(short_time("7E 0B 19 0A 0A 30 00").time == Timestamp{1795601448});  // 2026-11-25 10:10:48
  CHECK(short_time("5D 06 0F 0C 1E 00 04").time == Timestamp{740143800});
  CHECK(short_time("46 01 01 00 00 00 00").time == Timestamp{0});
  CHECK(short_time("5D 02 1D 00 00 00 00").given);
  CHECK_FALSE(short_time("5D 02 1D 00 00 00 00").time);  // no 29 February in 1993
}
