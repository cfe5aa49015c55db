// Ultrix label. The worked example's bytes are typed.
#include <catch2/catch.hpp>

#include "more_labels.h"

using namespace platter;
using namespace platter::test;
using label::ultrix_format;

namespace {

constexpr std::size_t kLabel = 16312;

}  // namespace

TEST_CASE("Ultrix label: the worked example") {
  const Claim claim = one_claim(ultrix_format, hex_fixture("label/ultrix/good.hex"));
  CHECK(claim.findings.empty());
  CHECK(claim.strength == Strength::sane);
  CHECK(claim.facts.words("byte_order") == "little");
  CHECK(claim.facts.words("checksum") == "none");
  CHECK(slices_in_blocks(claim) == "a 0 32768; b 32768 65536; c 0 1299174");
  CHECK(slice_of(claim, "b")->role == SliceRole::swap);
  CHECK(slice_of(claim, "c")->role == SliceRole::whole_disk);
  CHECK(claim.bytes == 1299174ULL * 512);
}

TEST_CASE("Ultrix label: spoiled and absurd") {
  Bytes image = hex_fixture("label/ultrix/good.hex");
  SECTION("not in force") {
    put_number(image, kLabel + 4, 0, 4, ByteOrder::little);
    const Claim claim = one_claim(ultrix_format, image);
    REQUIRE(claim.findings.size() == 1);
    CHECK(claim.findings[0].start == kLabel + 4);
    CHECK(claim.strength == Strength::magic);
  }
  SECTION("a negative length") {
    put_number(image, kLabel + 8, 0xFFFFFFFF, 4, ByteOrder::little);
    const Claim claim = one_claim(ultrix_format, image);
    REQUIRE(claim.findings.size() == 1);
    CHECK(claim.findings[0].severity == Severity::fault);
    CHECK(slice_of(claim, "a") == nullptr);
  }
  SECTION("the largest numbers") {
    put_number(image, kLabel + 8, 0x7FFFFFFF, 4, ByteOrder::little);
    put_number(image, kLabel + 12, 0xFFFFFFFF, 4, ByteOrder::little);
    CHECK(slice_of(one_claim(ultrix_format, image), "a")->start == 0xFFFFFFFFULL * 512);
  }
  SECTION("c in use for something else") {
    put_number(image, kLabel + 8 + 16 + 4, 98304, 4, ByteOrder::little);
    const Claim claim = one_claim(ultrix_format, image);
    CHECK(slice_of(claim, "c")->role == SliceRole::data);
    CHECK(claim.bytes == 0);
  }
}

TEST_CASE("Ultrix label: cut short, and what is none") {
  Bytes image = hex_fixture("label/ultrix/good.hex");
  image.resize(16383);
  CHECK(claims_of(ultrix_format, image).empty());
  Bytes magic_only(16384, std::byte{0x44});
  put_number(magic_only, kLabel, 0x00032957, 4, ByteOrder::little);
  CHECK(claims_of(ultrix_format, magic_only).empty());
  put_number(magic_only, kLabel + 4, 0, 4, ByteOrder::little);
  std::fill(magic_only.begin() + kLabel + 8, magic_only.end(), std::byte{0});
  CHECK(claims_of(ultrix_format, magic_only).empty());  // no slice at all
}
