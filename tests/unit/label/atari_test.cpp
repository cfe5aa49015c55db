// Atari root sectors. The worked example's bytes are typed; chains come from the writer.
#include <catch2/catch.hpp>

#include "more_labels.h"
#include "support/survey.h"
#include "writers/atari_writer.h"
#include "writers/mbr_writer.h"

using namespace platter;
using namespace platter::test;
using label::atari_format;

namespace {

fixtures::AtariLabel chained_disk() {
  fixtures::AtariLabel label;
  label.disk_blocks = 4000;
  label.slices = {{"GEM", 2, 998, true}, {"XGM", 1000, 2000, false}, {"LNX", 3000, 1000, false}};
  label.logicals = {{1000, {"BGM", 1001, 499, false}},
                    {1500, {"RAW", 1501, 499, false}},
                    {2000, {"SWP", 2001, 999, false}}};
  return label;
}

Bytes image_of(const fixtures::AtariLabel& label) {
  Bytes image(2 << 20U);
  fixtures::write_atari_label(image, label);
  return image;
}

}  // namespace

TEST_CASE("Atari label: the worked example") {
  const Claim claim = one_claim(atari_format, hex_fixture("label/atari/good.hex"));
  INFO(messages_of(claim));
  CHECK(claim.strength == Strength::proven);
  CHECK(claim.findings.empty());
  CHECK(claim.bytes == 163840ULL * 512);
  CHECK(claim.facts.words("byte_order") == "big");
  CHECK(*claim.facts.find("bootable") == FactValue(true));
  CHECK(slices_in_blocks(claim) == "1 2 163838");
  CHECK(claim.slices[0].facts.words("type_name") == "BGM");
}

TEST_CASE("Atari label: a chain of further root sectors") {
  const Claim claim = one_claim(atari_format, image_of(chained_disk()));
  INFO(messages_of(claim));
  CHECK(claim.findings.empty());
  CHECK(claim.strength == Strength::sane);
  // Numbers as Linux counts them: the chain takes its slot's number and the following ones.
  CHECK(slices_in_blocks(claim) ==
        "1 2 998; xgm-2 1000 2000; 2 1001 499; 3 1501 499; 4 2001 999; 5 3000 1000");
  CHECK(slice_of(claim, "xgm-2")->role == SliceRole::container);
  CHECK(slice_of(claim, "4")->role == SliceRole::swap);
}

TEST_CASE("Atari label: entries of ICD drivers") {
  fixtures::AtariLabel label;
  label.disk_blocks = 4000;
  label.slices = {{"GEM", 2, 998, false}};
  label.icd = {{"GEM", 1000, 1000, false}, {"BGM", 2000, 2000, false}};
  const Claim claim = one_claim(atari_format, image_of(label));
  CHECK(claim.findings.empty());
  CHECK(slices_in_blocks(claim) == "1 2 998; 5 1000 1000; 6 2000 2000");
  label.icd[0].id = "abc";  // an unknown first one: boot code
  CHECK(slices_in_blocks(one_claim(atari_format, image_of(label))) == "1 2 998");
}

TEST_CASE("Atari label: chains that lead astray") {
  Bytes image = image_of(chained_disk());
  const auto cut_after = [&](Severity severity) {
    const Claim claim = one_claim(atari_format, image);
    INFO(messages_of(claim));
    REQUIRE(count_of(claim, FindingCode::slice_order) == 1);
    CHECK(claim.findings.size() == 1);
    CHECK(finding_of(claim, FindingCode::slice_order)->severity == severity);
    return claim.slices.size();
  };
  const std::size_t second = 1500 * 512;
  SECTION("back to the first one") {
    put_number(image, second + 466 + 4, 0, 4, ByteOrder::big);
    CHECK(cut_after(Severity::fault) == 5);
  }
  SECTION("past the end of the image") {
    put_number(image, second + 466 + 4, 0x00FFFFFF, 4, ByteOrder::big);
    CHECK(cut_after(Severity::caution) == 5);
  }
  SECTION("to nothing") {
    std::fill_n(image.begin() + 2000 * 512, 512, std::byte{0});
    CHECK(cut_after(Severity::fault) == 5);
  }
  SECTION("with a link that is none") {
    image[second + 466 + 1] = std::byte{'Y'};
    CHECK(cut_after(Severity::fault) == 5);
  }
  SECTION("cut short") {
    image.resize(1500 * 512);
    CHECK(cut_after(Severity::caution) == 4);
  }
}

TEST_CASE("Atari label: fields that cannot be") {
  Bytes image = image_of(chained_disk());
  SECTION("no length of the disk") {
    put_number(image, 450, 0, 4, ByteOrder::big);
    const Claim claim = one_claim(atari_format, image);
    CHECK(claim.findings.size() == 1);
    CHECK(claim.bytes == 0);
  }
  SECTION("a slice past the end of the disk") {
    put_number(image, 454 + 24 + 8, 5000, 4, ByteOrder::big);
    const Claim claim = one_claim(atari_format, image);
    REQUIRE(claim.findings.size() == 1);
    CHECK(claim.findings[0].start == 454 + 24 + 4);
    CHECK(slice_of(claim, "5")->bytes == 5000 * 512);
  }
  SECTION("a slice without a length") {
    put_number(image, 454 + 24 + 8, 0, 4, ByteOrder::big);
    const Claim claim = one_claim(atari_format, image);
    CHECK(claim.findings.size() == 1);
    CHECK(slice_of(claim, "5") == nullptr);
  }
  SECTION("a list of bad sectors past the end") {
    put_number(image, 502, 0xFFFFFFFF, 4, ByteOrder::big);
    put_number(image, 506, 0xFFFFFFFF, 4, ByteOrder::big);
    CHECK(one_claim(atari_format, image).findings.size() == 1);
  }
  SECTION("everything at its largest") {
    put_number(image, 450, 0xFFFFFFFF, 4, ByteOrder::big);
    for (const std::size_t at : {454 + 12 + 4, 454 + 12 + 8, 454 + 24 + 4, 454 + 24 + 8}) {
      put_number(image, at, 0xFFFFFFFF, 4, ByteOrder::big);
    }
    const Claim claim = one_claim(atari_format, image);
    CHECK(claim.slices.size() == 3);
  }
}

TEST_CASE("Atari label: letters nobody knows need more evidence") {
  fixtures::AtariLabel label;
  label.disk_blocks = 4000;
  label.slices = {{"F32", 2, 998, false}};
  CHECK(claims_of(atari_format, image_of(label)).empty());
  label.slices.push_back({"QWA", 1000, 1000, false});
  CHECK(one_claim(atari_format, image_of(label)).slices.size() == 2);
  label.disk_blocks = 400000;
  CHECK(claims_of(atari_format, image_of(label)).empty());
}

TEST_CASE("Atari label: what is none") {
  CHECK(claims_of(atari_format, Bytes(4096)).empty());
  CHECK(claims_of(atari_format, Bytes(4096, std::byte{'A'})).empty());
  Bytes image = image_of(chained_disk());
  SECTION("an MBR's signature") {
    put_number(image, 510, 0x55AA, 2, ByteOrder::big);
    CHECK(claims_of(atari_format, image).empty());
  }
  SECTION("a FAT parameter block (ECMA-107 clause 9)") {
    const Bytes block = hex_text("60 1c \"Corvid\" 11 22 33 00 02 02 01 00 02 70 00 a0 05 f9 05 00",
                                 "parameter block of a floppy");
    std::copy(block.begin(), block.end(), image.begin());
    CHECK(claims_of(atari_format, image).empty());
  }
  SECTION("text in place of flags") {
    image[454] = std::byte{'a'};
    image[466] = std::byte{'c'};
    image[478] = std::byte{'e'};
    CHECK(claims_of(atari_format, image).empty());
  }
}

TEST_CASE("Atari label: as the survey shows it") {
  const Survey survey = survey_bytes(image_of(chained_disk()));
  INFO(findings_of(survey));
  CHECK_FALSE(any_fault(survey.findings));
  CHECK(layer(survey, "atari/4") != nullptr);
  CHECK(layer(survey, "mbr") == nullptr);
}
