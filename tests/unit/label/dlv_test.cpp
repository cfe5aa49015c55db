// dlV label. The bytes are typed from the worked example of the format notes.
#include <catch2/catch.hpp>

#include "claims.h"
#include "writers/dlv_writer.h"

using namespace platter;
using namespace platter::test;
using label::dlv_format;

namespace {

Claim only_claim(const Bytes& bytes) {
  const auto claims = claims_of(dlv_format, bytes);
  REQUIRE(claims.size() == 1);
  return claims.front();
}

fixtures::DlvLabel small_disk(unsigned version) {
  fixtures::DlvLabel label;
  label.version = version;
  label.tracks = 4;
  label.sectors_per_track = 16;
  label.cylinders = 100;
  label.sectors = 6400;
  label.slices[0] = {0, 4000, 8192, 1024, "4.3BSD", "/", true};
  label.slices[1] = {4000, 2240, 8192, 1024, "swap", "", false};
  return label;
}

}  // namespace

TEST_CASE("dlV label: the worked example") {
  const auto [file, version] = GENERATE(table<std::string, std::string>(
      {{"label/dlv/version3.hex", "version 3"}, {"label/dlv/version2.hex", "version 2"}}));
  const Claim claim = only_claim(hex_fixture(file));
  CHECK(claim.strength == Strength::proven);
  CHECK(messages_of(claim).empty());
  CHECK(claim.bytes == 405008ULL * 1024);
  CHECK(claim.facts.words("byte_order") == "big");
  CHECK(claim.facts.words("checksum") == "good");
  CHECK(claim.facts.find("checksum_variant") == nullptr);
  CHECK(claim.facts.words("version") == version);
  CHECK(claim.facts.words("name") == "Disk");
  CHECK(claim.facts.words("drive_name") == "DEMO-512");
  CHECK(claim.facts.words("drive_type") == "fixed_rw_scsi");
  CHECK(claim.facts.number("cylinders") == 1125);
  CHECK(claim.facts.number("heads") == 9);
  CHECK(claim.facts.number("sectors_per_track") == 40);
  CHECK(claim.facts.number("sector_bytes") == 1024);
  CHECK(claim.facts.number("front_porch_bytes") == 163840);
  CHECK(claim.facts.words("boot_blocks") == "32 96");
  CHECK(claim.facts.number("boot_start_1") == 32768);
  CHECK(claim.facts.number("boot_start_2") == 98304);
  CHECK(claim.facts.words("root_slice") == "a");
  REQUIRE(claim.slices.size() == 1);
  CHECK(claim.slices[0].id == "a");
  CHECK(claim.slices[0].start == 163840);
  CHECK(claim.slices[0].bytes == 414564352);
  CHECK(claim.slices[0].facts.words("type_name") == "4.3BSD");
  CHECK(claim.slices[0].facts.number("block_bytes") == 8192);
}

TEST_CASE("dlV label: four copies, whatever the device's blocks") {
  const unsigned version = GENERATE(1U, 2U, 3U);
  const std::uint32_t block = GENERATE(512U, 1024U, 2048U);
  fixtures::DlvLabel label = small_disk(version);
  label.device_block = block;
  Bytes image;
  fixtures::write_dlv_label(image, label);
  const Claim claim = only_claim(image);
  CHECK(messages_of(claim).empty());
  CHECK(claim.facts.number("good_copies") == 4);
  CHECK(slice_of(claim, "b")->role == SliceRole::swap);
  // Copy n stands at block n * ceil(7240 / block): places typed from the format notes.
  const std::uint64_t second = block == 512 ? 7680 : 8192;
  CHECK(image[second] == image[0]);
  CHECK(image[3 * second + 3] == image[3]);

  SECTION("the first copy spoiled") {
    image[300] ^= std::byte{0xFF};
    const Claim other = only_claim(image);
    CHECK(other.strength == Strength::proven);
    CHECK(other.facts.number("label_start") == second);
    CHECK(other.facts.number("device_block_bytes") == block);
    CHECK(finding_of(other, FindingCode::label_checksum)->start == (version == 3 ? 558U : 7238U));
    CHECK(finding_of(other, FindingCode::label_backup_differs)->start == second);
    CHECK(slices_in_blocks(other) == slices_in_blocks(claim));
    CHECK(other.start == 0);
  }
  SECTION("the first copy gone") {
    std::fill_n(image.begin(), 512, std::byte{0});
    const Claim other = only_claim(image);
    CHECK(other.facts.number("label_start") == second);
    CHECK(count_of(other, FindingCode::label_backup_differs) == 1);
    CHECK(count_of(other, FindingCode::label_checksum) == 0);
  }
  SECTION("start-up code in block 0 belongs there") {
    std::fill_n(image.begin(), 512, std::byte{0});
    image[510] = std::byte{0x55};
    image[511] = std::byte{0xAA};
    CHECK(messages_of(only_claim(image)).empty());
  }
  SECTION("a copy that differs") {
    image[2 * second + 12] = std::byte{'X'};
    fixtures::seal_dlv_label(image, 2 * second);
    const Claim other = only_claim(image);
    const Finding* finding = finding_of(other, FindingCode::label_backup_differs);
    REQUIRE(finding != nullptr);
    CHECK(finding->severity == Severity::caution);
    CHECK(finding->start == 2 * second);
    CHECK(other.facts.words("name") == "Corvid");
  }
  SECTION("all of them spoiled") {
    for (std::size_t copy = 0; copy < 4; ++copy)
      image[copy * second + 300] ^= std::byte{0xFF};
    const Claim other = only_claim(image);
    CHECK(other.strength == Strength::sane);
    CHECK(other.facts.words("checksum") == "bad");
    CHECK(count_of(other, FindingCode::label_checksum) == 4);
    CHECK(other.slices.size() == 2);
  }
}

TEST_CASE("dlV label: other ways of summing") {
  // A copy at block 15: with its block number left in, the worked example sums to 0xFD6F.
  Bytes image(15 * 512);
  const Bytes first = hex_fixture("label/dlv/version3.hex");
  image.insert(image.end(), first.begin(), first.end());
  put_number(image, 15 * 512 + 4, 15, 4, ByteOrder::big);
  CHECK(only_claim(image).facts.find("checksum_variant") == nullptr);
  put_number(image, 15 * 512 + 558, 0xFD6F, 2, ByteOrder::big);
  const Claim claim = only_claim(image);
  CHECK(claim.facts.words("checksum") == "good");
  CHECK(claim.facts.words("checksum_variant") == "block number included");
  put_number(image, 15 * 512 + 558, 0xFD61, 2, ByteOrder::big);
  CHECK(only_claim(image).facts.words("checksum") == "bad");
}

TEST_CASE("dlV label: in a slice of another label positions stay absolute") {
  fixtures::DlvLabel label = small_disk(3);
  label.area_start = 63 * 512;
  label.first_copy = 1;
  label.copies = 3;
  label.sector_bytes = 512;
  label.front_porch = 63 + 320;
  label.boot_blocks = {63 + 64, -1};
  Bytes image;
  fixtures::write_dlv_label(image, label);
  image[63 * 512 + 510] = std::byte{0x55};
  image[63 * 512 + 511] = std::byte{0xAA};
  image.resize(400 * 512);
  const View view = memory_view(image);
  Slice slice;
  slice.start = 63 * 512;
  slice.bytes = 337 * 512;
  slice.type = 0xA7;
  const auto claims = claims_inside(dlv_format, view, slice, "mbr");
  REQUIRE(claims.size() == 1);
  CHECK(messages_of(claims[0]).empty());
  CHECK(claims[0].start == 63 * 512);
  CHECK(claims[0].bytes == 0);
  CHECK(slice_of(claims[0], "a")->start == 383 * 512);
  CHECK(claims[0].facts.words("boot_blocks") == "127");
  CHECK(claims_inside(dlv_format, view, slice, "dlv").empty());
}

TEST_CASE("dlV label: fields that cannot be right") {
  fixtures::DlvLabel label = small_disk(3);
  label.copies = 1;
  Bytes image;
  SECTION("boot programs outside the porch") {
    label.boot_blocks = {160, 0};
    fixtures::write_dlv_label(image, label);
    const Claim claim = only_claim(image);
    REQUIRE(count_of(claim, FindingCode::label_field) == 2);
    CHECK(claim.findings[0].start == 124);
    CHECK(claim.findings[1].start == 128);
  }
  SECTION("no boot program") {
    label.boot_blocks = {-1, -1};
    fixtures::write_dlv_label(image, label);
    const Claim claim = only_claim(image);
    CHECK(claim.findings.empty());
    CHECK(claim.facts.words("boot_blocks") == "none");
  }
  SECTION("sector size 0") {
    label.sector_bytes = 0;
    fixtures::write_dlv_label(image, label);
    const Claim claim = only_claim(image);
    REQUIRE(count_of(claim, FindingCode::label_field) == 1);
    CHECK(claim.findings[0].start == 92);
    CHECK(slice_of(claim, "a")->start == 160 * 512);
  }
  SECTION("a porch below 0 and a slice before it") {
    label.front_porch = -5;
    label.boot_blocks = {-1, -1};
    label.slices[0].base = -2;
    fixtures::write_dlv_label(image, label);
    const Claim claim = only_claim(image);
    CHECK(count_of(claim, FindingCode::label_field) == 2);
    CHECK(slice_of(claim, "a")->start == 0);
  }
  SECTION("a block number that is not its own") {
    fixtures::write_dlv_label(image, label);
    put_number(image, 4, 7, 4, ByteOrder::big);
    const Claim claim = only_claim(image);
    CHECK(claim.strength == Strength::proven);  // the checksum leaves that field out
    REQUIRE(count_of(claim, FindingCode::label_field) == 1);
    CHECK(claim.findings[0].start == 4);
  }
  SECTION("no size: the geometry tells it") {
    label.sectors = 0;
    fixtures::write_dlv_label(image, label);
    CHECK(only_claim(image).bytes == 6400ULL * 1024);
  }
}

TEST_CASE("dlV label: what is none") {
  CHECK(claims_of(dlv_format, Bytes(32768)).empty());
  Bytes letters(560);
  put_number(letters, 0, 0x646C5633, 4, ByteOrder::big);
  CHECK(claims_of(dlv_format, letters).empty());
  Bytes cut = hex_fixture("label/dlv/version3.hex");
  cut.resize(557);
  CHECK(claims_of(dlv_format, cut).empty());
}
