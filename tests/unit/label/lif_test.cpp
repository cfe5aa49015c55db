// LIF volumes. The worked example's bytes are typed; the m68k volume is invented.
#include <catch2/catch.hpp>

#include "more_labels.h"
#include "writers/lif_writer.h"

using namespace platter;
using namespace platter::test;
using label::lif_format;

TEST_CASE("LIF: the worked example") {
  const Claim claim = one_claim(lif_format, hex_fixture("label/lif/good.hex"));
  INFO(messages_of(claim));
  CHECK(claim.strength == Strength::proven);
  CHECK(claim.findings.empty());
  CHECK(claim.facts.words("byte_order") == "big");
  CHECK(claim.facts.words("name") == "BOOT44");
  CHECK(claim.facts.number("ipl_start") == 8192);
  CHECK(claim.facts.number("ipl_bytes") == 65536);
  CHECK(claim.facts.number("ipl_entry") == 64);
  CHECK(claim.facts.words("ipl_checksum") == "good");
  REQUIRE(claim.slices.size() == 2);
  const Slice* loader = slice_of(claim, "ISL");
  REQUIRE(loader != nullptr);
  CHECK(loader->start == 8192);
  CHECK(loader->bytes == 65536);
  CHECK(loader->role == SliceRole::file);
  CHECK(loader->type == 0xCE00);
  CHECK(loader->facts.words("type_name") == "initial system loader");
  // 1996-01-01 is day 9496 of the count from 1970-01-01.
  const FactValue* created = loader->facts.find("created");
  REQUIRE(created != nullptr);
  CHECK(std::get<Timestamp>(*created).seconds == 9496LL * 86400);
  CHECK(slice_of(claim, "AUTO")->start == 288 * 256);
}

TEST_CASE("LIF: a volume for m68k has no IPL") {
  const Claim claim = one_claim(lif_format, hex_fixture("label/lif/m68k.hex"));
  CHECK(claim.findings.empty());
  CHECK(claim.strength == Strength::sane);
  CHECK(claim.facts.find("ipl_start") == nullptr);
  REQUIRE(claim.slices.size() == 1);
  CHECK(claim.slices[0].id == "SYS_UBOOT");
  CHECK(claim.slices[0].type == 0xE942);
  CHECK(claim.slices[0].facts.number("implementation") == 0x00100000);
  CHECK(claim.slices[0].start == 8192);
  CHECK(claim.slices[0].bytes == 1024);
}

TEST_CASE("LIF: the IPL") {
  fixtures::LifVolume volume;
  volume.ipl_start = 4096;
  volume.ipl_bytes = 4096;
  volume.ipl_entry = 8;
  Bytes image;
  fixtures::write_lif(image, volume);
  image[4096] = std::byte{0x42};
  fixtures::seal_lif_ipl(image, volume);
  SECTION("is a slice when no file covers it") {
    const Claim claim = one_claim(lif_format, image);
    CHECK(claim.findings.empty());
    REQUIRE(claim.slices.size() == 1);
    CHECK(claim.slices[0].id == "ipl");
    CHECK(claim.slices[0].start == 4096);
  }
  SECTION("proves a volume without a directory") {
    std::fill_n(image.begin() + 2, 238, std::byte{0x33});
    const Claim claim = one_claim(lif_format, image);
    CHECK(claim.strength == Strength::proven);
    CHECK(claim.findings.empty());
    CHECK(claim.slices.size() == 1);
    image[4097] = std::byte{1};
    CHECK(claims_of(lif_format, image).empty());
  }
  SECTION("with a wrong sum") {
    image[5000] = std::byte{1};
    const Claim claim = one_claim(lif_format, image);
    REQUIRE(claim.findings.size() == 1);
    CHECK(claim.findings[0].code == FindingCode::boot_checksum);
    CHECK(claim.findings[0].start == 4096);
    CHECK(claim.findings[0].bytes == 4096);
    CHECK(claim.facts.words("ipl_checksum") == "bad");
  }
  SECTION("at places and with sizes that firmware refuses") {
    const auto count = [&](std::size_t at, std::uint64_t value) {
      Bytes other = image;
      put_number(other, at, value, 4, ByteOrder::big);
      const Claim claim = one_claim(lif_format, other);
      INFO(messages_of(claim));
      CHECK(claim.slices.empty());
      return claim.findings.size();
    };
    CHECK(count(240, 4100) == 1);
    CHECK(count(240, 0) == 1);
    CHECK(count(244, 100) == 1);
    CHECK(count(244, 4) == 2);  // the entry lies behind its end too
    CHECK(count(244, 512 * 1024) == 1);
    CHECK(count(248, 4096) == 1);
    CHECK(count(248, 9) == 1);
  }
  SECTION("cut short: no sum to speak of") {
    image.resize(6000);
    const Claim claim = one_claim(lif_format, image);
    CHECK(claim.findings.empty());
    CHECK(claim.facts.find("ipl_checksum") == nullptr);
    CHECK(claim.slices.size() == 1);
  }
}

TEST_CASE("LIF: entries") {
  fixtures::LifVolume volume;
  volume.files = {{"ONE", 0xCD80, 16, 4, 0},
                  {"GONE", 0, 20, 4, 0},
                  {"ONE", 0xCD80, 24, 4, 0},
                  {"NONE", 0xCD80, 28, 0, 0},
                  {"A/B", 0x1234, 0xFFFFFFFF, 0xFFFFFFFF, 0}};
  Bytes image;
  fixtures::write_lif(image, volume);
  const Claim claim = one_claim(lif_format, image);
  INFO(messages_of(claim));
  CHECK(claim.findings.empty());
  REQUIRE(claim.slices.size() == 3);  // without the purged and the empty one
  CHECK(claim.slices[1].id == "ONE~2");
  CHECK(claim.slices[2].id == "A%2FB");
  CHECK(claim.slices[2].start == 0xFFFFFFFFULL * 256);

  put_number(image, 2048, 0x07080920, 4, ByteOrder::big);  // a name of control characters
  put_number(image, 2048 + 12, 0, 4, ByteOrder::big);
  const Claim odd = one_claim(lif_format, image);
  CHECK(count_of(odd, FindingCode::name_illegal) == 1);
  CHECK(count_of(odd, FindingCode::label_field) == 1);
}

TEST_CASE("LIF: directories that cannot be") {
  Bytes image = hex_fixture("label/lif/good.hex");
  SECTION("cut short") {
    image.resize(2048 + 40);
    const Claim claim = one_claim(lif_format, image);
    CHECK(count_of(claim, FindingCode::label_field) == 1);
    CHECK(claim.slices.size() == 1);
  }
  SECTION("far out") {
    put_number(image, 8, 0x7FFFFFFF, 4, ByteOrder::big);
    const Claim claim = one_claim(lif_format, image);
    CHECK(count_of(claim, FindingCode::label_field) == 1);
    CHECK(claim.slices.size() == 1);  // the IPL
  }
  SECTION("full of one name") {
    put_number(image, 16, 4096, 4, ByteOrder::big);
    image.resize(2048 + 4096 * 256);
    for (std::size_t at = 2048; at < image.size(); at += 32) {
      std::copy_n(image.begin() + 2048, 32, image.begin() + static_cast<std::ptrdiff_t>(at));
    }
    const Claim claim = one_claim(lif_format, image);
    CHECK(claim.slices.size() == 512);
    CHECK(count_of(claim, FindingCode::label_field) == 1);
  }
}

TEST_CASE("LIF: what is none") {
  CHECK(claims_of(lif_format, Bytes(4096)).empty());
  Bytes magic_only(4096, std::byte{0x11});
  put_number(magic_only, 0, 0x8000, 2, ByteOrder::big);
  CHECK(claims_of(lif_format, magic_only).empty());
  Bytes zeros(4096);
  put_number(zeros, 0, 0x8000, 2, ByteOrder::big);
  CHECK(claims_of(lif_format, zeros).empty());
  for (const std::size_t at : {14U, 22U}) {
    Bytes image = hex_fixture("label/lif/m68k.hex");
    image[at] = std::byte{1};
    CHECK(claims_of(lif_format, image).empty());
  }
}
