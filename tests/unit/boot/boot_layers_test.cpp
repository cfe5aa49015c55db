// Boot code as layers of a survey. Bytes of the boot sectors' worked examples are typed; they
// follow NetBSD sys/sys/bootblock.h and the installers beside it.
#include <random>

#include <catch2/catch.hpp>

#include "boot/sector_layouts.h"
#include "core/record.h"
#include "support/survey.h"
#include "writers/sun_writer.h"
#include "writers/workstation_boot_writer.h"

using namespace platter;
using namespace platter::test;
using Bytes = std::vector<std::byte>;

namespace {

void type_bytes(Bytes& image, std::size_t at, std::initializer_list<unsigned> values) {
  for (const unsigned value : values)
    image[at++] = static_cast<std::byte>(value);
}

// The 64-bit sum of a sector, byte by byte with a carry: no code of the library.
Bytes sum_by_hand(const Bytes& sector) {
  Bytes sum(8);
  for (std::size_t word = 0; word < 63; ++word) {
    unsigned carry = 0;
    for (std::size_t i = 0; i < 8; ++i) {
      const unsigned digit = std::to_integer<unsigned>(sum[i]) +
                             std::to_integer<unsigned>(sector[word * 8 + i]) + carry;
      sum[i] = static_cast<std::byte>(digit % 256);
      carry = digit / 256;
    }
  }
  return sum;
}

std::size_t count_boot_layers(const Survey& survey) {
  std::size_t count = 0;
  for_each_layer(survey.layers, [&](const Layer& one) { count += one.kind == LayerKind::boot; });
  return count;
}

Bytes alpha_example() {
  Bytes image(64 * 512);
  type_bytes(image, 0, {0x54, 0x65, 0x73, 0x74, 0x20, 0x20});
  type_bytes(image, 480, {40});
  type_bytes(image, 488, {1});
  type_bytes(image, 504, {0x7d, 0x65, 0x73, 0x74, 0x20, 0x20});
  fixtures::put_bytes(image, 512, fixtures::make_code(40 * 512));
  return image;
}

Bytes vax_example() {
  Bytes image(64 * 512);
  type_bytes(image, 0, {0, 0, 0xcf, 1, 0, 0, 1, 0});
  type_bytes(image, 414,
             {0x18, 0, 0, 0xe7, 0, 0, 0, 0, 15, 0, 0, 0, 0, 0, 0, 0, 0, 2, 0, 0, 0x0f, 2});
  fixtures::put_bytes(image, 512, fixtures::make_code(15 * 512));
  return image;
}

Bytes pmax_example() {
  Bytes image(64 * 512);
  type_bytes(image, 8,
             {0x7a, 0x75, 2, 0, 0, 0, 0, 0, 0, 0, 0x60, 0x80, 0, 0, 0x60, 0x80, 15, 0, 0, 0, 1});
  fixtures::put_bytes(image, 512, fixtures::make_code(15 * 512));
  return image;
}

}  // namespace

TEST_CASE("alpha boot sector: the worked example") {
  Bytes image = alpha_example();
  const Bytes sum = sum_by_hand(image);
  CHECK(std::equal(sum.begin(), sum.end(), image.begin() + 504));
  const Survey found = survey_bytes(image);
  INFO(findings_of(found));
  REQUIRE(layer(found, "alpha-boot") != nullptr);
  CHECK(layer(found, "alpha-boot")->kind == LayerKind::boot);
  CHECK(layer(found, "alpha-boot")->bytes == 512);
  CHECK(layer(found, "alpha-boot")->facts.number("program_start") == 512);
  CHECK(layer(found, "alpha-boot")->facts.number("program_bytes") == 40 * 512);
  CHECK(found.findings.empty());
  image[3] ^= std::byte{1};
  CHECK(layer(survey_bytes(image), "alpha-boot") == nullptr);
}

TEST_CASE("alpha boot sector: the writer's sum agrees with one made by hand") {
  Bytes image(8192);
  fixtures::put_bytes(image, 64, fixtures::make_code(400));
  fixtures::write_alpha_sector(image, 1, 15);
  const Bytes sum = sum_by_hand(image);
  CHECK(std::equal(sum.begin(), sum.end(), image.begin() + 504));
  CHECK(layer(survey_bytes(image), "alpha-boot") != nullptr);
}

TEST_CASE("alpha boot sector: a program that the image does not hold whole") {
  Bytes image = alpha_example();
  image.resize(20 * 512);
  const Survey found = survey_bytes(image);
  REQUIRE(layer(found, "alpha-boot") != nullptr);
  REQUIRE(finding(found, FindingCode::boot_beyond_limit) != nullptr);
  CHECK(finding(found, FindingCode::boot_beyond_limit)->severity == Severity::caution);
  image.resize(512);
  CHECK(survey_bytes(image).layers.empty());
}

TEST_CASE("vax boot sector: the worked example, and the older place of the identification") {
  Bytes image = vax_example();
  const Survey found = survey_bytes(image);
  INFO(findings_of(found));
  REQUIRE(layer(found, "vax-boot") != nullptr);
  CHECK(layer(found, "vax-boot")->facts.number("program_start") == 512);
  CHECK(layer(found, "vax-boot")->facts.number("program_bytes") == 15 * 512);
  CHECK(layer(found, "vax-boot")->facts.number("entry_offset") == 0x200);
  CHECK(found.findings.empty());
  for (const std::size_t at :
       {std::size_t{3}, std::size_t{414}, std::size_t{417}, std::size_t{422 + 12}}) {
    Bytes spoiled = image;
    spoiled[at] ^= std::byte{0x40};
    CAPTURE(at);
    CHECK(layer(survey_bytes(spoiled), "vax-boot") == nullptr);
  }
  Bytes older(64 * 512);
  fixtures::write_vax_sector(older, {.id_word = 170});
  fixtures::put_bytes(older, 512, fixtures::make_code(15 * 512));
  CHECK(layer(survey_bytes(older), "vax-boot") != nullptr);
}

TEST_CASE("pmax boot sector: the worked example, and several pieces") {
  Bytes image = pmax_example();
  const Survey found = survey_bytes(image);
  INFO(findings_of(found));
  REQUIRE(layer(found, "pmax-boot") != nullptr);
  CHECK(fact(found, "pmax-boot", "mode") == "contiguous");
  CHECK(layer(found, "pmax-boot")->facts.number("load") == 0x80600000);
  CHECK(layer(found, "pmax-boot")->facts.number("program_bytes") == 15 * 512);
  CHECK(found.findings.empty());
  fixtures::write_pmax_sector(image, {.pieces = {{4, 1}, {8, 20}}});
  const Survey scattered = survey_bytes(image);
  REQUIRE(layer(scattered, "pmax-boot") != nullptr);
  CHECK(fact(scattered, "pmax-boot", "mode") == "scattered");
  CHECK(layer(scattered, "pmax-boot")->facts.number("pieces") == 2);
  fixtures::write_pmax_sector(image, {.load = 0x00400000, .entry = 0x00400000});
  CHECK(layer(survey_bytes(image), "pmax-boot") == nullptr);
}

TEST_CASE("one sector may start three machines") {
  // vax and pmax fields leave each other room, and alpha's sum covers both (NetBSD
  // sys/sys/bootblock.h). The vax identification stands at its older place.
  Bytes image(64 * 512);
  fixtures::put_bytes(image, 512, fixtures::make_code(15 * 512));
  fixtures::write_vax_sector(image);
  fixtures::write_pmax_sector(image);
  fixtures::write_alpha_sector(image, 1, 15);
  const Survey found = survey_bytes(image);
  CHECK(layer(found, "alpha-boot") != nullptr);
  CHECK(layer(found, "vax-boot") != nullptr);
  CHECK(layer(found, "pmax-boot") != nullptr);
  CHECK(found.findings.empty());
}

TEST_CASE("Sun boot block: a.out, FCode, code without a header, and what is none") {
  const auto boot_layer = [](const Bytes& block) {
    const Survey found = survey_bytes(fixtures::make_sun_disk(block));
    INFO(findings_of(found));
    CHECK(found.findings.empty());
    const Layer* one = layer(found, "sun/a/sun-boot-block");
    if (one != nullptr) {
      CHECK(one->start == (4 * 64 + 1) * 512);
      CHECK(one->bytes == 7680);
    }
    return one == nullptr ? std::string("none")
                          : one->facts.words("program_format") + "/" + one->facts.words("machine");
  };
  CHECK(boot_layer(fixtures::make_aout(0x0103)) == "a.out/sparc");
  CHECK(boot_layer(fixtures::make_aout(2)) == "a.out/m68k");
  CHECK(boot_layer(fixtures::make_fcode()) == "FCode/");
  CHECK(boot_layer(fixtures::make_raw_sparc()) == "code without a header/sparc");
  CHECK(boot_layer(fixtures::make_raw_m68k()) == "code without a header/m68k");
  CHECK(boot_layer({}) == "none");
  CHECK(boot_layer(fixtures::make_code(7680)) == "none");
  CHECK(boot_layer(Bytes(7680, std::byte{'t'})) == "none");
}

TEST_CASE("Sun boot block: a wrong FCode checksum is a caution") {
  Bytes block = fixtures::make_fcode();
  block[20] ^= std::byte{1};
  const Survey found = survey_bytes(fixtures::make_sun_disk(block));
  REQUIRE(layer(found, "sun/a/sun-boot-block") != nullptr);
  CHECK(fact(found, "sun/a/sun-boot-block", "checksum") == "bad");
  REQUIRE(finding(found, FindingCode::boot_checksum) != nullptr);
  CHECK(finding(found, FindingCode::boot_checksum)->severity == Severity::caution);
}

TEST_CASE("files of an SGI volume directory are named by their headers") {
  const Survey ecoff = survey_bytes(fixtures::make_sgi_disk(fixtures::make_coff(0x0160, 56)));
  INFO(findings_of(ecoff));
  CHECK(fact(ecoff, "sgi/sash/program", "program_format") == "ECOFF");
  CHECK(fact(ecoff, "sgi/sash/program", "machine") == "mips");
  CHECK(ecoff.findings.empty());
  const Survey elf = survey_bytes(fixtures::make_sgi_disk(fixtures::make_elf32(8)));
  CHECK(fact(elf, "sgi/sash/program", "program_format") == "ELF");
  const Survey text = survey_bytes(fixtures::make_sgi_disk(Bytes(600, std::byte{'v'})));
  CHECK(count_boot_layers(text) == 0);
}

TEST_CASE("LIF: the initial program is a layer when it keeps the rules") {
  Bytes image = fixtures::make_hppa_disk();
  const Survey found = survey_bytes(image);
  INFO(findings_of(found));
  REQUIRE(layer(found, "lif/lif-ipl") != nullptr);
  CHECK(layer(found, "lif/lif-ipl")->start == 8192);
  CHECK(layer(found, "lif/lif-ipl")->bytes == 4096);
  CHECK(fact(found, "lif/lif-ipl", "checksum") == "good");
  CHECK(found.findings.empty());
  image[9000] ^= std::byte{1};
  CHECK(fact(survey_bytes(image), "lif/lif-ipl", "checksum") == "bad");
  const Survey m68k = survey_bytes(fixtures::make_m68k_lif_disk());
  CHECK(layer(m68k, "lif") != nullptr);
  CHECK(count_boot_layers(m68k) == 0);
}

TEST_CASE("dlV: both boot programs are layers") {
  const Bytes program = fixtures::make_aout(135);
  Bytes image = fixtures::make_dlv_disk(program);
  const Survey found = survey_bytes(image);
  INFO(findings_of(found));
  const Layer* first = layer(found, "dlv/dlv-boot");
  const Layer* second = layer(found, "dlv/dlv-boot-2");
  REQUIRE(first != nullptr);
  REQUIRE(second != nullptr);
  CHECK(first->start == 32 * 1024);
  CHECK(first->bytes == program.size());
  CHECK(first->facts.number("room_bytes") == 64 * 1024);
  CHECK(first->facts.words("machine") == "m68k");
  CHECK(second->start == 96 * 1024);
  CHECK(std::get<bool>(*second->facts.find("same_as_first")));
  CHECK(found.findings.empty());
  image[96 * 1024 + 500] ^= std::byte{1};
  const Survey differing = survey_bytes(image);
  CHECK_FALSE(std::get<bool>(*layer(differing, "dlv/dlv-boot-2")->facts.find("same_as_first")));
  CHECK(count_boot_layers(survey_bytes(fixtures::make_dlv_disk({}))) == 0);
}

TEST_CASE("no boot sector is seen in random bytes, also under planted magics") {
  std::mt19937 random(5);
  for (int i = 0; i < 300; ++i) {
    Bytes image(32 * 1024);
    for (std::byte& value : image)
      value = static_cast<std::byte>(random());
    if (i % 3 == 1) {
      encode_unsigned(std::span(image).subspan(8, 4), boot::kPmaxMagic, ByteOrder::little);
    }
    if (i % 3 == 2) type_bytes(image, 2, {0xcf, 1});
    CHECK(count_boot_layers(survey_bytes(std::move(image))) == 0);
  }
}
