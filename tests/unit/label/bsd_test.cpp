// 4.4BSD disk label. The bytes are typed from the worked example of the format notes.
#include <catch2/catch.hpp>

#include "claims.h"
#include "writers/bsd_writer.h"
#include "writers/mbr_writer.h"

using namespace platter;
using namespace platter::test;
using label::bsd_format;

namespace {

Claim only_claim(const Bytes& bytes) {
  const auto claims = claims_of(bsd_format, bytes);
  REQUIRE(claims.size() == 1);
  return claims.front();
}

fixtures::BsdLabel small_label(ByteOrder order) {
  fixtures::BsdLabel label;
  label.order = order;
  label.sectors_per_track = 16;
  label.tracks = 4;
  label.cylinders = 100;
  label.slices = {{2048, 64, 7, 1024, 8, 16}, {1024, 2112, 1}, {6400, 0, 0}};
  return label;
}

Slice mbr_slice(std::uint64_t start_block, std::uint64_t blocks, std::uint64_t type) {
  Slice slice;
  slice.id = "1";
  slice.start = start_block * 512;
  slice.bytes = blocks * 512;
  slice.type = type;
  return slice;
}

}  // namespace

TEST_CASE("BSD label: the worked example in both byte orders") {
  const auto [file, order, place] = GENERATE(table<std::string, std::string, std::uint64_t>(
      {{"label/bsd/little.hex", "little", 512}, {"label/bsd/big.hex", "big", 64}}));
  const Claim claim = only_claim(hex_fixture(file));
  CHECK(claim.strength == Strength::proven);
  CHECK(messages_of(claim).empty());
  CHECK(claim.start == 0);
  CHECK(claim.bytes == 204800ULL * 512);
  CHECK(claim.facts.words("byte_order") == order);
  CHECK(claim.facts.words("checksum") == "good");
  CHECK(claim.facts.words("name") == "fictitious");
  CHECK(claim.facts.words("drive_type") == "SCSI");
  CHECK(claim.facts.number("label_start") == place);
  CHECK(claim.facts.number("cylinders") == 100);
  CHECK(claim.facts.number("heads") == 64);
  CHECK(claim.facts.number("sectors_per_track") == 32);
  CHECK(claim.facts.number("sector_bytes") == 512);
  CHECK(slices_in_blocks(claim) == "a 0 131072; b 131072 73728; c 0 204800");
  CHECK(slice_of(claim, "a")->type == 7);
  CHECK(slice_of(claim, "a")->facts.words("type_name") == "4.2BSD");
  CHECK(slice_of(claim, "a")->facts.number("block_bytes") == 8192);
  CHECK(slice_of(claim, "b")->role == SliceRole::swap);
  CHECK(slice_of(claim, "c")->role == SliceRole::whole_disk);
}

TEST_CASE("BSD label: found at every usual place and by searching") {
  const ByteOrder order = GENERATE(ByteOrder::little, ByteOrder::big);
  const std::size_t place = GENERATE(0U, 64U, 128U, 512U, 1024U, 2052U, 7676U, 8188U);
  Bytes image(16384);
  fixtures::write_bsd_label(image, small_label(order), place);
  const Claim claim = only_claim(image);
  CHECK(claim.facts.number("label_start") == place);
  CHECK(claim.slices.size() == 3);
}

TEST_CASE("BSD label: not searched for where no system looks") {
  Bytes image(16384);
  fixtures::write_bsd_label(image, small_label(ByteOrder::big), 8200);
  CHECK(claims_of(bsd_format, image).empty());
  Bytes odd(16384);
  fixtures::write_bsd_label(odd, small_label(ByteOrder::big), 514);
  CHECK(claims_of(bsd_format, odd).empty());
}

TEST_CASE("BSD label: several labels are several claims, the same one again is not") {
  Bytes image(16384);
  fixtures::write_bsd_label(image, small_label(ByteOrder::big), 64);
  fixtures::write_bsd_label(image, small_label(ByteOrder::big), 512);
  CHECK(claims_of(bsd_format, image).size() == 1);
  fixtures::write_bsd_label(image, small_label(ByteOrder::little), 1024);
  const auto claims = claims_of(bsd_format, image);
  REQUIRE(claims.size() == 2);
  CHECK(claims[0].start != claims[1].start);
  CHECK(claims[0].start + claims[0].bytes == claims[1].start + claims[1].bytes);
}

TEST_CASE("BSD label: a wrong checksum is told with both values") {
  Bytes image = hex_fixture("label/bsd/little.hex");
  image[512 + 44] ^= std::byte{0x01};  // lowest bit of the sectors per track
  const Claim claim = only_claim(image);
  CHECK(claim.strength == Strength::sane);
  const Finding* finding = finding_of(claim, FindingCode::label_checksum);
  REQUIRE(finding != nullptr);
  CHECK(finding->severity == Severity::fault);
  CHECK(finding->start == 512 + 136);
  CHECK(finding->message.find("0x577C") != std::string::npos);
  CHECK(finding->message.find("0x577D") != std::string::npos);
}

TEST_CASE("BSD label: a sum over sixteen entries is accepted") {
  fixtures::BsdLabel label = small_label(ByteOrder::little);
  label.slices.resize(16);
  label.slices[9] = {512, 4096, 7, 512, 8, 16};
  Bytes image(1024);
  fixtures::write_bsd_label(image, label, 512);
  put_number(image, 512 + 138, 3, 2, ByteOrder::little);  // only three count
  image[512 + 136] ^= std::byte{16 ^ 3};                  // and the checksum covers that
  const Claim claim = only_claim(image);
  CHECK(claim.strength == Strength::proven);
  CHECK(claim.facts.words("checksum_extent") == "16 entries");
  CHECK(claim.slices.size() == 3);
}

TEST_CASE("BSD label: one label sector counts for everything") {
  fixtures::BsdLabel label = small_label(ByteOrder::big);
  label.sector_bytes = 2048;
  Bytes image;
  fixtures::write_bsd_label(image, label, 64);
  const Claim claim = only_claim(image);
  CHECK(claim.bytes == 6400ULL * 2048);
  CHECK(slice_of(claim, "a")->start == 64 * 2048);
  CHECK(slice_of(claim, "a")->bytes == 2048 * 2048);
}

TEST_CASE("BSD label: roles of the raw slots") {
  fixtures::BsdLabel label = small_label(ByteOrder::little);
  SECTION("d spans the disk where c is the system's part") {
    label.slices = {{2048, 64, 7, 1024, 8, 16}, {1024, 2112, 1}, {5000, 64, 0}, {6400, 0, 0}};
  }
  SECTION("a later slot without a type spans it") {
    label.slices = {
        {2048, 64, 7, 1024, 8, 16}, {1024, 2112, 1}, {5000, 64, 0}, {100, 6000, 7}, {6400, 0, 0}};
  }
  SECTION("c with a type that spans it") {
    label.slices = {{2048, 64, 7}, {1024, 2112, 1}, {6400, 0, 7}};
  }
  Bytes image;
  fixtures::write_bsd_label(image, label, 512);
  const Claim claim = only_claim(image);
  CHECK(messages_of(claim).empty());
  CHECK(slice_of(claim, "c")->role == SliceRole::whole_disk);
  CHECK(claim.slices.back().role == SliceRole::whole_disk);
  CHECK(slice_of(claim, "a")->role == SliceRole::data);
}

TEST_CASE("BSD label: inside an MBR slice") {
  // The slice starts at block 63; what the label's positions count from depends on the system.
  Bytes image(63 * 512);
  fixtures::BsdLabel label = small_label(ByteOrder::little);
  const auto claim_with = [&](std::uint64_t type) {
    fixtures::write_bsd_label(image, label, 63 * 512 + 512);
    image.resize(64 * 512 + 8192 + 512);
    const View view = memory_view(image);
    const auto claims = claims_inside(bsd_format, view, mbr_slice(63, 6400, type), "mbr");
    REQUIRE(claims.size() == 1);
    return claims.front();
  };
  SECTION("FreeBSD, c at 0: relative") {
    const Claim claim = claim_with(0xA5);
    CHECK(slice_of(claim, "a")->start == (63 + 64) * 512);
    CHECK(slice_of(claim, "c")->start == 63 * 512);
    CHECK(slice_of(claim, "c")->role == SliceRole::whole_disk);
    CHECK(claim.bytes == 6400 * 512);
  }
  SECTION("FreeBSD, c at the slice's start: absolute") {
    label.slices = {{2048, 127, 7}, {1024, 2175, 1}, {6400, 63, 0}};
    const Claim claim = claim_with(0xA5);
    CHECK(slice_of(claim, "a")->start == 127 * 512);
    CHECK(slice_of(claim, "c")->role == SliceRole::whole_disk);
    CHECK(claim.bytes == 0);
    CHECK(messages_of(claim).empty());
  }
  SECTION("NetBSD: absolute, whatever c says") {
    const Claim claim = claim_with(0xA9);
    CHECK(slice_of(claim, "a")->start == 64 * 512);
  }
}

TEST_CASE("BSD label: what was seen from outside is not told again") {
  Bytes image(16384);
  fixtures::write_bsd_label(image, small_label(ByteOrder::big), 512);
  const View view = memory_view(image);
  CHECK(claims_inside(bsd_format, view, mbr_slice(0, 32, 0xA5), "mbr").empty());

  // An MBR slice inside the boot area: the label in it belongs to the slice.
  Bytes with_mbr(16384);
  fixtures::MbrLabel mbr;
  mbr.slices[0] = {0xA9, 1, 31, true};
  fixtures::write_mbr(with_mbr, mbr);
  fixtures::write_bsd_label(with_mbr, small_label(ByteOrder::little), 1024);
  const View whole = memory_view(with_mbr);
  CHECK(claims_of(bsd_format, whole).empty());
  CHECK(claims_inside(bsd_format, whole, mbr_slice(1, 31, 0xA9), "mbr").size() == 1);
  // The slices of a BSD label hold no other one.
  CHECK(claims_inside(bsd_format, whole, mbr_slice(1, 31, 0xA9), "bsd").empty());
}

TEST_CASE("BSD label: fields that cannot be right") {
  fixtures::BsdLabel label = small_label(ByteOrder::big);
  Bytes image;
  SECTION("sector size 0") {
    label.sector_bytes = 0;
    fixtures::write_bsd_label(image, label, 64);
    const Claim claim = only_claim(image);
    CHECK(slice_of(claim, "a")->start == 64 * 512);
    REQUIRE(count_of(claim, FindingCode::label_field) == 1);
    CHECK(claim.findings[0].start == 64 + 40);
  }
  SECTION("a slice past the unit") {
    label.slices[1].sectors = 0xFFFFFFFF;
    fixtures::write_bsd_label(image, label, 64);
    const Claim claim = only_claim(image);
    REQUIRE(count_of(claim, FindingCode::label_field) == 1);
    CHECK(claim.findings[0].start == 64 + 148 + 16);
  }
  SECTION("more slices than fit") {
    fixtures::write_bsd_label(image, label, 64);
    image.resize(2048);
    put_number(image, 64 + 138, 40, 2, ByteOrder::big);
    const Claim claim = only_claim(image);
    CHECK(claim.facts.words("checksum") == "bad");
    CHECK(count_of(claim, FindingCode::label_field) == 1);
    put_number(image, 64 + 138, 0xFFFF, 2, ByteOrder::big);
    CHECK(claims_of(bsd_format, image).empty());  // no count, no checksum: no label
  }
  SECTION("cut short inside the entries") {
    fixtures::write_bsd_label(image, label, 64);
    image.resize(64 + 148 + 20);
    const Claim claim = only_claim(image);
    CHECK(claim.slices.size() == 1);
    CHECK(claim.facts.words("checksum") == "bad");
    CHECK(count_of(claim, FindingCode::label_field) == 1);
  }
}

TEST_CASE("BSD label: what is none") {
  CHECK(claims_of(bsd_format, Bytes(8192)).empty());
  Bytes one_magic(8192);
  put_number(one_magic, 512, 0x82564557, 4, ByteOrder::big);
  CHECK(claims_of(bsd_format, one_magic).empty());
  Bytes mixed = hex_fixture("label/bsd/little.hex");
  put_number(mixed, 512 + 132, 0x82564557, 4, ByteOrder::big);
  CHECK(claims_of(bsd_format, mixed).empty());
  Bytes cut = hex_fixture("label/bsd/little.hex");
  cut.resize(512 + 147);
  CHECK(claims_of(bsd_format, cut).empty());
}
