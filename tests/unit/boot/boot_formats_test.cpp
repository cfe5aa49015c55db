// Boot code that is found: PC boot code, PReP images, CHRP scripts and APM code.
#include <catch2/catch.hpp>

#include "boot/apm_code.h"
#include "boot/pc_boot_sector.h"
#include "boot/prep_boot.h"
#include "support/hexfile.h"
#include "support/survey.h"
#include "writers/apm_writer.h"
#include "writers/boot_writer.h"
#include "writers/iso9660_writer.h"
#include "writers/mbr_writer.h"

namespace platter::test {
namespace {

using Bytes = std::vector<std::byte>;
constexpr std::size_t kBlock = 512;

TEST_CASE("PC boot code: jumps are followed, and what is no code is not taken for it") {
  const auto examine = [](const std::string& text) {
    return boot::examine_boot_sector(view_of(hex_text(text + " @0x1fe 55 aa", "sector")), 0, 510);
  };
  CHECK(examine("eb 3c 90 @0x3e fa").entry == 0x3E);
  CHECK(examine("eb 3c 90 @0x3e fa").code_bytes == 1);
  CHECK(examine("e9 fd 00 @0x100 fa").entry == 0x100);
  CHECK(examine("ea 05 00 c0 07 8c c8").entry == 5);  // far, by segment 7C0
  CHECK(examine("ea 05 7c 00 00 8c c8").entry == 5);  // far, by offset
  CHECK_FALSE(examine("ea 05 00 00 f0").jumps);
  CHECK_FALSE(examine("eb fd").jumps);  // before the sector
  CHECK_FALSE(examine("e9 fd 01").jumps);
  CHECK(examine("33 c0 8e d0").starts_like_code);
  CHECK_FALSE(examine("33 00 8e d0").starts_like_code);
  CHECK_FALSE(examine("00 00 00").starts_like_code);
  CHECK(examine("4d 5a 90").is_program);
  CHECK(examine("45 52 02 00 00 00 06 e4 00 01 00 01").code_bytes == 0);    // a driver map
  CHECK(examine("45 52 08 00 00 00 90 90 @0x100 fa").code_bytes == 0x101);  // with code behind it
  // Linux boot.rst: the header's mark at 202h, its fields from 1F1h on.
  CHECK(examine("@0x1f1 04").code_bytes == 0x1F2);
  const auto kernel = boot::examine_boot_sector(
      view_of(hex_text("@0x1f1 04 @0x1fe 55 aa @0x202 \"HdrS\"", "kernel")), 0, 510);
  CHECK(kernel.is_kernel);
  CHECK(kernel.is_program);
}

TEST_CASE("PC boot code: a layer below the table, and in the slice that has its own") {
  Bytes image(2000 * kBlock);
  fixtures::MbrLabel label;
  label.slices[0] = {.type = 0x83, .first = 63, .sectors = 1000, .active = true};
  fixtures::write_mbr(image, label);
  CHECK(layer(survey_bytes(image), "mbr/pc-boot-code") == nullptr);
  CHECK(findings_of(survey_bytes(image)).empty());  // missing code is no fault
  fixtures::write_pc_boot_code(image);
  fixtures::write_mbr(image, label);
  fixtures::write_pc_boot_code(image, 63 * kBlock);
  const Survey survey = survey_bytes(image);
  const Layer* code = layer(survey, "mbr/pc-boot-code");
  REQUIRE(code != nullptr);
  CHECK(code->kind == LayerKind::boot);
  CHECK(code->start == 0);
  CHECK(code->bytes == 440);
  CHECK(code->facts.number("code_bytes") == fixtures::i386_boot_code().size() - 1);
  CHECK(code->facts.number("load_address") == 0x7C00);
  const Layer* own = layer(survey, "mbr/1/pc-boot-code");
  REQUIRE(own != nullptr);
  CHECK(own->start == 63 * kBlock);
  CHECK(findings_of(survey).empty());
}

TEST_CASE("PC boot code: a floppy's boot sector with a parameter block") {
  // ECMA-107, clause 9: a 1.44 MB diskette.
  Bytes floppy = hex_text(
      "eb 3c 90 \"CORVIDOS\" 00 02 01 01 00 02 e0 00 40 0b f0 09 00 12 00 02 00 "
      "@0x3e fa 31 c0 8e d8 8e c0 be 00 7c bf 00 06 b9 00 02 f3 a4 @0x1fe 55 aa size 1474560",
      "floppy");
  const Survey survey = survey_bytes(floppy);
  const Layer* code = layer(survey, "pc-boot-code");
  REQUIRE(code != nullptr);
  CHECK(code->facts.words("system") == "CORVIDOS");
  CHECK(*code->facts.find("parameter_block") == FactValue(true));
  CHECK(code->facts.number("entry") == 0x3E);
  floppy[511] = std::byte{0};
  CHECK(layer(survey_bytes(floppy), "pc-boot-code") == nullptr);
}

TEST_CASE("PC boot code: a bare boot sector is one layer and no finding") {
  Bytes floppy(1474560);
  fixtures::write_pc_boot_code(floppy);
  const Survey survey = survey_bytes(floppy);
  REQUIRE(layer(survey, "pc-boot-code") != nullptr);
  CHECK(layer(survey, "pc-boot-code")->strength == Strength::shape);
  CHECK(findings_of(survey).empty());
  floppy[0] = std::byte{'T'};
  floppy[1] = std::byte{'e'};
  floppy[510] = std::byte{'x'};
  CHECK(survey_bytes(floppy).layers.empty());
}

TEST_CASE("PReP: header and layer against typed bytes") {
  // Linux arch/ppc/boot/utils/mkprep.c: entry 0x400 and the length, little-endian, at 512.
  const Bytes typed = hex_text("00 04 00 00 00 04 06 00 01 02 \"CORVID\"  size 512", "header");
  const FieldReader<boot::kPrepHeader> header(typed.data(), ByteOrder::little);
  CHECK(header.get<"entry">() == 0x400);
  CHECK(header.get<"length">() == 0x60400);
  CHECK(header.get<"flags">() == 1);
  CHECK(header.get<"system">() == 2);
  CHECK(header.text<"name">() == "CORVID");

  Bytes image(400 * kBlock);
  fixtures::MbrLabel label;
  label.slices[0] = {.type = 0x41, .first = 0, .sectors = 400, .active = true};
  fixtures::write_mbr(image, label);
  fixtures::write_prep_image(image, 0, 8192);
  const Survey survey = survey_bytes(image);
  const Layer* prep = layer(survey, "mbr/1/prep-boot");
  REQUIRE(prep != nullptr);
  CHECK(prep->bytes == 8192);
  CHECK(prep->facts.number("entry") == 1024);
  CHECK(findings_of(survey).empty());
}

TEST_CASE("PReP: an image larger than its slice, and an entry behind it") {
  Bytes image(400 * kBlock);
  fixtures::MbrLabel label;
  label.slices[0] = {.type = 0x41, .first = 100, .sectors = 10};
  fixtures::write_mbr(image, label);
  fixtures::write_prep_image(image, 100 * kBlock, 20 * kBlock);
  CHECK(has_finding(survey_bytes(image), FindingCode::boot_beyond_limit));
  image[101 * kBlock + 2] = std::byte{0xFF};
  CHECK(has_finding(survey_bytes(image), FindingCode::boot_missing));
  std::fill_n(image.begin() + 101 * kBlock, 8, std::byte{0});
  CHECK(layer(survey_bytes(image), "mbr/1/prep-boot") == nullptr);
  CHECK(findings_of(survey_bytes(image)).empty());
}

TEST_CASE("CHRP: the boot script is found by its path") {
  fixtures::Iso9660Writer writer;
  writer.add_file(
      "ppc/bootinfo.txt",
      "<chrp-boot>\r\n<boot-script>\r\n  boot\t&device;:\\corvid.elf\r\n</boot-script>");
  writer.add_file("ppc/other.txt", "x");
  const Survey survey = survey_bytes(writer.build());
  const Layer* script = layer(survey, "iso9660/chrp-boot");
  REQUIRE(script != nullptr);
  CHECK(script->start == writer.sector_of("ppc/bootinfo.txt") * 2048);
  CHECK(script->facts.words("recorded_name") == "BOOTINFO.TXT;1");
  CHECK(script->facts.words("command") == "boot &device;:\\corvid.elf");
  CHECK(script->strength == Strength::sane);

  fixtures::Iso9660Writer directory;  // a directory of that name is no script
  directory.add_file("ppc/bootinfo.txt/x", "y");
  CHECK(layer(survey_bytes(directory.build()), "iso9660/chrp-boot") == nullptr);
}

TEST_CASE("APM: the running sum by hand") {
  // Technical note DV 12: add a byte, rotate the 16-bit sum left; 0 is stored as FFFF.
  const Bytes one{std::byte{0x80}, std::byte{0x01}};
  CHECK(boot::apm_running_sum(std::span(one).first(1), 0) == 0x0100);
  CHECK(boot::apm_running_sum(one, 0) == 0x0202);
  const Bytes high{std::byte{0xFF}};
  CHECK(boot::apm_running_sum(high, 0x7F01) == 0x0001);  // 7F01 + FF = 8000, rotated
}

TEST_CASE("APM: drivers and the boot code of slices become layers") {
  Bytes image(400 * kBlock);
  fixtures::write_apm_drivers(
      image, 512, 400,
      {{.first = 64, .blocks = 8, .system = 1}, {.first = 80, .blocks = 4, .system = 0xFFFF}});
  fixtures::write_apm_map(image, kBlock,
                          {{1, 63, "Map", fixtures::apm_type("partition_map"), 0x33},
                           {64, 32, "Driver", fixtures::apm_type("Driver43"), 0x7F, "68000"},
                           {96, 100, "Boot", fixtures::apm_type("UNIX_SVR2"), 0x3B, "PowerPC"}});
  std::fill_n(image.begin() + 64 * kBlock, 4096, std::byte{0});
  fixtures::set_apm_boot(image, kBlock, 2, {.bytes = 4096, .checksum = 0xFFFF});
  fixtures::set_apm_boot(image, kBlock, 3,
                         {.first = 2, .bytes = 700, .load = 0x4000, .entry = 0x4010});
  const Survey survey = survey_bytes(image);
  CHECK(findings_of(survey) == "");
  const Layer* driver = layer(survey, "apm/apm-driver");
  REQUIRE(driver != nullptr);
  CHECK(driver->start == 64 * kBlock);
  CHECK(driver->facts.number("system") == 1);
  CHECK(driver->facts.number("slice") == 2);
  CHECK(driver->facts.words("checksum") == "good");  // a sum of 0 is stored as FFFF
  const Layer* second = layer(survey, "apm/apm-driver-2");
  REQUIRE(second != nullptr);
  CHECK(second->start == 80 * kBlock);
  CHECK(second->facts.number("slice") == 2);
  CHECK(second->facts.find("checksum") == nullptr);
  const Layer* code = layer(survey, "apm/apm-driver-3");
  REQUIRE(code != nullptr);
  CHECK(code->start == 98 * kBlock);
  CHECK(code->bytes == 700);
  CHECK(code->facts.number("entry") == 0x4010);
  CHECK(code->facts.words("checksum") == "none");
}

TEST_CASE("APM: absurd lengths are not read through") {
  Bytes image(400 * kBlock);
  fixtures::write_apm_drivers(image, 512, 400);
  std::vector<fixtures::ApmSlice> slices{{1, 63, "Map", fixtures::apm_type("partition_map"), 0x33}};
  for (std::uint32_t i = 0; i < 60; ++i) {
    slices.push_back({64 + i, 0xFFFFFFF0U, "x", "Corvid_Boot", 0x3B, "PowerPC"});
  }
  fixtures::write_apm_map(image, kBlock, slices);
  for (std::size_t i = 2; i <= 61; ++i) {
    fixtures::set_apm_boot(image, kBlock, i, {.bytes = 0xFFFFFFFFU, .checksum = 5});
  }
  const Survey survey = survey_bytes(image);
  CHECK(fact(survey, "apm/apm-driver", "checksum") == "unchecked");
  CHECK_FALSE(has_finding(survey, FindingCode::boot_checksum));
}

}  // namespace
}  // namespace platter::test
