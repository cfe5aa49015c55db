// Sun disk label. The bytes are typed: from the worked example of the format notes and from a label
// published in 1996; the sources stand in the fixtures.
#include <catch2/catch.hpp>

#include "claims.h"
#include "writers/sun_writer.h"

using namespace platter;
using namespace platter::test;
using label::sun_format;

namespace {

Claim only_claim(const Bytes& bytes) {
  const auto claims = claims_of(sun_format, bytes);
  REQUIRE(claims.size() == 1);
  return claims.front();
}

fixtures::SunLabel small_disk() {
  fixtures::SunLabel label;
  label.cylinders = 20;
  label.heads = 4;
  label.sectors_per_track = 16;
  label.slices[0] = {0, 640, 2, 0};
  label.slices[1] = {10, 256, 3, 1};
  label.slices[2] = {0, 1280, 5, 0};
  return label;
}

}  // namespace

TEST_CASE("Sun label: the worked example") {
  const Claim claim = only_claim(hex_fixture("label/sun/good.hex"));
  CHECK(claim.strength == Strength::proven);
  CHECK(claim.findings.empty());
  CHECK(claim.start == 0);
  CHECK(claim.bytes == 1153ULL * 9 * 80 * 512);
  CHECK(claim.facts.words("byte_order") == "big");
  CHECK(claim.facts.words("checksum") == "good");
  CHECK(claim.facts.words("name") == "SUN0424 cyl 1151 alt 2 hd 9 sec 80");
  CHECK(claim.facts.number("cylinders") == 1151);
  CHECK(claim.facts.number("heads") == 9);
  CHECK(claim.facts.number("sectors_per_track") == 80);
  CHECK(claim.facts.number("sector_bytes") == 512);
  CHECK(slices_in_blocks(claim) == "a 0 46080; b 46080 92160; c 0 828720; g 138240 690480");
  CHECK(slice_of(claim, "b")->start == 23592960);
  CHECK(slice_of(claim, "b")->bytes == 47185920);
  CHECK(slice_of(claim, "a")->facts.words("type_name") == "root");
  CHECK(slice_of(claim, "b")->role == SliceRole::swap);
  CHECK(slice_of(claim, "c")->role == SliceRole::whole_disk);
  CHECK(slice_of(claim, "g")->type == 4);
}

TEST_CASE("Sun label: a label published in 1996") {
  const Claim claim = only_claim(hex_fixture("label/sun/mailing-list-1996.hex"));
  CHECK(claim.strength == Strength::proven);
  CHECK(claim.findings.empty());
  CHECK(claim.facts.words("name") == "SUN0669 cyl 1614 alt 2 hd 15 sec 54");
  // The text on the disc says the same as the fields.
  CHECK(claim.facts.number("cylinders") == 1614);
  CHECK(claim.facts.number("alternate_cylinders") == 2);
  CHECK(claim.facts.number("heads") == 15);
  CHECK(claim.facts.number("sectors_per_track") == 54);
  CHECK(claim.facts.number("rpm") == 3600);
  CHECK(slices_in_blocks(claim) ==
        "a 0 16200; b 16200 48600; c 0 1307340; g 64800 810000; h 129600 432540");
  CHECK(slice_of(claim, "c")->role == SliceRole::whole_disk);
  CHECK(slice_of(claim, "b")->role == SliceRole::swap);
  CHECK_FALSE(slice_of(claim, "a")->type.has_value());
}

TEST_CASE("Sun label: starts in blocks where there is no rotation speed") {
  const Claim claim = only_claim(hex_fixture("label/sun/luna.hex"));
  CHECK(claim.strength == Strength::proven);
  CHECK(claim.facts.words("start_unit") == "blocks");
  CHECK(slices_in_blocks(claim) == "a 64 1024; b 1088 512; c 1600 2048");
  CHECK(slice_of(claim, "c")->role == SliceRole::data);
  REQUIRE(claim.findings.size() == 1);
  CHECK(claim.findings[0].severity == Severity::note);
  CHECK(claim.records[0].structure->name == "Sun-framed label with starts in blocks");

  Bytes with_speed = hex_fixture("label/sun/luna.hex");
  put_number(with_speed, 420, 3600, 2, ByteOrder::big);
  fixtures::seal_sun_label(with_speed);
  CHECK(slice_of(only_claim(with_speed), "a")->start == 64ULL * 64 * 512);
}

TEST_CASE("Sun label: no speed alone does not turn cylinders into blocks") {
  Bytes image;
  fixtures::SunLabel label = small_disk();
  label.rpm = 0;
  label.slices[1] = {10, 640, 3, 1};
  fixtures::write_sun_label(image, label);
  const Claim claim = only_claim(image);
  CHECK(claim.facts.words("start_unit") == "cylinders");
  CHECK(slice_of(claim, "b")->start == 10ULL * 64 * 512);
}

TEST_CASE("Sun label: OpenBSD's slices i to p") {
  const Claim claim = only_claim(hex_fixture("label/sun/more-slices.hex"));
  CHECK(slices_in_blocks(claim) == "a 0 800; b 800 200; c 0 2000; i 1000 200; j 1200 100");
  CHECK(slice_of(claim, "i")->facts.words("type_name") == "ext2");
  CHECK(slice_of(claim, "j")->role == SliceRole::swap);

  Bytes wrong_sum = hex_fixture("label/sun/more-slices.hex");
  wrong_sum[131] ^= std::byte{1};
  fixtures::seal_sun_label(wrong_sum);
  CHECK(slice_of(only_claim(wrong_sum), "i") == nullptr);
}

TEST_CASE("Sun label: tags of early Linux writers count without the VTOC words") {
  Bytes image = hex_fixture("label/sun/good.hex");
  put_number(image, 128, 0, 4, ByteOrder::big);
  put_number(image, 140, 0, 2, ByteOrder::big);
  put_number(image, 188, 0, 4, ByteOrder::big);
  fixtures::seal_sun_label(image);
  const Claim claim = only_claim(image);
  CHECK(slice_of(claim, "g")->type == 4);
  put_number(image, 188, 1, 4, ByteOrder::big);
  fixtures::seal_sun_label(image);
  CHECK_FALSE(slice_of(only_claim(image), "g")->type.has_value());
}

TEST_CASE("Sun label: a wrong checksum is told with both values") {
  Bytes image = hex_fixture("label/sun/good.hex");
  image[0] = std::byte{'X'};  // S is 0x53, X is 0x58: the upper byte of one word changes by 0x0B
  const Claim claim = only_claim(image);
  CHECK(claim.strength == Strength::sane);
  CHECK(claim.facts.words("checksum") == "bad");
  const Finding* finding = finding_of(claim, FindingCode::label_checksum);
  REQUIRE(finding != nullptr);
  CHECK(finding->severity == Severity::fault);
  CHECK(finding->start == 510);
  CHECK(finding->bytes == 2);
  CHECK(finding->message.find("0xA717") != std::string::npos);
  CHECK(finding->message.find("0xAC17") != std::string::npos);
  CHECK(claim.slices.size() == 4);
}

TEST_CASE("Sun label: the backups") {
  fixtures::SunLabel label = small_disk();
  label.backups = true;
  Bytes image(22 * 64 * 512);
  fixtures::write_sun_label(image, label);
  // Last alternate cylinder 21, last head 3: sectors 21*64 + 3*16 + 1, 3, 5, 7, 9.
  const std::size_t first_backup = (21 * 64 + 48 + 1) * 512;
  CHECK(image[first_backup + 508] == std::byte{0xDA});
  CHECK(only_claim(image).findings.empty());

  SECTION("used when the primary is spoiled") {
    image[445] = std::byte{0x77};
    const Claim claim = only_claim(image);
    CHECK(finding_of(claim, FindingCode::label_checksum) != nullptr);
    const Finding* finding = finding_of(claim, FindingCode::label_backup_differs);
    REQUIRE(finding != nullptr);
    CHECK(finding->start == first_backup);
    CHECK(slice_of(claim, "a")->start == 0);
    CHECK(claim.start == 0);
  }
  SECTION("a valid one that differs is told") {
    Bytes changed = image;
    changed[first_backup] = std::byte{'X'};
    fixtures::seal_sun_label(changed, first_backup);
    const Claim claim = only_claim(changed);
    CHECK(claim.strength == Strength::proven);
    const Finding* finding = finding_of(claim, FindingCode::label_backup_differs);
    REQUIRE(finding != nullptr);
    CHECK(finding->severity == Severity::caution);
    CHECK(finding->start == first_backup);
  }
  SECTION("one that is itself spoiled says nothing") {
    image[first_backup] = std::byte{'X'};
    CHECK(only_claim(image).findings.empty());
  }
}

TEST_CASE("Sun label: absurd values stay harmless") {
  Bytes image = hex_fixture("label/sun/good.hex");
  put_number(image, 444, 0xFFFFFFFF, 4, ByteOrder::big);
  put_number(image, 448, 0xFFFFFFFF, 4, ByteOrder::big);
  for (const std::size_t at : {432, 434, 436, 438})
    put_number(image, at, 0xFFFF, 2, ByteOrder::big);
  fixtures::seal_sun_label(image);
  const Claim claim = only_claim(image);
  CHECK(slice_of(claim, "a")->bytes == 0xFFFFFFFFULL * 512);
  CHECK(slice_of(claim, "a")->start == kLargest);  // does not fit 64 bits: stays at the largest
}

TEST_CASE("Sun label: what is none") {
  CHECK(claims_of(sun_format, Bytes(512)).empty());
  CHECK(claims_of(sun_format, Bytes(512, std::byte{0xFF})).empty());
  Bytes magic_only(512);
  magic_only[508] = std::byte{0xDA};
  magic_only[509] = std::byte{0xBE};
  CHECK(claims_of(sun_format, magic_only).empty());
  fixtures::seal_sun_label(magic_only);  // even with a checksum there is no geometry
  CHECK(claims_of(sun_format, magic_only).empty());
  Bytes cut = hex_fixture("label/sun/good.hex");
  cut.resize(511);
  CHECK(claims_of(sun_format, cut).empty());
}
