// Amiga rigid disk blocks. The worked example's bytes and sums are typed; longer chains come from
// the writer.
#include <catch2/catch.hpp>

#include "more_labels.h"
#include "writers/amiga_writer.h"

using namespace platter;
using namespace platter::test;
using label::amiga_format;

namespace {

fixtures::AmigaLabel small_disk() {
  fixtures::AmigaLabel label;
  label.cylinders = 100;
  label.heads = 4;
  label.sectors_per_track = 16;
  label.slices = {{"DH0", 2, 40, 0x444F5301, true, 5},
                  {"swap", 41, 50, 0x4E425301},
                  {"root", 51, 99, 0x4E425207}};
  return label;
}

Bytes small_image() {
  Bytes image;
  fixtures::write_amiga_label(image, small_disk());
  return image;
}

}  // namespace

TEST_CASE("Amiga label: the worked example") {
  const Claim claim = one_claim(amiga_format, hex_fixture("label/amiga/good.hex"));
  INFO(messages_of(claim));
  CHECK(claim.strength == Strength::proven);
  CHECK(claim.findings.empty());
  CHECK(claim.bytes == 1000ULL * 8 * 32 * 512);
  CHECK(claim.facts.words("checksum") == "good");
  CHECK(claim.facts.number("cylinders") == 1000);
  CHECK(claim.facts.number("heads") == 8);
  CHECK(claim.facts.number("sectors_per_track") == 32);
  CHECK(slices_in_blocks(claim) == "1 512 102400");
  const Slice& slice = claim.slices[0];
  CHECK(slice.facts.words("name") == "DH0");
  CHECK(slice.type == 0x444F5301);
  CHECK(slice.facts.words("type_name") == "Amiga DOS FFS (DOS\\1)");
  CHECK(*slice.facts.find("bootable") == FactValue(true));
}

TEST_CASE("Amiga label: a chain, and code for filesystems") {
  fixtures::AmigaLabel label = small_disk();
  label.filesystems = {{0x444F5303, 40U << 16U | 1U}};
  Bytes image;
  fixtures::write_amiga_label(image, label);
  const Claim claim = one_claim(amiga_format, image);
  INFO(messages_of(claim));
  CHECK(claim.findings.empty());
  CHECK(slices_in_blocks(claim) == "1 128 2496; 2 2624 640; 3 3264 3136");
  CHECK(slice_of(claim, "2")->role == SliceRole::swap);
  CHECK(slice_of(claim, "3")->facts.words("type_name") == "NetBSD root (NBR\\7)");
  CHECK(claim.facts.words("filesystem_code") == "Amiga DOS FFS, international (DOS\\3) 40.1");
}

TEST_CASE("Amiga label: anywhere in the first sixteen blocks, and larger blocks") {
  fixtures::AmigaLabel label = small_disk();
  label.block = 14;
  label.block_bytes = 1024;
  Bytes image;
  fixtures::write_amiga_label(image, label);
  const Claim claim = one_claim(amiga_format, image);
  CHECK(claim.findings.empty());
  CHECK(claim.facts.number("label_start") == 14 * 512);
  CHECK(claim.slices[0].start == 2 * 64 * 1024);
  CHECK(claim.slices[0].bytes == 39 * 64 * 1024);
  image.insert(image.begin(), 1024, std::byte{0});  // now in block 16
  CHECK(claims_of(amiga_format, image).empty());
}

TEST_CASE("Amiga label: checksums") {
  Bytes image = small_image();
  SECTION("of the disk block") {
    image[67] ^= std::byte{1};
    const Claim claim = one_claim(amiga_format, image);
    REQUIRE(claim.findings.size() == 1);
    CHECK(claim.findings[0].code == FindingCode::label_checksum);
    CHECK(claim.findings[0].start == 8);
    CHECK(claim.strength == Strength::sane);
    CHECK(claim.slices.size() == 3);
  }
  SECTION("of a slice block") {
    image[1024 + 45] ^= std::byte{1};
    const Claim claim = one_claim(amiga_format, image);
    REQUIRE(claim.findings.size() == 1);
    CHECK(claim.findings[0].start == 1024 + 8);
    CHECK(claim.slices.size() == 3);
  }
  SECTION("but for the word that other systems overwrite") {
    put_number(image, 220, 0xDEADBEEF, 4, ByteOrder::big);
    const Claim claim = one_claim(amiga_format, image);
    REQUIRE(claim.findings.size() == 1);
    CHECK(claim.findings[0].severity == Severity::note);
    CHECK(claim.facts.words("checksum") == "good");
  }
  SECTION("over an absurd number of words") {
    for (const std::uint64_t words : {0ULL, 1ULL, 129ULL, 0xFFFFFFFFULL}) {
      Bytes other = image;
      put_number(other, 4, words, 4, ByteOrder::big);
      const Claim claim = one_claim(amiga_format, other);
      CHECK(claim.facts.words("checksum") == "bad");
      CHECK(claim.findings.size() == 1);
    }
  }
}

TEST_CASE("Amiga label: chains that lead astray") {
  Bytes image = small_image();
  const auto link = [&](std::size_t block, std::uint64_t next) {
    put_number(image, block * 512 + 16, next, 4, ByteOrder::big);
    fixtures::seal_amiga_block(image, block * 512);
  };
  const auto slices_left = [&](Severity severity) {
    const Claim claim = one_claim(amiga_format, image);
    INFO(messages_of(claim));
    REQUIRE(claim.findings.size() == 1);
    CHECK(claim.findings[0].code == FindingCode::slice_order);
    CHECK(claim.findings[0].severity == severity);
    return claim.slices.size();
  };
  SECTION("in a loop") {
    link(3, 1);
    CHECK(slices_left(Severity::fault) == 3);
  }
  SECTION("to itself") {
    link(2, 2);
    CHECK(slices_left(Severity::fault) == 2);
  }
  SECTION("to another kind of block") {
    link(1, 0);
    CHECK(slices_left(Severity::fault) == 1);
  }
  SECTION("past the end of the image") {
    link(1, 0x00FFFFFF);
    CHECK(slices_left(Severity::caution) == 1);
    link(1, 0xFFFFFFFE);
    CHECK(slices_left(Severity::caution) == 1);
  }
  SECTION("without end") {
    Bytes longer((1 + 70) * 512);
    std::copy(image.begin(), image.begin() + 1024, longer.begin());
    image = longer;
    for (std::size_t block = 1; block <= 70; ++block) {
      std::copy_n(longer.begin() + 512, 512,
                  image.begin() + static_cast<std::ptrdiff_t>(block * 512));
      link(block, block + 1);
    }
    CHECK(slices_left(Severity::fault) == 64);
  }
  SECTION("cut short") {
    image.resize(1024);
    CHECK(slices_left(Severity::caution) == 1);
  }
}

TEST_CASE("Amiga label: slices that cannot be") {
  Bytes image = small_image();
  const auto with = [&](std::size_t at, std::uint64_t value) {
    Bytes other = image;
    put_number(other, 512 + at, value, 4, ByteOrder::big);
    fixtures::seal_amiga_block(other, 512);
    return one_claim(amiga_format, other);
  };
  for (const auto& [at, value] :
       {std::pair<std::size_t, std::uint64_t>{140, 0}, {148, 0}, {168, 1}, {128, 9}}) {
    const Claim claim = with(at, value);
    INFO(at << " " << messages_of(claim));
    CHECK(claim.findings.size() == 1);
    CHECK(claim.findings[0].severity == Severity::fault);
    CHECK(claim.slices.size() == 2);
  }
  SECTION("a table without the type") {
    const Claim claim = with(128, 11);
    CHECK(claim.findings.empty());
    CHECK_FALSE(claim.slices[0].type.has_value());
  }
  SECTION("outside the disk's cylinders") {
    const Claim claim = with(168, 5000);
    CHECK(claim.findings.size() == 1);
    CHECK(claim.findings[0].severity == Severity::caution);
    CHECK(claim.slices.size() == 3);
  }
  SECTION("a geometry of its own") {
    const Claim claim = with(140, 8);
    REQUIRE(claim.findings.size() == 1);
    CHECK(claim.findings[0].code == FindingCode::geometry_differs);
  }
  SECTION("every factor at its largest") {
    for (const std::size_t at : {140U, 148U, 164U, 168U}) {
      put_number(image, 512 + at, 0xFFFFFFFF, 4, ByteOrder::big);
    }
    fixtures::seal_amiga_block(image, 512);
    const Claim claim = one_claim(amiga_format, image);
    CHECK(claim.slices[0].start == kLargest);
    CHECK(claim.slices[0].bytes == kLargest);
  }
}

TEST_CASE("Amiga label: what is none") {
  CHECK(claims_of(amiga_format, Bytes(16384)).empty());
  Bytes magic_only(16384, std::byte{0x77});
  for (std::size_t at = 0; at < magic_only.size(); at += 512) {
    put_number(magic_only, at, 0x5244534B, 4, ByteOrder::big);
  }
  CHECK(claims_of(amiga_format, magic_only).empty());
  Bytes zeros(16384);
  put_number(zeros, 0, 0x5244534B, 4, ByteOrder::big);
  CHECK(claims_of(amiga_format, zeros).empty());
}
