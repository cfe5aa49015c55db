// The scattered 4.4BSD label: good, shifted as on m88k, spoiled, cut, absurd.
#include <catch2/catch.hpp>

#include "more_labels.h"

using namespace platter;
using namespace platter::test;
using label::bsd_format;
using label::sysv68_format;

namespace {

Bytes good() {
  return hex_fixture("label/bsd/scattered-good.hex");
}

// The m88k port has its front half two bytes later.
Bytes as_m88k() {
  Bytes image = good();
  std::copy_backward(image.begin() + 36, image.begin() + 126, image.begin() + 128);
  put_number(image, 34, 1, 2, ByteOrder::big);
  put_number(image, 36, 0, 2, ByteOrder::big);
  return image;
}

}  // namespace

TEST_CASE("scattered BSD label: both ports") {
  for (const bool m88k : {false, true}) {
    const Bytes image = m88k ? as_m88k() : good();
    const Claim claim = one_claim(bsd_format, image);
    INFO(messages_of(claim));
    CHECK(claim.findings.empty());
    CHECK(claim.strength == Strength::sane);
    CHECK(claim.bytes == 204800ULL * 512);
    CHECK(claim.facts.words("name") == "DEMO");
    CHECK(claim.facts.words("checksum") == "none");
    CHECK(claim.facts.words("port") == (m88k ? "m88k" : "m68k"));
    CHECK(claim.facts.number("heads") == 64);
    CHECK(claim.facts.number("cylinders") == 100);
    CHECK(slices_in_blocks(claim) == "a 0 131072; b 131072 73728; c 0 204800");
    CHECK(slice_of(claim, "b")->role == SliceRole::swap);
    CHECK(slice_of(claim, "c")->role == SliceRole::whole_disk);
    // The sector has the letters of a sysv68 label too, and is none.
    CHECK(claims_of(sysv68_format, image).empty());
  }
}

TEST_CASE("scattered BSD label: spoiled, cut and absurd") {
  Bytes image = good();
  SECTION("one magic is no label") {
    image[0x13C] = std::byte{0};
    CHECK(claims_of(bsd_format, image).empty());
  }
  SECTION("nor are the magics without the maker's name") {
    image[0xF8] = std::byte{0};
    CHECK(claims_of(bsd_format, image).empty());
  }
  SECTION("cut") {
    image.resize(511);
    CHECK(claims_of(bsd_format, image).empty());
  }
  SECTION("a sector size of zero, and more slices than there is room for") {
    put_number(image, 0x11E, 0, 2, ByteOrder::big);
    put_number(image, 0x24, 0xFFFF, 2, ByteOrder::big);
    const Claim claim = one_claim(bsd_format, image);
    CHECK(claim.findings.size() == 2);
    CHECK(slices_in_blocks(claim) == "a 0 131072; b 131072 73728; c 0 204800");
  }
  SECTION("a slice past the unit") {
    put_number(image, 0xA8, 73729, 4, ByteOrder::big);
    const Claim claim = one_claim(bsd_format, image);
    REQUIRE(claim.findings.size() == 1);
    CHECK(claim.findings[0].start == 0xA8);
  }
}
