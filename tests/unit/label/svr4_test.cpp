// SVR4 label. One slice is the worked example, the rest of the fixture is invented.
#include <catch2/catch.hpp>

#include "more_labels.h"
#include "support/survey.h"

using namespace platter;
using namespace platter::test;
using label::svr4_format;

namespace {

constexpr std::size_t kLabel = (63 + 29) * 512;

}  // namespace

TEST_CASE("SVR4 label: the fixture") {
  const Claim claim = claim_in_mbr_slice(svr4_format, hex_fixture("label/svr4/good.hex"));
  INFO(messages_of(claim));
  CHECK(claim.facts.words("name") == "CORVID");
  CHECK(claim.facts.words("volume_name") == "VOL");
  CHECK(claim.facts.number("cylinders") == 195);
  CHECK(claim.facts.number("heads") == 16);
  CHECK(claim.facts.number("sectors_per_track") == 63);
  // Starts count from the start of the disk.
  CHECK(slices_in_blocks(claim) == "0 63 196608; 1 96 100000; 2 100096 16384; 3 116480 4096");
  CHECK(slice_of(claim, "0")->role == SliceRole::whole_disk);
  CHECK(slice_of(claim, "1")->facts.words("type_name") == "root");
  CHECK(slice_of(claim, "2")->role == SliceRole::swap);
  REQUIRE(claim.findings.size() == 1);  // slice 3 lacks the flag
  CHECK(claim.findings[0].severity == Severity::note);
  CHECK(claim.findings[0].start == kLabel + 216 + 36 + 2);
}

TEST_CASE("SVR4 label: only in slices of its type, or in the image of one") {
  Bytes image = hex_fixture("label/svr4/good.hex");
  const Bytes alone(image.begin() + 63 * 512, image.end());
  const Claim claim = one_claim(svr4_format, alone);
  CHECK(slices_in_blocks(claim) == "0 0 196608; 1 33 100000; 2 100033 16384; 3 116417 4096");
  CHECK(claim.findings.size() == 2);  // and what the image begins with
  image[446 + 4] = std::byte{0x83};
  CHECK(claims_in_mbr_slice(svr4_format, image).empty());
}

TEST_CASE("SVR4 label: fields that cannot be") {
  Bytes image = hex_fixture("label/svr4/good.hex");
  put_number(image, kLabel + 216 + 36 + 2, 0x0200, 2, ByteOrder::little);
  REQUIRE(claim_in_mbr_slice(svr4_format, image).findings.empty());
  SECTION("the magic with two nibbles exchanged, as libblkid has it") {
    put_number(image, kLabel + 4, 0xCAE5600D, 4, ByteOrder::little);
    CHECK(claim_in_mbr_slice(svr4_format, image).findings.size() == 1);
    put_number(image, kLabel + 4, 0xCA5E600E, 4, ByteOrder::little);
    CHECK(claims_in_mbr_slice(svr4_format, image).empty());
  }
  SECTION("no table magic") {
    image[kLabel + 156] = std::byte{0};
    CHECK(claims_in_mbr_slice(svr4_format, image).empty());
  }
  SECTION("counts and sizes") {
    put_number(image, kLabel + 36, 0, 4, ByteOrder::little);
    put_number(image, kLabel + 172, 0xFFFF, 2, ByteOrder::little);
    CHECK(claim_in_mbr_slice(svr4_format, image).findings.size() == 1);
    put_number(image, kLabel + 36, 0xFFFFFFFF, 4, ByteOrder::little);
    CHECK(claim_in_mbr_slice(svr4_format, image).findings.size() == 2);
  }
  SECTION("slices outside the MBR slice") {
    put_number(image, kLabel + 216 + 12 + 4, 5, 4, ByteOrder::little);
    put_number(image, kLabel + 216 + 24 + 8, 0xFFFFFFFF, 4, ByteOrder::little);
    const Claim claim = claim_in_mbr_slice(svr4_format, image);
    CHECK(count_of(claim, FindingCode::label_field) == 2);
    CHECK(claim.slices.size() == 4);
  }
}

TEST_CASE("SVR4 label: cut short, and as the survey shows it") {
  Bytes image = hex_fixture("label/svr4/good.hex");
  const Survey survey = survey_bytes(image);
  CHECK(layer(survey, "mbr/1/svr4/1") != nullptr);
  image.resize(kLabel + 407);
  CHECK(claims_in_mbr_slice(svr4_format, image).empty());
}
