// APM. The worked example's bytes are typed, its other entries are invented; larger maps come from
// the writer.
#include <catch2/catch.hpp>

#include "more_labels.h"
#include "support/survey.h"
#include "writers/apm_writer.h"

using namespace platter;
using namespace platter::test;
using fixtures::apm_type;
using label::apm_format;

namespace {

constexpr std::size_t kEntry1 = 512;

std::vector<fixtures::ApmSlice> disc_slices(std::uint32_t scale) {
  return {{1, 63 / scale, "Corvid", apm_type("partition_map")},
          {64 / scale, 64 / scale, "volume", apm_type("HFS")}};
}

}  // namespace

TEST_CASE("APM: the worked example") {
  const Claim claim = one_claim(apm_format, hex_fixture("label/apm/good.hex"));
  INFO(messages_of(claim));
  CHECK(claim.strength == Strength::proven);
  CHECK(claim.findings.empty());
  CHECK(claim.bytes == 1310720ULL * 512);
  CHECK(claim.facts.words("byte_order") == "big");
  CHECK(claim.facts.words("checksum") == "none");
  CHECK(claim.facts.number("sector_bytes") == 512);
  CHECK(slices_in_blocks(claim) == "1 1 63; 2 64 32; 3 96 10000; 4 10096 1300624; driver-1 64 20");
  CHECK(slice_of(claim, "1")->role == SliceRole::metadata);
  CHECK(slice_of(claim, "1")->facts.words("type_name") == apm_type("partition_map"));
  CHECK(slice_of(claim, "2")->role == SliceRole::data);
  CHECK(slice_of(claim, "2")->facts.number("boot_bytes") == 9824);
  CHECK(slice_of(claim, "2")->facts.words("processor") == "68000");
  CHECK(slice_of(claim, "3")->facts.words("name") == "root");
  CHECK(slice_of(claim, "3")->role == SliceRole::data);
  CHECK(slice_of(claim, "4")->role == SliceRole::unused);
  CHECK(slice_of(claim, "driver-1")->role == SliceRole::file);
  CHECK(slice_of(claim, "driver-1")->type == 1);
}

TEST_CASE("APM: a swap slice is told by its Unix arguments, not by its type") {
  Bytes image;
  fixtures::write_apm_drivers(image, 512, 1000);
  fixtures::write_apm_map(image, 512,
                          {{1, 63, "map", apm_type("PARTITION_MAP")},
                           {64, 100, "swap", apm_type("unix_svr2"), 0x33, "", true},
                           {164, 100, "other", "NetBSD/macppc"}});
  const Claim claim = one_claim(apm_format, image);
  CHECK(claim.findings.empty());
  CHECK(slice_of(claim, "1")->role == SliceRole::metadata);  // any case of letters
  CHECK(slice_of(claim, "2")->role == SliceRole::swap);
  CHECK(slice_of(claim, "3")->role == SliceRole::data);
}

TEST_CASE("APM: the type alone, without the vendor's bytes, is no type of the vendor") {
  Bytes image;
  fixtures::write_apm_drivers(image, 512, 1000);
  fixtures::write_apm_map(image, 512,
                          {{1, 63, "map", apm_type("partition_map")}, {64, 1, "x", "Free"}});
  CHECK(slice_of(one_claim(apm_format, image), "2")->role == SliceRole::data);
}

TEST_CASE("APM: blocks of 2048 bytes") {
  Bytes image;
  fixtures::write_apm_drivers(image, 2048, 64);
  fixtures::write_apm_map(image, 2048, disc_slices(4));
  const Claim claim = one_claim(apm_format, image);
  INFO(messages_of(claim));
  CHECK(claim.findings.empty());
  CHECK(claim.facts.number("sector_bytes") == 2048);
  CHECK(slice_of(claim, "2")->start == 16 * 2048);
  CHECK(slice_of(claim, "2")->bytes == 16 * 2048);
}

TEST_CASE("APM: block size 2048 stated, entries 512 bytes apart") {
  Bytes image;
  fixtures::write_apm_drivers(image, 2048, 64);
  fixtures::write_apm_map(image, 512, disc_slices(1));
  const Claim claim = one_claim(apm_format, image);
  CHECK(claim.facts.number("sector_bytes") == 512);
  CHECK(slice_of(claim, "2")->start == 64 * 512);
}

TEST_CASE("APM: maps of both block sizes on one disc") {
  Bytes image;
  fixtures::write_apm_drivers(image, 512, 256);
  fixtures::write_apm_map(image, 512, disc_slices(1));
  SECTION("that agree") {
    fixtures::write_apm_map(image, 2048, disc_slices(4));
    const Claim claim = one_claim(apm_format, image);
    INFO(messages_of(claim));
    CHECK(claim.findings.empty());
    CHECK(claim.facts.number("sector_bytes") == 512);
    CHECK(claim.facts.number("other_sector_bytes") == 2048);
    CHECK(claim.slices.size() == 2);
  }
  SECTION("that do not") {
    auto slices = disc_slices(4);
    slices[1].first += 4;
    fixtures::write_apm_map(image, 2048, slices);
    const Claim claim = one_claim(apm_format, image);
    REQUIRE(claim.findings.size() == 1);
    CHECK(claim.findings[0].code == FindingCode::label_backup_differs);
    CHECK(claim.findings[0].start == 2 * 2048 + 8);
  }
  SECTION("the stated size decides") {
    fixtures::write_apm_map(image, 2048, disc_slices(4));
    fixtures::write_apm_drivers(image, 2048, 64);
    const Claim claim = one_claim(apm_format, image);
    CHECK(claim.facts.number("sector_bytes") == 2048);
    CHECK(claim.facts.number("other_sector_bytes") == 512);
  }
}

TEST_CASE("APM: a long map of 512-byte blocks is not taken for a map of 2048-byte blocks") {
  Bytes image;
  fixtures::write_apm_drivers(image, 512, 4000);
  std::vector<fixtures::ApmSlice> slices = {{1, 63, "map", apm_type("partition_map")}};
  for (std::uint32_t i = 0; i < 20; ++i)
    slices.push_back({64 + i * 10, 10, "s", apm_type("HFS")});
  fixtures::write_apm_map(image, 512, slices);
  for (const std::uint16_t stated : {std::uint16_t{512}, std::uint16_t{2048}}) {
    fixtures::write_apm_drivers(image, stated, 4000);
    const Claim claim = one_claim(apm_format, image);
    CHECK(claim.findings.empty());
    CHECK(claim.slices.size() == 21);
    CHECK(claim.facts.find("other_sector_bytes") == nullptr);
  }
}

TEST_CASE("APM: spoiled") {
  Bytes image = hex_fixture("label/apm/good.hex");
  SECTION("the driver descriptor") {
    image[0] = std::byte{0};
    const Claim claim = one_claim(apm_format, image);
    REQUIRE(claim.findings.size() == 1);
    CHECK(claim.findings[0].severity == Severity::fault);
    CHECK(claim.findings[0].start == 0);
    CHECK(claim.slices.size() == 4);
  }
  SECTION("an entry's signature") {
    image[3 * 512] = std::byte{0};
    const Claim claim = one_claim(apm_format, image);
    REQUIRE(claim.findings.size() == 1);
    CHECK(claim.findings[0].start == 3 * 512);
    CHECK(claim.findings[0].severity == Severity::fault);
    CHECK(slice_of(claim, "3") == nullptr);
  }
  SECTION("one entry's count") {
    put_number(image, 2 * 512 + 4, 9, 4, ByteOrder::big);
    const Claim claim = one_claim(apm_format, image);
    REQUIRE(claim.findings.size() == 1);
    CHECK(claim.findings[0].severity == Severity::note);
  }
  SECTION("the block size") {
    put_number(image, 2, 0, 2, ByteOrder::big);
    const Claim claim = one_claim(apm_format, image);
    REQUIRE(claim.findings.size() == 1);
    CHECK(claim.findings[0].start == 2);
    CHECK(claim.bytes == 0);
    CHECK(slice_of(claim, "3")->start == 96 * 512);
  }
  SECTION("data outside its slice") {
    put_number(image, 3 * 512 + 80, 0xFFFFFFFF, 4, ByteOrder::big);
    CHECK(count_of(one_claim(apm_format, image), FindingCode::label_field) == 1);
  }
}

TEST_CASE("APM: cut short and absurd") {
  Bytes image = hex_fixture("label/apm/good.hex");
  SECTION("cut in the map") {
    image.resize(2 * 512 + 100);
    const Claim claim = one_claim(apm_format, image);
    CHECK(claim.slices.size() == 2);  // the map and the driver
    CHECK(claim.findings.size() == 1);
  }
  SECTION("counts") {
    put_number(image, kEntry1 + 4, 0xFFFFFFFF, 4, ByteOrder::big);
    put_number(image, 16, 0xFFFF, 2, ByteOrder::big);
    const Claim claim = one_claim(apm_format, image);
    CHECK(claim.slices.size() == 4);
    CHECK(count_of(claim, FindingCode::label_field) == 3);  // entries, differing counts, drivers
  }
  SECTION("places") {
    put_number(image, 3 * 512 + 8, 0xFFFFFFFF, 4, ByteOrder::big);
    put_number(image, 3 * 512 + 12, 0xFFFFFFFF, 4, ByteOrder::big);
    const Claim claim = one_claim(apm_format, image);
    CHECK(slice_of(claim, "3")->start == 0xFFFFFFFFULL * 512);
    CHECK(claim.bytes == 0);  // the count of blocks does not cover it
  }
}

TEST_CASE("APM: what is none") {
  CHECK(claims_of(apm_format, Bytes(4096)).empty());
  Bytes magic_only(8192, std::byte{0xA5});
  put_number(magic_only, 0, 0x4552, 2, ByteOrder::big);
  put_number(magic_only, 512, 0x504D, 2, ByteOrder::big);
  CHECK(claims_of(apm_format, magic_only).empty());
}

TEST_CASE("APM: as the survey shows it") {
  Bytes image = hex_fixture("label/apm/good.hex");
  image.resize(1310720ULL);
  const Survey survey = survey_bytes(image);
  INFO(findings_of(survey));
  REQUIRE(layer(survey, "apm/3") != nullptr);
  CHECK_FALSE(has_finding(survey, FindingCode::slice_overlap));
}
