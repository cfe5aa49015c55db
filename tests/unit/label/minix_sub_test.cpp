// Minix subpartitions. The fixture is invented; the rules are those of Linux and Minix.
#include <catch2/catch.hpp>

#include "more_labels.h"
#include "support/survey.h"

using namespace platter;
using namespace platter::test;
using label::minix_sub_format;

namespace {

constexpr std::size_t kTable = 63 * 512;

}  // namespace

TEST_CASE("Minix subpartitions: the fixture") {
  const Claim claim = claim_in_mbr_slice(minix_sub_format, hex_fixture("label/minix-sub/good.hex"));
  INFO(messages_of(claim));
  CHECK(claim.findings.empty());
  CHECK(claim.start == kTable);
  // Starts count from the start of the disk, in the order of the table.
  CHECK(slices_in_blocks(claim) == "s0 64 1000; s1 1064 2000; s2 3064 968");
  CHECK(claim.slices[0].type == 0x81);
  CHECK(*claim.slices[0].facts.find("active") == FactValue(true));
}

TEST_CASE("Minix subpartitions: only in slices of the types, and only with a first entry of one") {
  Bytes image = hex_fixture("label/minix-sub/good.hex");
  image[446 + 4] = std::byte{0x80};
  CHECK(claims_in_mbr_slice(minix_sub_format, image).size() == 1);
  image[446 + 4] = std::byte{0x83};
  CHECK(claims_in_mbr_slice(minix_sub_format, image).empty());
  image[446 + 4] = std::byte{0x81};
  CHECK(claims_of(minix_sub_format, image).empty());  // not without an MBR slice around it
  SECTION("first entry of another type") {
    image[kTable + 446 + 4] = std::byte{0x83};
    CHECK(claims_in_mbr_slice(minix_sub_format, image).empty());
  }
  SECTION("a flag that is none") {
    image[kTable + 446 + 16] = std::byte{0x20};
    CHECK(claims_in_mbr_slice(minix_sub_format, image).empty());
  }
  SECTION("no signature") {
    image[kTable + 511] = std::byte{0};
    CHECK(claims_in_mbr_slice(minix_sub_format, image).empty());
  }
  SECTION("cut short") {
    image.resize(kTable + 511);
    CHECK(claims_in_mbr_slice(minix_sub_format, image).empty());
  }
}

TEST_CASE("Minix subpartitions: outside their slice") {
  Bytes image = hex_fixture("label/minix-sub/good.hex");
  put_number(image, kTable + 446 + 8, 3, 4, ByteOrder::little);
  put_number(image, kTable + 462 + 12, 0xFFFFFFFF, 4, ByteOrder::little);
  const Claim claim = claim_in_mbr_slice(minix_sub_format, image);
  CHECK(count_of(claim, FindingCode::label_field) == 2);
  CHECK(claim.slices.size() == 3);
}

TEST_CASE("Minix subpartitions: one level only") {
  Bytes image = hex_fixture("label/minix-sub/good.hex");
  image.resize(4096 * 512);
  std::copy_n(image.begin() + kTable, 512, image.begin() + 64 * 512);
  const Survey survey = survey_bytes(image);
  INFO(findings_of(survey));
  REQUIRE(layer(survey, "mbr/1/minix-sub/s0") != nullptr);
  CHECK(layer(survey, "mbr/1/minix-sub/s0/minix-sub") == nullptr);
}
