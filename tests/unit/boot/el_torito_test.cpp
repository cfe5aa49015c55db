// El Torito catalogs. Typed bytes are the worked examples of the project's format notes
// (docs/formats/el-torito.md); offsets are those of the specification 1.0, figures 2 to 7.
#include <catch2/catch.hpp>

#include "boot/el_torito_structures.h"
#include "core/checksum.h"
#include "support/hexfile.h"
#include "support/survey.h"
#include "writers/boot_writer.h"

namespace platter::test {
namespace {

using Bytes = std::vector<std::byte>;
constexpr std::size_t kBlock = 2048;

std::vector<Bytes> images(std::size_t count) {
  std::vector<Bytes> all;
  for (std::size_t i = 0; i < count; ++i) {
    all.push_back(fixtures::i386_boot_code());
    all.back()[0] = static_cast<std::byte>(i + 1);
    all.back().resize(3000, std::byte{0x5A});
  }
  return all;
}

TEST_CASE("El Torito: tables against typed bytes") {
  const Bytes validation = hex_text("01 00 00 00 \"DEMO\" @0x1c 19 c1 55 aa", "validation entry");
  const FieldReader<boot::kCatalogValidation> entry(validation.data(), ByteOrder::little);
  CHECK(entry.get<"header_id">() == 1);
  CHECK(entry.text<"id">() == "DEMO");
  CHECK(entry.get<"checksum">() == 0xC119);
  CHECK(entry.get<"key">() == 0xAA55);
  CHECK((sum_of_words16(validation, ByteOrder::little) & 0xFFFFU) == 0);

  const Bytes header = hex_text("91 ef 02 00 \"UEFI\" @0x1f 00", "section header");
  const FieldReader<boot::kSectionHeader> section(header.data(), ByteOrder::little);
  CHECK(section.get<"header_id">() == 0x91);
  CHECK(section.get<"platform">() == 0xEF);
  CHECK(section.get<"entries">() == 2);
  CHECK(section.text<"id">() == "UEFI");

  const Bytes typed = hex_text("88 22 00 10 06 00 04 00 22 00 00 00 01 aa bb @0x1f cc", "entry");
  const FieldReader<boot::kSectionEntry> in_section(typed.data(), ByteOrder::little);
  CHECK(in_section.get<"media">() == 0x22);
  CHECK(in_section.get<"load_segment">() == 0x1000);
  CHECK(in_section.get<"system_type">() == 6);
  CHECK(in_section.get<"load_blocks">() == 4);
  CHECK(in_section.get<"image">() == 34);
  CHECK(in_section.get<"criteria_type">() == 1);
  CHECK(in_section.raw<"criteria">()[0] == std::byte{0xAA});
  CHECK(in_section.raw<"criteria">()[18] == std::byte{0xCC});

  const Bytes more = hex_text("44 20 01 @0x1f 02", "extension");
  const FieldReader<boot::kSectionExtension> extension(more.data(), ByteOrder::little);
  CHECK(extension.get<"flags">() == 0x20);
  CHECK(extension.raw<"criteria">()[29] == std::byte{2});

  // genisoimage(1): at 8 the descriptor, 12 the file, 16 its length, 20 the sum, 64 bytes in all.
  CHECK(boot::kBootInfoOffset + boot::kBootInfo.find("descriptor")->offset == 8);
  CHECK(boot::kBootInfoOffset + boot::kBootInfo.find("image")->offset == 12);
  CHECK(boot::kBootInfoOffset + boot::kBootInfo.find("bytes")->offset == 16);
  CHECK(boot::kBootInfoOffset + boot::kBootInfo.find("checksum")->offset == 20);
  CHECK(boot::kBootInfoOffset + boot::kBootInfo.bytes == boot::kBootInfoSummed);
}

TEST_CASE("El Torito: sections, entries and extensions become layers") {
  fixtures::Catalog catalog;
  catalog.id = "Gannet Point";
  catalog.sections = {{.platform = 0xEF, .id = "UEFI", .entries = {{.load_blocks = 6}}},
                      {.platform = 1,
                       .id = "ppc",
                       .entries = {{.indicator = 0, .load_blocks = 2},
                                   {.media = 0x40,
                                    .load_segment = 0x2000,
                                    .load_blocks = 1,
                                    .criteria_type = 1,
                                    .criteria = "lang",
                                    .extensions = {"more", "still more"}}}}};
  const fixtures::BootDisc disc = fixtures::boot_disc(catalog, images(4));
  const Survey survey = survey_bytes(disc.bytes);
  CHECK(findings_of(survey).empty());
  const Layer* boot = layer(survey, "iso9660/el-torito");
  REQUIRE(boot != nullptr);
  CHECK(boot->kind == LayerKind::boot);
  CHECK(boot->strength == Strength::proven);
  CHECK(boot->start == disc.catalog_block * kBlock);
  CHECK(boot->facts.number("boot_record_block") == 17);
  CHECK(boot->facts.words("maker") == "Gannet Point");
  CHECK(boot->facts.number("images") == 4);
  // Boot record, validation, default entry, two headers, three entries, two extensions.
  CHECK(boot->records.size() == 10);
  REQUIRE(boot->layers.size() == 4);

  const Layer* first = layer(survey, "iso9660/el-torito/1");
  REQUIRE(first != nullptr);
  CHECK(first->kind == LayerKind::boot);
  CHECK(first->format == "el-torito");
  CHECK(first->start == (disc.catalog_block + 1) * kBlock);
  CHECK(first->bytes == 4 * 512);
  CHECK(first->facts.words("platform") == "i386");
  CHECK(first->facts.words("media") == "no emulation");
  CHECK(first->facts.number("load_segment") == 0x7C0);
  CHECK(*first->facts.find("bootable") == FactValue(true));

  CHECK(fact(survey, "iso9660/el-torito/2", "platform") == "EFI");
  CHECK(fact(survey, "iso9660/el-torito/2", "name") == "UEFI");
  CHECK(layer(survey, "iso9660/el-torito/2")->bytes == 6 * 512);
  CHECK(*layer(survey, "iso9660/el-torito/3")->facts.find("bootable") == FactValue(false));
  const Layer* last = layer(survey, "iso9660/el-torito/4");
  CHECK(last->facts.number("load_segment") == 0x2000);
  CHECK(last->facts.number("sector_count") == 1);
  CHECK(last->facts.words("criteria") == "language and version");
  CHECK(last->facts.words("criteria_bytes") == hex_of("langmorestill more"));
}

TEST_CASE("El Torito: sizes by media") {
  struct Case {
    std::uint8_t media;
    std::uint64_t bytes;
    const char* name;
  };
  const Case cases[] = {{0, 2048, "no emulation"},
                        {1, 1228800, "1.2 MB diskette"},
                        {2, 1474560, "1.44 MB diskette"},
                        {3, 2949120, "2.88 MB diskette"},
                        {7, 2048, "unknown"}};
  for (const Case& each : cases) {
    fixtures::Catalog catalog;
    catalog.initial.media = each.media;
    const auto disc = fixtures::boot_disc(catalog, {Bytes(2949120, std::byte{1})});
    const Survey survey = survey_bytes(disc.bytes);
    CAPTURE(each.name);
    CHECK(layer(survey, "iso9660/el-torito/1")->bytes == each.bytes);
    CHECK(fact(survey, "iso9660/el-torito/1", "media") == each.name);
  }
}

TEST_CASE("El Torito: an emulated disk ends with its slice, an EFI count of 0 or 1 with the disc") {
  Bytes disk(64 * 512);
  fixtures::write_pc_boot_code(disk);
  disk[446] = std::byte{0x80};
  disk[446 + 4] = std::byte{0x06};
  disk[446 + 8] = std::byte{1};
  disk[446 + 12] = std::byte{63};
  fixtures::Catalog catalog;
  catalog.initial.media = 4;
  catalog.initial.load_blocks = 1;
  catalog.initial.system_type = 6;
  catalog.sections = {{.platform = 0xEF, .entries = {{.load_blocks = 1}}}};
  const auto disc = fixtures::boot_disc(catalog, {disk, Bytes(10 * kBlock, std::byte{1})});
  const Survey survey = survey_bytes(disc.bytes);
  CHECK(layer(survey, "iso9660/el-torito/1")->bytes == 64 * 512);
  CHECK(layer(survey, "iso9660/el-torito/1")->facts.number("system_type") == 6);
  CHECK(layer(survey, "iso9660/el-torito/1/mbr") != nullptr);
  CHECK(layer(survey, "iso9660/el-torito/1/mbr/pc-boot-code") != nullptr);
  const Layer* efi = layer(survey, "iso9660/el-torito/2");
  CHECK(efi->start + efi->bytes == disc.bytes.size());
}

TEST_CASE("El Torito: what is damaged is said") {
  const auto good = fixtures::boot_disc({}, images(1));
  const std::size_t catalog = good.catalog_block * kBlock;
  const auto with = [&](std::size_t at, std::uint8_t value) {
    Bytes image = good.bytes;
    image[at] = std::byte{value};
    return survey_bytes(image);
  };
  CHECK(findings_of(survey_bytes(good.bytes)).empty());
  const Survey sum = with(catalog + 28, 1);
  REQUIRE(finding(sum, FindingCode::boot_checksum) != nullptr);
  CHECK(finding(sum, FindingCode::boot_checksum)->severity == Severity::fault);
  CHECK(finding(sum, FindingCode::boot_checksum)->start == catalog + 28);
  CHECK(fact(sum, "iso9660/el-torito", "checksum") == "bad");
  CHECK(has_finding(with(catalog, 3), FindingCode::boot_missing));
  CHECK(has_finding(with(17 * kBlock + 0x47 + 2, 9), FindingCode::boot_missing));
  CHECK(has_finding(with(catalog + 32 + 10, 9), FindingCode::extent_beyond_end));
  // Neither identifier nor head: no boot record any more.
  Bytes gone = good.bytes;
  gone[17 * kBlock] = std::byte{9};
  gone[17 * kBlock + 7] = std::byte{'X'};
  CHECK(layer(survey_bytes(gone), "iso9660/el-torito") == nullptr);
}

TEST_CASE("El Torito: hostile catalogs end") {
  const auto good = fixtures::boot_disc({}, images(1));
  const std::size_t catalog = good.catalog_block * kBlock;
  SECTION("a section promises more entries than there are") {
    Bytes image = good.bytes;
    FieldWriter<boot::kSectionHeader>(image.data() + catalog + 64, ByteOrder::little)
        .set<"header_id">(0x91)
        .set<"entries">(0xFFFF);
    const Survey survey = survey_bytes(image);
    CHECK(layer(survey, "iso9660/el-torito")->layers.size() == 1);
    CHECK(has_finding(survey, FindingCode::label_field));
  }
  SECTION("headers without end") {
    Bytes image = good.bytes;
    image.resize(image.size() + 400 * kBlock);
    for (std::size_t at = catalog + 64; at + 32 <= image.size(); at += 32) {
      image[at] = std::byte{0x90};
    }
    CHECK(layer(survey_bytes(image), "iso9660/el-torito")->records.size() < 100);
  }
  SECTION("entries without end, each naming the whole volume") {
    Bytes image = good.bytes;
    image.resize(catalog + 64 * kBlock);
    FieldWriter<boot::kSectionHeader>(image.data() + catalog + 64, ByteOrder::little)
        .set<"header_id">(0x90)
        .set<"entries">(0xFFFF);
    for (std::size_t at = catalog + 96; at + 32 <= image.size(); at += 32) {
      FieldWriter<boot::kSectionEntry>(image.data() + at, ByteOrder::little)
          .set<"boot_indicator">(0x88)
          .set<"load_blocks">(0xFFFF);
    }
    CHECK(layer(survey_bytes(image), "iso9660/el-torito")->layers.size() == 256);
  }
  SECTION("an extension that leads nowhere") {
    fixtures::Catalog extended;
    extended.sections = {{.platform = 0, .entries = {{.extensions = {"x"}}}}};
    auto disc = fixtures::boot_disc(extended, images(2));
    disc.bytes[disc.catalog_block * kBlock + 128] = std::byte{0x45};
    CHECK(has_finding(survey_bytes(disc.bytes), FindingCode::label_field));
  }
  SECTION("the catalog is the last record of the image") {
    Bytes image = good.bytes;
    image.resize(catalog + 64);
    CHECK(layer(survey_bytes(image), "iso9660/el-torito") != nullptr);
    image.resize(catalog + 63);
    CHECK(has_finding(survey_bytes(image), FindingCode::boot_missing));
  }
}

}  // namespace
}  // namespace platter::test
