// SGI volume header. The bytes are typed from the worked example of the format notes.
#include <catch2/catch.hpp>

#include "claims.h"
#include "writers/sgi_writer.h"

using namespace platter;
using namespace platter::test;
using label::sgi_format;

namespace {

Claim only_claim(const Bytes& bytes) {
  const auto claims = claims_of(sgi_format, bytes);
  REQUIRE(claims.size() == 1);
  return claims.front();
}

}  // namespace

TEST_CASE("SGI volume header: the worked example") {
  const Claim claim = only_claim(hex_fixture("label/sgi/good.hex"));
  CHECK(claim.strength == Strength::proven);
  CHECK(messages_of(claim).empty());
  CHECK(claim.bytes == 327680ULL * 512);
  CHECK(claim.facts.words("checksum") == "good");
  CHECK(claim.facts.words("bootfile") == "/unix");
  CHECK(claim.facts.number("cylinders") == 1020);
  CHECK(claim.facts.number("heads") == 9);
  CHECK(claim.facts.number("sectors_per_track") == 36);
  CHECK(claim.facts.number("sector_bytes") == 512);
  CHECK(slices_in_blocks(claim) ==
        "0 36864 290816; 1 4096 32768; 8 0 4096; 10 0 327680; sgilabel 2 1; sash 3 311");
  CHECK(slice_of(claim, "sash")->bytes == 159232);
  CHECK(slice_of(claim, "sash")->role == SliceRole::file);
  CHECK(slice_of(claim, "0")->facts.words("type_name") == "EFS");
  CHECK(slice_of(claim, "1")->role == SliceRole::swap);
  CHECK(slice_of(claim, "8")->role == SliceRole::metadata);
  CHECK(slice_of(claim, "10")->role == SliceRole::whole_disk);
}

TEST_CASE("SGI volume header: a wrong checksum is told with both values") {
  Bytes image = hex_fixture("label/sgi/good.hex");
  image[29] = std::byte{0xFD};  // one cylinder more: the sum grows by 1 in bits 24 and up
  const Claim claim = only_claim(image);
  CHECK(claim.strength == Strength::sane);
  const Finding* finding = finding_of(claim, FindingCode::label_checksum);
  REQUIRE(finding != nullptr);
  CHECK(finding->severity == Severity::fault);
  CHECK(finding->start == 504);
  CHECK(finding->message.find("0xFE6795DB") != std::string::npos);
  CHECK(finding->message.find("0xFE6695DB") != std::string::npos);
  CHECK(claim.slices.size() == 6);
}

TEST_CASE("SGI volume header: names of files become ids of their own") {
  fixtures::SgiLabel label;
  label.slices[8] = {4096, 0, 0};
  label.files = {
      {"ide", 4, 512}, {"ide", 5, 512}, {"8", 6, 512}, {"a/b", 7, 512}, {"12345678", 8, 10}};
  Bytes image;
  fixtures::write_sgi_label(image, label);
  const Claim claim = only_claim(image);
  CHECK(messages_of(claim).empty());
  CHECK(slice_of(claim, "ide")->start == 4 * 512);
  CHECK(slice_of(claim, "ide~2")->start == 5 * 512);
  CHECK(slice_of(claim, "8")->role == SliceRole::metadata);
  CHECK(slice_of(claim, "8~2")->start == 6 * 512);
  CHECK(slice_of(claim, "a%2Fb")->facts.words("name") == "a/b");
  CHECK(slice_of(claim, "12345678")->bytes == 10);
}

TEST_CASE("SGI volume header: fields that cannot be right") {
  fixtures::SgiLabel label;
  label.root = 16;
  label.sector_bytes = 1024;
  label.slices[8] = {100, 5, 0};
  label.files = {{"sash", 104, 1024}, {"ide", 0x80000001, 512}, {"symmon", 99, 512}};
  Bytes image;
  fixtures::write_sgi_label(image, label);
  const Claim claim = only_claim(image);
  // root, sector size, header slice not at 0, sash past its end, ide before the disk
  CHECK(count_of(claim, FindingCode::label_field) == 5);
  for (const Finding& finding : claim.findings)
    CHECK(finding.severity == Severity::caution);
  CHECK(slice_of(claim, "ide")->start == 0);
  CHECK(slice_of(claim, "symmon")->start == 99 * 512);
}

TEST_CASE("SGI volume header: how large the disk is") {
  fixtures::SgiLabel label;
  label.slices[0] = {1000, 100, 7};
  Bytes image;
  SECTION("nothing tells") {
    fixtures::write_sgi_label(image, label);
    CHECK(only_claim(image).bytes == 0);
  }
  SECTION("the geometry, when it covers the slices") {
    label.cylinders = 10;
    label.tracks = 10;
    label.sectors = 20;
    fixtures::write_sgi_label(image, label);
    CHECK(only_claim(image).bytes == 2000 * 512);
  }
}

TEST_CASE("SGI volume header: what is none") {
  CHECK(claims_of(sgi_format, Bytes(512)).empty());
  Bytes magic_only(512);
  put_number(magic_only, 0, 0x0BE5A941, 4, ByteOrder::big);
  CHECK(claims_of(sgi_format, magic_only).empty());
  fixtures::seal_sgi_label(magic_only);  // an empty table with a right checksum is a label
  CHECK(claims_of(sgi_format, magic_only).size() == 1);
  Bytes cut = hex_fixture("label/sgi/good.hex");
  cut.resize(511);
  CHECK(claims_of(sgi_format, cut).empty());
}
