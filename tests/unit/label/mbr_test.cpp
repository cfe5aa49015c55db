// Master boot record and extended chain. Entries are typed from the worked examples of the format
// notes; the chain is our own invention.
#include <array>

#include <catch2/catch.hpp>

#include "claims.h"
#include "label/mbr_geometry.h"
#include "writers/mbr_writer.h"

using namespace platter;
using namespace platter::test;
using label::mbr_format;

namespace {

Claim only_claim(const Bytes& bytes) {
  const auto claims = claims_of(mbr_format, bytes);
  REQUIRE(claims.size() == 1);
  return claims.front();
}

// A primary, an extended slice of 1000 sectors at 1000, and logicals in it.
fixtures::MbrLabel chained(std::size_t logicals) {
  fixtures::MbrLabel label;
  label.slices[0] = {0x83, 63, 900, true};
  label.slices[1] = {0x05, 1000, 1000, false};
  for (std::size_t i = 0; i < logicals; ++i) {
    const auto record = static_cast<std::uint32_t>(1000 + 100 * i);
    label.logicals.push_back({record, {0x83, record + 1, 99, false}});
  }
  return label;
}

}  // namespace

TEST_CASE("MBR: the worked example and the geometry behind it") {
  Bytes image = hex_fixture("label/mbr/one-slice.hex");
  const Claim claim = only_claim(image);
  CHECK(messages_of(claim).empty());
  CHECK(claim.bytes == 0);
  CHECK(claim.facts.words("checksum") == "none");
  CHECK(claim.facts.words("byte_order") == "little");
  CHECK(claim.facts.words("disk_id") == "0x12345678");
  CHECK(claim.facts.number("sector_bytes") == 512);
  CHECK(claim.facts.number("heads") == 16);
  CHECK(claim.facts.number("sectors_per_track") == 63);
  CHECK(claim.facts.number("cylinders") == 256);
  CHECK(claim.facts.words("geometry_evidence") == "inferred; 2 of 2 places agree");
  CHECK(slices_in_blocks(claim) == "1 63 257985");
  CHECK(claim.slices[0].type == 0xA5);
  CHECK(claim.slices[0].facts.words("type_name") == "386BSD or FreeBSD");
}

TEST_CASE("MBR: CHS fields written under another translation") {
  const Claim claim = only_claim(hex_fixture("label/mbr/other-translation.hex"));
  CHECK(slices_in_blocks(claim) == "1 63 2096977");
  CHECK(claim.facts.find("heads") == nullptr);
  REQUIRE(claim.findings.size() == 1);
  CHECK(claim.findings[0].code == FindingCode::geometry_differs);
  CHECK(claim.findings[0].severity == Severity::note);
}

TEST_CASE("MBR: a chain with a record written the DR-DOS way") {
  const Claim claim = only_claim(hex_fixture("label/mbr/chain.hex"));
  CHECK(messages_of(claim).empty());
  CHECK(slices_in_blocks(claim) == "1 1 63; 2 64 128; 5 65 31; 6 98 16; 7 145 47");
  CHECK(slice_of(claim, "2")->role == SliceRole::container);
  CHECK(slice_of(claim, "6")->type == 0x82);
  CHECK(claim.records.size() == 4);
}

TEST_CASE("MBR: geometry inference") {
  using label::ChsPair;
  using label::infer_geometry;
  const std::array<ChsPair, 2> agreeing = {ChsPair{0, 1, 1, 63, false, 0},
                                           ChsPair{255, 15, 63, 258047, true, 0}};
  REQUIRE(infer_geometry(agreeing));
  CHECK(infer_geometry(agreeing)->heads == 16);
  // The slice does not end with its cylinder: 32 heads and 17 sectors solve both places.
  const std::array<ChsPair, 2> inside = {ChsPair{10, 3, 5, (10 * 32 + 3) * 17 + 4, false, 0},
                                         ChsPair{90, 7, 9, (90 * 32 + 7) * 17 + 8, true, 0}};
  REQUIRE(infer_geometry(inside));
  CHECK(infer_geometry(inside)->heads == 32);
  CHECK(infer_geometry(inside)->sectors_per_track == 17);
  // One place proves nothing, and places in cylinder 0 do not tell the heads.
  CHECK_FALSE(infer_geometry(std::span(agreeing).first(1)));
  const std::array<ChsPair, 2> first_cylinder = {ChsPair{0, 1, 1, 63, false, 0},
                                                 ChsPair{0, 2, 1, 126, true, 0}};
  CHECK_FALSE(infer_geometry(first_cylinder));
  CHECK_FALSE(infer_geometry({}));
}

TEST_CASE("MBR: logical slices of a written chain") {
  Bytes image(2000 * 512);
  fixtures::write_mbr(image, chained(4));
  const Claim claim = only_claim(image);
  CHECK(messages_of(claim).empty());
  CHECK(slices_in_blocks(claim) ==
        "1 63 900; 2 1000 1000; 5 1001 99; 6 1101 99; 7 1201 99; 8 1301 99");
  CHECK(claim.facts.number("heads") == 16);
  CHECK(claim.facts.number("sectors_per_track") == 63);
}

TEST_CASE("MBR: broken chains") {
  Bytes image(2000 * 512);
  const fixtures::MbrLabel label = chained(3);
  fixtures::write_mbr(image, label);
  const auto cut_at = [&](std::size_t slices, Severity severity) {
    const Claim claim = only_claim(image);
    REQUIRE(count_of(claim, FindingCode::slice_order) == 1);
    CHECK(finding_of(claim, FindingCode::slice_order)->severity == severity);
    CHECK(claim.slices.size() == slices);
    return *finding_of(claim, FindingCode::slice_order);
  };
  SECTION("a record leads to itself") {
    fixtures::write_mbr_entry(image, 1100, 1, {0x05, 100, 100, false}, 1100, label);
    CHECK(cut_at(4, Severity::fault).start == 1100 * 512 + 446 + 16);
  }
  SECTION("a record leads back") {
    fixtures::write_mbr_entry(image, 1200, 1, {0x05, 0, 1000, false}, 1000, label);
    CHECK(cut_at(5, Severity::fault).start == 1200 * 512 + 446 + 16);
  }
  SECTION("a record leads out of the extended slice") {
    fixtures::write_mbr_entry(image, 1000, 1, {0x05, 1000, 100, false}, 2000, label);
    CHECK(cut_at(3, Severity::fault).start == 1000 * 512 + 446 + 16);
  }
  SECTION("a record without its signature") {
    image[1100 * 512 + 511] = std::byte{0};
    CHECK(cut_at(3, Severity::fault).start == 1100 * 512 + 510);
  }
  SECTION("the image ends before a record") {
    image.resize(1100 * 512 + 100);
    CHECK(cut_at(3, Severity::caution).start == 1100 * 512);
  }
}

TEST_CASE("MBR: endless chains are cut") {
  // Every record leads one sector on and holds nothing.
  fixtures::MbrLabel label;
  label.slices[0] = {0x0F, 100, 2000, false};
  Bytes image(2100 * 512);
  fixtures::write_mbr(image, label);
  for (std::uint32_t i = 0; i < 1500; ++i) {
    fixtures::write_mbr_entry(image, 100 + i, 1, {0x05, i + 1, 1, false}, 101 + i, label);
  }
  const Claim claim = only_claim(image);
  CHECK(claim.slices.size() == 1);
  CHECK(claim.records.size() <= 102);
  CHECK(count_of(claim, FindingCode::slice_order) == 1);
}

TEST_CASE("MBR: entries three and four of an extended record") {
  Bytes image(2000 * 512);
  const fixtures::MbrLabel label = chained(1);
  fixtures::write_mbr(image, label);
  fixtures::write_mbr_entry(image, 1000, 2, {0x82, 200, 50, false}, 1200, label);
  fixtures::write_mbr_entry(image, 1000, 3, {0x83, 900, 500, false}, 1900,
                            label);  // leaves it: junk
  CHECK(slices_in_blocks(only_claim(image)) == "1 63 900; 2 1000 1000; 5 1001 99; 6 1200 50");
}

TEST_CASE("MBR: a logical slice that leaves its extended slice is told") {
  Bytes image(2000 * 512);
  fixtures::MbrLabel label = chained(1);
  label.logicals[0].slice.sectors = 5000;
  fixtures::write_mbr(image, label);
  const Claim claim = only_claim(image);
  CHECK(slice_of(claim, "5")->bytes == 5000 * 512);
  REQUIRE(count_of(claim, FindingCode::label_field) == 1);
  CHECK(finding_of(claim, FindingCode::label_field)->start == 1000 * 512 + 446);
}

TEST_CASE("MBR: slices that begin at sector 0") {
  fixtures::MbrLabel label;
  label.slices[0] = {0x17, 0, 100, true};
  label.slices[1] = {0xEF, 40, 10, false};
  Bytes image(100 * 512);
  fixtures::write_mbr(image, label);
  SECTION("on a disc that starts from a disk too") {
    const std::string volume =
        "\x01"
        "CD001";
    for (std::size_t i = 0; i < volume.size(); ++i) {
      image[32768 + i] = static_cast<std::byte>(volume[i]);
    }
    const Claim claim = only_claim(image);
    CHECK(messages_of(claim).empty());
    CHECK(slices_in_blocks(claim) == "1 0 100; 2 40 10");
    // A first entry without a type is usual there as well.
    image[446 + 4] = std::byte{0};
    CHECK(slices_in_blocks(only_claim(image)) == "1 0 100; 2 40 10");
  }
  SECTION("anywhere else it is told") {
    const Claim claim = only_claim(image);
    CHECK(count_of(claim, FindingCode::label_field) == 1);
  }
  SECTION("a CHRP disc without a volume at its start") {
    label.slices = {};
    label.slices[0] = {0x96, 0, 100, true};
    std::fill(image.begin(), image.end(), std::byte{0});
    fixtures::write_mbr(image, label);
    CHECK(messages_of(only_claim(image)).empty());
  }
}

TEST_CASE("MBR: a protective entry is no place for data") {
  fixtures::MbrLabel label;
  label.slices[0] = {0xEE, 1, 0xFFFFFFFE, false};
  Bytes image(512);
  fixtures::write_mbr(image, label);
  const Claim claim = only_claim(image);
  CHECK(claim.slices[0].role == SliceRole::metadata);
  CHECK(messages_of(claim).empty());
}

TEST_CASE("MBR: entries that cannot be right") {
  fixtures::MbrLabel label;
  label.slices[0] = {0x83, 63, 1000, true};
  label.slices[1] = {0x83, 0xFFFFFFF0, 0x1000, true};
  Bytes image(512);
  fixtures::write_mbr(image, label);
  const Claim claim = only_claim(image);
  CHECK(claim.slices.size() == 2);
  CHECK(count_of(claim, FindingCode::label_field) == 2);  // past 32 bits, and two active
}

TEST_CASE("MBR: what is none") {
  const auto refused = [](const Bytes& bytes) { return claims_of(mbr_format, bytes).empty(); };
  Bytes empty(512);
  empty[510] = std::byte{0x55};
  empty[511] = std::byte{0xAA};
  CHECK(refused(empty));
  CHECK(refused(Bytes(512)));

  fixtures::MbrLabel label;
  label.slices[0] = {0x83, 63, 1000, true};
  Bytes image(2000 * 512);
  fixtures::write_mbr(image, label);
  REQUIRE_FALSE(refused(image));
  SECTION("a flag that is neither 00 nor 80") {
    image[446 + 48] = std::byte{0x01};
    CHECK(refused(image));
  }
  SECTION("an AIX volume") {
    put_number(image, 0, 0xC9C2D4C1, 4, ByteOrder::big);
    CHECK(refused(image));
  }
  SECTION("text between the signature") {
    std::fill_n(image.begin() + 446, 64, std::byte{'n'});
    CHECK(refused(image));
  }
  // A FAT boot sector's parameter block (ECMA-107 clause 9): jump, name, 512-byte sectors, ...
  const Bytes block = hex_text("eb 3c 90 \"MSDOS5.0\" 00 02 04 01 00 02 00 02 a0 0f f8 10 00",
                               "FAT parameter block");
  SECTION("a FAT boot sector with something like a table") {
    std::copy(block.begin(), block.end(), image.begin());
    CHECK_FALSE(refused(image));  // a whole table beside the block: a loader's copy
    put_number(image, 446 + 8, 0, 4, ByteOrder::little);
    CHECK(refused(image));  // formatters give such a sector one entry from 0 on
    put_number(image, 446 + 8, 63, 4, ByteOrder::little);
    put_number(image, 446 + 12, 5000, 4, ByteOrder::little);
    CHECK(refused(image));
  }
  SECTION("an NTFS boot sector") {
    const Bytes ntfs = hex_text("eb 52 90 \"NTFS    \"", "NTFS boot sector");
    std::copy(ntfs.begin(), ntfs.end(), image.begin());
    put_number(image, 446 + 4, 0x6B, 1, ByteOrder::little);
    CHECK(refused(image));
  }
}
