// Plan 9 tables. The first line of the new form is the worked example, the rest is invented.
#include <catch2/catch.hpp>

#include "more_labels.h"
#include "support/survey.h"

using namespace platter;
using namespace platter::test;
using label::plan9_format;

namespace {

Bytes with_text(const std::string& text, std::size_t at, std::size_t size) {
  Bytes image(size);
  for (std::size_t i = 0; i < text.size(); ++i)
    image[at + i] = static_cast<std::byte>(text[i]);
  return image;
}

Bytes disk_with(const std::string& text) {
  return with_text(text, 512, 8192);
}

}  // namespace

TEST_CASE("Plan 9 table: in an MBR slice") {
  const Claim claim = claim_in_mbr_slice(plan9_format, hex_fixture("label/plan9/good.hex"));
  INFO(messages_of(claim));
  CHECK(claim.findings.empty());
  CHECK(claim.strength == Strength::sane);
  CHECK(claim.facts.words("form") == "new");
  // 9fat: sectors 65 to 20544 of the disk, 20480 of them. One end is written in hexadecimal.
  CHECK(slices_in_blocks(claim) ==
        "9fat 65 20480; nvram 20545 1; fs 20546 94205; swap 114751 16384");
  CHECK(slice_of(claim, "swap")->role == SliceRole::swap);
}

TEST_CASE("Plan 9 table: the old form counts from the start of the disk") {
  Bytes image = hex_fixture("label/plan9/old.hex");
  const Claim claim = one_claim(plan9_format, image);
  CHECK(claim.findings.empty());
  CHECK(claim.facts.words("form") == "old");
  CHECK(slices_in_blocks(claim) == "boot 0 64; nvram 64 1; fs 65 1981");
  // Older still: in the last sector.
  image.resize(image.size() - 512);
  CHECK(one_claim(plan9_format, image).slices.size() == 3);
  image.resize(image.size() - 512);
  CHECK(claims_of(plan9_format, image).empty());
}

TEST_CASE("Plan 9 table: on a disk without an MBR slice for it") {
  Bytes image = disk_with("part 9fat 0 4\npart fs 4 16\n");
  CHECK(slices_in_blocks(one_claim(plan9_format, image)) == "9fat 0 4; fs 4 12");
  put_number(image, 510, 0x55AA, 2, ByteOrder::big);
  CHECK(claims_of(plan9_format, image).size() == 1);  // the end of a boot sector
  image[446 + 4] = std::byte{0x39};
  CHECK(claims_of(plan9_format, image).empty());
}

TEST_CASE("Plan 9 table: spoiled and absurd") {
  SECTION("an end before its start stops the loader") {
    const Claim claim = one_claim(plan9_format, disk_with("part a 0 4\npart b 9 9\npart c 9 12\n"));
    REQUIRE(claim.findings.size() == 1);
    CHECK(claim.findings[0].severity == Severity::fault);
    CHECK(claim.findings[0].start == 512 + 11);
    CHECK(claim.findings[0].bytes == 10);
    CHECK(slices_in_blocks(claim) == "a 0 4");
  }
  SECTION("a line without numbers") {
    const Claim claim = one_claim(plan9_format, disk_with("part a 0 4\npart b\npart c 9 12\n"));
    CHECK(claim.findings.size() == 1);
    CHECK(claim.slices.size() == 1);
  }
  SECTION("a name twice") {
    CHECK(slices_in_blocks(one_claim(plan9_format, disk_with("part a 0 4\npart a 4 5\n"))) ==
          "a 0 4; a~2 4 1");
  }
  SECTION("numbers that do not fit") {
    const Claim claim = one_claim(
        plan9_format, disk_with("part a 0 18446744073709551615\npart b 0 18446744073709551616\n"));
    CHECK(claim.slices.size() == 1);
    CHECK(claim.slices[0].bytes == kLargest);
    CHECK(claim.findings.size() == 1);
  }
  SECTION("octal, as the loader's number routine has it") {
    CHECK(slices_in_blocks(one_claim(plan9_format, disk_with("part a 010 0x10\n"))) == "a 8 8");
  }
  SECTION("more lines than the loader reads") {
    std::string text;
    for (int i = 0; i < 36; ++i)
      text += "part a 0 1\n";
    CHECK(one_claim(plan9_format, disk_with(text)).slices.size() == 32);
  }
  SECTION("past the end of the MBR slice") {
    Bytes image = hex_fixture("label/plan9/good.hex");
    put_number(image, 446 + 12, 100000, 4, ByteOrder::little);
    const Claim claim = claim_in_mbr_slice(plan9_format, image);
    CHECK(count_of(claim, FindingCode::label_field) == 2);
    CHECK(claim.slices.size() == 4);
  }
}

TEST_CASE("Plan 9 table: cut short, and what is none") {
  Bytes image = disk_with("part a 0 4\npart b 4 9\n");
  image.resize(512 + 17);
  const Claim claim = one_claim(plan9_format, image);
  CHECK(claim.slices.size() == 1);
  CHECK(claim.findings.size() == 1);
  CHECK(claims_of(plan9_format, disk_with("part of the story\n")).empty());
  CHECK(claims_of(plan9_format, disk_with("part 1 of 2 follows\n")).empty());
  CHECK(claims_of(plan9_format, disk_with("partition a 0 4\n")).empty());
  CHECK(
      claims_of(plan9_format, with_text("plan9 partitions\nnonsense\n", 8192 - 512, 8192)).empty());
}
