// The labels as the whole survey shows them.
#include <catch2/catch.hpp>

#include "claims.h"
#include "support/survey.h"
#include "writers/bsd_writer.h"
#include "writers/dlv_writer.h"
#include "writers/mbr_writer.h"
#include "writers/sun_writer.h"

using namespace platter;
using namespace platter::test;

namespace {

Bytes grown(Bytes bytes, std::size_t blocks) {
  bytes.resize(blocks * 512);
  return bytes;
}

}  // namespace

TEST_CASE("survey: the slices of the Sun label of 1996 overlap") {
  const Survey survey = survey_bytes(hex_fixture("label/sun/mailing-list-1996.hex"));
  INFO(findings_of(survey));
  REQUIRE(layer(survey, "sun/g") != nullptr);
  const Finding* overlap = finding(survey, FindingCode::slice_overlap);
  REQUIRE(overlap != nullptr);
  CHECK(overlap->layer == "sun/h");
  CHECK(overlap->start == 129600ULL * 512);
  CHECK(overlap->bytes == 432540ULL * 512);
  CHECK(count_findings(survey, FindingCode::slice_overlap) == 1);
  CHECK(has_finding(survey, FindingCode::image_short));
}

TEST_CASE("survey: an SGI volume header") {
  const Survey survey = survey_bytes(hex_fixture("label/sgi/good.hex"));
  INFO(findings_of(survey));
  REQUIRE(layer(survey, "sgi/sash") != nullptr);
  CHECK(layer(survey, "sgi/sash")->role == SliceRole::file);
  CHECK(layer(survey, "sgi")->bytes == 327680ULL * 512);
  CHECK_FALSE(has_finding(survey, FindingCode::slice_overlap));
}

TEST_CASE("survey: a BSD label in an MBR slice") {
  fixtures::MbrLabel mbr;
  mbr.slices[0] = {0xA9, 63, 1937, true};
  fixtures::BsdLabel bsd;
  bsd.order = ByteOrder::little;
  bsd.sectors_per_track = 63;
  bsd.tracks = 16;
  bsd.cylinders = 2;
  bsd.slices = {{1000, 63, 7}, {937, 1063, 1}, {1937, 63, 0}, {2016, 0, 0}};
  Bytes image(2016 * 512);
  fixtures::write_mbr(image, mbr);
  fixtures::write_bsd_label(image, bsd, 64 * 512);
  const Survey survey = survey_bytes(image);
  INFO(findings_of(survey));
  CHECK(survey.findings.empty());
  REQUIRE(layer(survey, "mbr/1/bsd/a") != nullptr);
  CHECK(layer(survey, "mbr/1/bsd/a")->start == 63 * 512);
  CHECK(layer(survey, "mbr/1/bsd/b")->role == SliceRole::swap);
  CHECK(layer(survey, "mbr/1/bsd/c")->role == SliceRole::whole_disk);
  CHECK(layer(survey, "mbr/1/bsd/d")->role == SliceRole::whole_disk);
  CHECK(layer(survey, "bsd") == nullptr);
  CHECK(layer(survey, "mbr/1/bsd/a/bsd") == nullptr);
}

TEST_CASE("survey: a Sun label and the BSD label inside it") {
  fixtures::SunLabel sun;
  sun.cylinders = 20;
  sun.alternate_cylinders = 0;
  sun.heads = 4;
  sun.sectors_per_track = 16;
  sun.vtoc = false;
  sun.slices[0] = {0, 640, 0, 0};
  sun.slices[1] = {10, 640, 0, 0};
  sun.slices[2] = {0, 1280, 0, 0};
  fixtures::BsdLabel bsd;
  bsd.sectors_per_track = 16;
  bsd.tracks = 4;
  bsd.cylinders = 20;
  bsd.slices = {{640, 0, 7}, {640, 640, 1}, {1280, 0, 0}, {}, {}, {}, {}, {}};
  Bytes image(1280 * 512);
  fixtures::write_sun_label(image, sun);
  fixtures::write_bsd_label(image, bsd, 128);
  fixtures::seal_sun_label(image);
  const Survey survey = survey_bytes(image);
  INFO(findings_of(survey));
  CHECK(survey.findings.empty());
  REQUIRE(layer(survey, "sun/a") != nullptr);
  REQUIRE(layer(survey, "bsd/a") != nullptr);
  CHECK(fact(survey, "sun", "checksum") == "good");
  CHECK(fact(survey, "bsd", "checksum") == "good");
}

TEST_CASE("survey: a dlV label whose image ends early") {
  fixtures::DlvLabel label;
  label.tracks = 4;
  label.sectors_per_track = 10;
  label.cylinders = 10;
  label.sectors = 400;
  label.slices[0] = {0, 240, 8192, 1024, "4.3BSD", "/", true};
  Bytes image;
  fixtures::write_dlv_label(image, label);
  SECTION("whole") {
    const Survey survey = survey_bytes(grown(image, 800));
    INFO(findings_of(survey));
    CHECK(survey.findings.empty());
    CHECK(layer(survey, "dlv")->bytes == 400 * 1024);
    CHECK(layer(survey, "dlv/a")->start == 160 * 1024);
  }
  SECTION("cut") {
    const Survey survey = survey_bytes(grown(image, 700));
    REQUIRE(has_finding(survey, FindingCode::image_short));
    CHECK(finding(survey, FindingCode::slice_beyond_end)->layer == "dlv/a");
  }
}

TEST_CASE("survey: an extended chain") {
  const Survey survey = survey_bytes(hex_fixture("label/mbr/chain.hex"));
  INFO(findings_of(survey));
  CHECK_FALSE(any_fault(survey.findings));
  REQUIRE(layer(survey, "mbr/7") != nullptr);
  CHECK(layer(survey, "mbr/7")->start == 145 * 512);
  CHECK(layer(survey, "mbr/2")->role == SliceRole::container);
}
