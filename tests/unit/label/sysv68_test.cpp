// sysv68 label. The place, the count and one slice are the worked example.
#include <catch2/catch.hpp>

#include "more_labels.h"

using namespace platter;
using namespace platter::test;
using label::sysv68_format;

TEST_CASE("sysv68 label: the fixture") {
  const Claim claim = one_claim(sysv68_format, hex_fixture("label/sysv68/good.hex"));
  INFO(messages_of(claim));
  CHECK(claim.findings.empty());
  CHECK(claim.strength == Strength::sane);
  CHECK(claim.facts.words("byte_order") == "big");
  CHECK(claim.facts.number("table_start") == 1024);
  CHECK(slices_in_blocks(claim) == "0 64 40960; 1 41024 16384; 7 0 65536");
  CHECK(slice_of(claim, "7")->role == SliceRole::whole_disk);
  CHECK(claim.bytes == 65536ULL * 512);
}

TEST_CASE("sysv68 label: spoiled and absurd") {
  Bytes image = hex_fixture("label/sysv68/good.hex");
  SECTION("no slices") {
    put_number(image, 388, 0, 2, ByteOrder::big);
    const Claim claim = one_claim(sysv68_format, image);
    CHECK(claim.findings.size() == 1);
    CHECK(claim.slices.empty());
  }
  SECTION("too many slices, a table that is not there") {
    put_number(image, 388, 0xFFFF, 2, ByteOrder::big);
    CHECK(claims_of(sysv68_format, image).empty());
    put_number(image, 388, 8, 2, ByteOrder::big);
    put_number(image, 384, 9, 4, ByteOrder::big);
    const Claim claim = one_claim(sysv68_format, image);
    CHECK(claim.findings.size() == 1);
    CHECK(claim.strength == Strength::magic);
    put_number(image, 384, 0, 4, ByteOrder::big);
    CHECK(claims_of(sysv68_format, image).empty());
  }
  SECTION("a slice past the end of the whole") {
    put_number(image, 1024 + 4, 0xFFFFFFFF, 4, ByteOrder::big);
    const Claim claim = one_claim(sysv68_format, image);
    REQUIRE(claim.findings.size() == 1);
    CHECK(claim.findings[0].start == 1024);
    CHECK(slice_of(claim, "0")->start == 0xFFFFFFFFULL * 512);
  }
  SECTION("cut short") {
    image.resize(1024 + 20);
    const Claim claim = one_claim(sysv68_format, image);
    CHECK(claim.findings.size() == 1);
    CHECK(claim.slices.size() == 2);
  }
}

TEST_CASE("sysv68 label: what is none") {
  Bytes image = hex_fixture("label/sysv68/good.hex");
  put_number(image, 58, 0x82564557, 4, ByteOrder::big);
  put_number(image, 316, 0x82564557, 4, ByteOrder::big);  // a scattered 4.4BSD label
  CHECK(claims_of(sysv68_format, image).empty());
  Bytes magic_only(4096, std::byte{0xC3});
  std::copy_n(image.begin() + 248, 8, magic_only.begin() + 248);
  CHECK(claims_of(sysv68_format, magic_only).empty());
}
