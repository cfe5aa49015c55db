// GUID partition table. The worked example's bytes and CRCs are typed; images with a backup come
// from the writer.
#include <catch2/catch.hpp>

#include "more_labels.h"
#include "support/survey.h"
#include "writers/gpt_writer.h"

using namespace platter;
using namespace platter::test;
using label::gpt_format;

namespace {

constexpr std::size_t kPrimary = 512;
constexpr std::size_t kEntries = 1024;
constexpr std::uint64_t kBlocks = 400;
constexpr std::size_t kBackup = (kBlocks - 1) * 512;

fixtures::GptLabel small_disk(std::uint64_t lba_bytes = 512) {
  fixtures::GptLabel label;
  label.lba_bytes = lba_bytes;
  label.blocks = kBlocks;
  label.slices = {{"C12A7328-F81F-11D2-BA4B-00A0C93EC93B", "00000000-0000-0000-0000-000000000001",
                   40, 99, "start"},
                  {"0657FD6D-A4AB-43C4-84E5-0933C84B4F4F", "00000000-0000-0000-0000-000000000002",
                   100, 199, "swap space"}};
  return label;
}

Bytes small_image(std::uint64_t lba_bytes = 512) {
  Bytes image;
  fixtures::write_gpt(image, small_disk(lba_bytes));
  return image;
}

}  // namespace

TEST_CASE("GPT: the worked example") {
  const Claim claim = one_claim(gpt_format, hex_fixture("label/gpt/good.hex"));
  INFO(messages_of(claim));
  CHECK(claim.strength == Strength::proven);
  CHECK(claim.findings.empty());
  CHECK(claim.start == 0);
  CHECK(claim.bytes == 20480ULL * 512);
  CHECK(claim.facts.words("byte_order") == "little");
  CHECK(claim.facts.words("checksum") == "good");
  CHECK(claim.facts.words("disk_guid") == "12345678-9ABC-DEF0-1234-56789ABCDEF0");
  CHECK(claim.facts.number("sector_bytes") == 512);
  CHECK(claim.facts.number("entries") == 128);
  CHECK(claim.facts.number("first_usable") == 34);
  CHECK(claim.facts.number("last_usable") == 20446);
  CHECK(slices_in_blocks(claim) == "1 34 16350");
  const Slice& slice = claim.slices[0];
  CHECK(slice.facts.words("type") == "516E7CB6-6ECF-11D6-8FF8-00022D09712B");
  CHECK(slice.facts.words("type_name") == "FreeBSD UFS");
  CHECK(slice.facts.words("guid") == "00000000-0000-0000-0000-000000000001");
}

TEST_CASE("GPT: blocks of 512, 2048 and 4096 bytes") {
  for (const std::uint64_t lba_bytes : {512U, 2048U, 4096U}) {
    const Claim claim = one_claim(gpt_format, small_image(lba_bytes));
    INFO(lba_bytes << " " << messages_of(claim));
    CHECK(claim.strength == Strength::proven);
    CHECK(claim.findings.empty());
    CHECK(claim.bytes == kBlocks * lba_bytes);
    CHECK(claim.facts.number("sector_bytes") == lba_bytes);
    CHECK(claim.slices.at(0).start == 40 * lba_bytes);
    CHECK(claim.slices.at(0).bytes == 60 * lba_bytes);
    CHECK(claim.slices.at(0).facts.words("name") == "start");
    CHECK(claim.slices.at(1).role == SliceRole::swap);
  }
}

TEST_CASE("GPT: a spoiled primary") {
  Bytes image = small_image();
  SECTION("header") {
    image[kPrimary + 40] ^= std::byte{1};
    const Claim claim = one_claim(gpt_format, image);
    REQUIRE(claim.findings.size() == 2);
    CHECK(claim.findings[0].code == FindingCode::label_checksum);
    CHECK(claim.findings[0].severity == Severity::fault);
    CHECK(claim.findings[0].start == kPrimary + 16);
    CHECK(claim.findings[1].code == FindingCode::label_backup_differs);
    CHECK(claim.findings[1].start == kBackup);
    CHECK(claim.facts.words("checksum") == "bad");
    CHECK(claim.facts.words("copy") == "backup");
    CHECK(claim.strength == Strength::proven);
    CHECK(slices_in_blocks(claim) == "1 40 60; 2 100 100");
  }
  SECTION("entries") {
    image[kEntries + 32] ^= std::byte{1};
    const Claim claim = one_claim(gpt_format, image);
    REQUIRE(claim.findings.size() == 2);
    CHECK(claim.findings[0].code == FindingCode::label_checksum);
    CHECK(claim.findings[0].start == kPrimary + 88);
    CHECK(slices_in_blocks(claim) == "1 40 60; 2 100 100");
  }
  SECTION("no signature") {
    std::fill_n(image.begin() + kPrimary, 512, std::byte{0});
    const Claim claim = one_claim(gpt_format, image);
    CHECK(claim.findings.size() == 2);
    CHECK(finding_of(claim, FindingCode::label_field)->start == kPrimary);
    CHECK(claim.bytes == kBlocks * 512);
    CHECK(slices_in_blocks(claim) == "1 40 60; 2 100 100");
  }
  SECTION("no signature and an MBR that speaks of other slices: left over") {
    std::fill_n(image.begin() + kPrimary, 512, std::byte{0});
    image[446 + 4] = std::byte{0x83};
    CHECK(claims_of(gpt_format, image).empty());
  }
  SECTION("backup spoiled too") {
    image[kPrimary + 56] ^= std::byte{1};
    image[kBackup + 56] ^= std::byte{1};
    const Claim claim = one_claim(gpt_format, image);
    CHECK(claim.strength == Strength::sane);
    REQUIRE(claim.findings.size() == 1);
    CHECK(claim.findings[0].start == kPrimary + 16);
    CHECK(claim.slices.size() == 2);
  }
}

TEST_CASE("GPT: a backup that does not serve") {
  Bytes image = small_image();
  SECTION("spoiled") {
    image[kBackup + 56] ^= std::byte{1};
    const Claim claim = one_claim(gpt_format, image);
    REQUIRE(claim.findings.size() == 1);
    CHECK(claim.findings[0].code == FindingCode::label_checksum);
    CHECK(claim.findings[0].start == kBackup + 16);
    CHECK(claim.facts.words("checksum") == "good");
  }
  SECTION("missing") {
    std::fill(image.begin() + kBackup, image.end(), std::byte{0});
    const Claim claim = one_claim(gpt_format, image);
    REQUIRE(claim.findings.size() == 1);
    CHECK(claim.findings[0].code == FindingCode::label_backup_differs);
    CHECK(claim.findings[0].start == kBackup);
  }
  SECTION("different") {
    put_number(image, kBackup - 32 * 512 + 40, 98, 8, ByteOrder::little);
    fixtures::seal_gpt(image, kBackup);
    const Claim claim = one_claim(gpt_format, image);
    REQUIRE(claim.findings.size() == 1);
    CHECK(claim.findings[0].code == FindingCode::label_backup_differs);
    CHECK(slices_in_blocks(claim) == "1 40 60; 2 100 100");
  }
  SECTION("one block early, as older Solaris wrote it") {
    std::copy_n(image.begin() + kBackup, 512, image.begin() + kBackup - 512);
    std::fill(image.begin() + kBackup, image.end(), std::byte{0});
    put_number(image, kBackup - 512 + 24, kBlocks - 2, 8, ByteOrder::little);
    put_number(image, kBackup - 512 + 72, kBlocks - 1 - 32, 8, ByteOrder::little);
    put_number(image, kBackup - 512 + 80, 120, 4, ByteOrder::little);
    fixtures::seal_gpt(image, kBackup - 512);
    std::fill_n(image.begin() + kPrimary, 512, std::byte{0});
    const Claim claim = one_claim(gpt_format, image);
    CHECK(claim.facts.words("copy") == "backup");
    CHECK(claim.slices.size() == 2);
  }
}

TEST_CASE("GPT: cut short") {
  Bytes image = small_image();
  image.resize(300 * 512);
  const Claim claim = one_claim(gpt_format, image);
  CHECK(claim.findings.empty());
  CHECK(claim.bytes == kBlocks * 512);
  image.resize(kEntries + 128);  // one entry is left
  const Claim shorter = one_claim(gpt_format, image);
  REQUIRE(shorter.findings.size() == 1);
  CHECK(shorter.findings[0].code == FindingCode::label_field);
  CHECK(shorter.slices.size() == 1);
  image.resize(kPrimary + 91);
  CHECK(claims_of(gpt_format, image).empty());
}

TEST_CASE("GPT: absurd values under right checksums") {
  Bytes image = small_image();
  const auto seal_both = [&] {
    fixtures::seal_gpt(image, kPrimary);
    std::fill(image.begin() + kBackup, image.end(), std::byte{0});
  };
  SECTION("a slice that ends before its start") {
    put_number(image, kEntries + 32, 99, 8, ByteOrder::little);
    put_number(image, kEntries + 40, 40, 8, ByteOrder::little);
    seal_both();
    const Claim claim = one_claim(gpt_format, image);
    CHECK(count_of(claim, FindingCode::label_field) == 1);
    CHECK(slices_in_blocks(claim) == "2 100 100");
  }
  SECTION("the whole range of numbers") {
    put_number(image, kEntries + 32, 0, 8, ByteOrder::little);
    put_number(image, kEntries + 40, kLargest, 8, ByteOrder::little);
    seal_both();
    const Claim claim = one_claim(gpt_format, image);
    CHECK(claim.slices[0].bytes == kLargest);
    CHECK(count_of(claim, FindingCode::label_field) == 1);
  }
  SECTION("entries without number or length") {
    for (const std::size_t at : {80U, 84U}) {
      for (const std::uint64_t value : {0ULL, 1ULL, 0xFFFFFFFFULL}) {
        Bytes other = image;
        put_number(other, kPrimary + at, value, 4, ByteOrder::little);
        fixtures::seal_gpt(other, kPrimary);
        std::fill(other.begin() + kBackup, other.end(), std::byte{0});
        const auto claims = claims_of(gpt_format, other);
        REQUIRE(claims.size() <= 1);
        if (!claims.empty()) CHECK_FALSE(claims[0].findings.empty());
      }
    }
  }
  SECTION("a header that gives itself no length") {
    put_number(image, kPrimary + 12, 0, 4, ByteOrder::little);
    const Claim claim = one_claim(gpt_format, image);
    CHECK(claim.facts.words("copy") == "backup");
    CHECK(claim.findings[0].start == kPrimary + 12);
  }
}

TEST_CASE("GPT: no protective entry is worth a note") {
  Bytes image;
  fixtures::GptLabel label = small_disk();
  label.protective = false;
  fixtures::write_gpt(image, label);
  const Claim claim = one_claim(gpt_format, image);
  REQUIRE(claim.findings.size() == 1);
  CHECK(claim.findings[0].severity == Severity::note);
}

TEST_CASE("GPT: what is none") {
  CHECK(claims_of(gpt_format, Bytes(4096)).empty());
  Bytes magic_only(4096 * 4, std::byte{0x5A});
  const Bytes magic = hex_text("45 46 49 20 50 41 52 54", "signature");
  std::copy(magic.begin(), magic.end(), magic_only.begin() + 512);
  CHECK(claims_of(gpt_format, magic_only).empty());
}

TEST_CASE("GPT: the MBR beside it stays a label of its own") {
  const Survey survey = survey_bytes(small_image());
  INFO(findings_of(survey));
  CHECK(survey.findings.empty());
  REQUIRE(layer(survey, "mbr/1") != nullptr);
  CHECK(layer(survey, "mbr/1")->role == SliceRole::metadata);
  REQUIRE(layer(survey, "gpt/2") != nullptr);
  CHECK(layer(survey, "gpt/2")->start == 100 * 512);
}
