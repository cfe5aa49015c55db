// Solaris label of i386 machines. The worked example's bytes and checksum are typed.
#include <catch2/catch.hpp>

#include "more_labels.h"
#include "support/survey.h"
#include "writers/mbr_writer.h"
#include "writers/unix386_writer.h"

using namespace platter;
using namespace platter::test;
using label::solaris_x86_format;

namespace {

constexpr std::size_t kLabel = 64 * 512;

}  // namespace

TEST_CASE("Solaris-x86 label: the worked example") {
  const Claim claim =
      claim_in_mbr_slice(solaris_x86_format, hex_fixture("label/solaris-x86/good.hex"));
  INFO(messages_of(claim));
  CHECK(claim.strength == Strength::proven);
  CHECK(claim.findings.empty());
  CHECK(claim.start == 63 * 512);
  CHECK(claim.facts.words("checksum") == "good");
  CHECK(claim.facts.number("cylinders") == 2078);
  CHECK(claim.facts.number("heads") == 16);
  CHECK(claim.facts.number("sectors_per_track") == 63);
  CHECK(claim.facts.number("rpm") == 3600);
  CHECK(slices_in_blocks(claim) == "0 3087 204624; 1 207711 131040; 2 63 2096640; 8 63 1008");
  CHECK(slice_of(claim, "0")->facts.words("type_name") == "root");
  CHECK(slice_of(claim, "1")->role == SliceRole::swap);
  CHECK(slice_of(claim, "2")->role == SliceRole::whole_disk);
  CHECK(slice_of(claim, "8")->type == 1);
}

TEST_CASE("Solaris-x86 label: only where it belongs") {
  Bytes image = hex_fixture("label/solaris-x86/good.hex");
  image[446 + 4] = std::byte{0xBF};
  CHECK(claims_in_mbr_slice(solaris_x86_format, image).size() == 1);
  image[446 + 4] = std::byte{0x83};
  CHECK(claims_in_mbr_slice(solaris_x86_format, image).empty());
  // A disk without an MBR has it in its own sector 1.
  const Bytes alone(image.begin() + 63 * 512, image.end());
  CHECK(one_claim(solaris_x86_format, alone).slices[0].start == 3024 * 512);
}

TEST_CASE("Solaris-x86 label: spoiled") {
  Bytes image = hex_fixture("label/solaris-x86/good.hex");
  SECTION("content") {
    image[kLabel + 72 + 4] ^= std::byte{1};
    const Claim claim = claim_in_mbr_slice(solaris_x86_format, image);
    REQUIRE(claim.findings.size() == 1);
    CHECK(claim.findings[0].code == FindingCode::label_checksum);
    CHECK(claim.findings[0].start == kLabel + 510);
    CHECK(claim.findings[0].message.find("0x55E5") != std::string::npos);
    CHECK(claim.facts.words("checksum") == "bad");
    CHECK(claim.slices.size() == 4);
  }
  SECTION("magic") {
    image[kLabel + 508] = std::byte{0};
    const Claim claim = claim_in_mbr_slice(solaris_x86_format, image);
    REQUIRE(claim.findings.size() == 1);
    CHECK(claim.findings[0].code == FindingCode::label_field);
    CHECK(claim.findings[0].start == kLabel + 508);
  }
  SECTION("version, sector size and number of slices") {
    put_number(image, kLabel + 16, 2, 4, ByteOrder::little);
    put_number(image, kLabel + 28, 0, 2, ByteOrder::little);
    put_number(image, kLabel + 30, 0xFFFF, 2, ByteOrder::little);
    fixtures::seal_solaris_x86_label(image, kLabel);
    CHECK(claim_in_mbr_slice(solaris_x86_format, image).findings.size() == 2);
  }
  SECTION("a slice past the end of the MBR slice") {
    put_number(image, kLabel + 72 + 8, 0xFFFFFFFF, 4, ByteOrder::little);
    fixtures::seal_solaris_x86_label(image, kLabel);
    const Claim claim = claim_in_mbr_slice(solaris_x86_format, image);
    CHECK(claim.findings.size() == 1);
    CHECK(slice_of(claim, "0")->bytes == 0xFFFFFFFFULL * 512);
  }
}

TEST_CASE("Solaris-x86 label: the backup on the last cylinder") {
  fixtures::MbrLabel mbr;
  mbr.slices[0] = {0xBF, 32, 16 * 32 * 10, true};
  fixtures::Unix386Label label;
  label.slice_first = 32;
  label.cylinders = 10;
  label.heads = 16;
  label.sectors_per_track = 32;
  label.slices = {{2, 0, 512, 1024}, {3, 1, 2048, 512}, {5, 0, 0, 5120}};
  Bytes image((32 + 5120) * 512);
  fixtures::write_mbr(image, mbr);
  fixtures::write_solaris_x86_label(image, label);
  // Cylinder 9, head 15, sector 3, counted from the MBR slice.
  const std::size_t backup = (32 + 9 * 512 + 15 * 32 + 3) * 512;
  std::copy_n(image.begin() + 33 * 512, 512, image.begin() + static_cast<std::ptrdiff_t>(backup));
  CHECK(claim_in_mbr_slice(solaris_x86_format, image).findings.empty());
  image[33 * 512 + 80] ^= std::byte{1};
  const Claim claim = claim_in_mbr_slice(solaris_x86_format, image);
  REQUIRE(claim.findings.size() == 2);
  CHECK(claim.findings[1].code == FindingCode::label_backup_differs);
  CHECK(claim.findings[1].start == backup);
  CHECK(slices_in_blocks(claim) == "0 544 1024; 1 2080 512; 2 32 5120");

  const Survey survey = survey_bytes(image);
  INFO(findings_of(survey));
  CHECK(layer(survey, "mbr/1/solaris-x86/0") != nullptr);
  CHECK(layer(survey, "mbr/1/solaris-x86/2/solaris-x86") == nullptr);
}

TEST_CASE("Solaris-x86 label: cut short, and what is none") {
  Bytes image = hex_fixture("label/solaris-x86/good.hex");
  Bytes cut = image;
  cut.resize(kLabel + 511);
  CHECK(claims_in_mbr_slice(solaris_x86_format, cut).empty());
  Bytes magic_only(4096, std::byte{0x99});
  put_number(magic_only, 512 + 12, 0x600DDEEE, 4, ByteOrder::little);
  CHECK(claims_of(solaris_x86_format, magic_only).empty());
}
