// The writer's own promises; whether others can read its volumes is the reference test's business.
#include "writers/iso9660_writer.h"

#include <catch2/catch.hpp>

#include "filesystem/iso9660_structures.h"
#include "iso9660_support.h"
#include "support/hexfile.h"
#include "writers/iso9660_entries.h"

using namespace platter;
using namespace platter::test;
using platter::fixtures::Iso9660Writer;
using platter::fixtures::IsoOptions;

namespace {

constexpr std::size_t kSector = 2048;

std::string text_at(const std::vector<std::byte>& bytes, std::size_t at, std::size_t count) {
  REQUIRE(at + count <= bytes.size());
  return {reinterpret_cast<const char*>(bytes.data()) + at, count};
}

std::vector<std::byte> part(const std::vector<std::byte>& bytes, std::size_t at,
                            std::size_t count) {
  REQUIRE(at + count <= bytes.size());
  const auto first = bytes.begin() + static_cast<std::ptrdiff_t>(at);
  return {first, first + static_cast<std::ptrdiff_t>(count)};
}

IsoOptions plain() {
  IsoOptions options;
  options.rock_ridge = false;
  return options;
}

}  // namespace

TEST_CASE("the writer's smallest volume has the bytes that ECMA-119 wants") {
  Iso9660Writer writer(plain());
  writer.add_file("readme.txt", "hello\n", {.modified = 740143800});
  const auto bytes = writer.build();
  // Descriptor 16, terminator 17, tables 18 and 19, root 20, file 21.
  REQUIRE(bytes.size() == 22 * kSector);
  CHECK(writer.sector_of("readme.txt") == 21);
  CHECK(part(bytes, 0x8000 + 80, 8) == hex_text("16 00 00 00 00 00 00 16", "space"));
  CHECK(part(bytes, 0x8000 + 132, 24) ==
        hex_text("0A 00 00 00 00 00 00 0A 12 00 00 00 00 00 00 00 00 00 00 13 00 00 00 00",
                 "tables"));
  CHECK(part(bytes, 0x8800, 7) == hex_text("FF 43 44 30 30 31 01", "terminator"));
  CHECK(part(bytes, 0x9000, 10) == hex_text("01 00 14 00 00 00 01 00 00 00", "L"));
  CHECK(part(bytes, 0x9800, 10) == hex_text("01 00 00 00 00 14 00 01 00 00", "M"));
  CHECK(part(bytes, 0xA000 + 68, 46) ==
        hex_text("2E 00 15 00 00 00 00 00 00 15 06 00 00 00 00 00 00 06 5D 06 0F 0B 1E 00 00 00 00 "
                 "00 01 00 00 01 0C \"README.TXT;1\" 00",
                 "record"));
  CHECK(text_at(bytes, 21 * kSector, 6) == "hello\n");
}

TEST_CASE("the same calls give the same bytes, and build() may be called again") {
  const auto build = [] {
    IsoOptions options;
    options.joliet = true;
    options.times.created = 800000000;
    Iso9660Writer writer(options);
    writer.add_file("b/file", "1").add_file("a", std::string(5000, 'z')).add_symlink("s", "b/file");
    auto first = writer.build();
    CHECK(first == writer.build());
    return first;
  };
  CHECK(build() == build());
}

TEST_CASE("identifiers are made of d-characters and differ") {
  using fixtures::iso9660::plain_identifier;
  CHECK(plain_identifier("readme.txt", false, 1, 0) == "README.TXT;1");
  CHECK(plain_identifier("Makefile", false, 1, 0) == "MAKEFILE.;1");
  CHECK(plain_identifier("archive.tar.gz", false, 1, 0) == "ARCHIVE_.GZ;1");
  CHECK(plain_identifier("long-name.html", false, 1, 7) == "LONG_007.HTM;1");
  CHECK(plain_identifier(".profile", false, 1, 0) == "_PROFILE.;1");
  CHECK(plain_identifier("lib.d", true, 1, 0) == "LIB_D");
  CHECK(plain_identifier("a-rather-long-directory-name-for-us", true, 2, 0) ==
        "A_RATHER_LONG_DIRECTORY_NAME_FO");
  CHECK(plain_identifier("a-rather-long-file-name-for-all-of-us.txt", false, 2, 0) ==
        "A_RATHER_LONG_FILE_NAME_FOR.TXT;1");

  Iso9660Writer writer(plain());
  writer.add_file("alphabet-1", "").add_file("alphabet-2", "").add_file("alphabet-3", "");
  const auto bytes = writer.build();
  const std::string root = text_at(bytes, 20 * kSector, 400);
  CHECK(root.find("ALPHABET.;1") != std::string::npos);
  CHECK(root.find("ALPHA001.;1") != std::string::npos);
  CHECK(root.find("ALPHA002.;1") != std::string::npos);
}

TEST_CASE("records are sorted as if short names were filled with blanks") {
  Iso9660Writer writer(plain());
  writer.add_file("a1.b", "").add_file("a.c0", "").add_file("a.c", "").add_file("a", "");
  const std::string root = text_at(writer.build(), 20 * kSector, 400);
  const auto at = [&](const char* name) { return root.find(name); };
  CHECK(at("A.;1") < at("A.C;1"));
  CHECK(at("A.C;1") < at("A.C0;1"));
  CHECK(at("A.C0;1") < at("A1.B;1"));
}

TEST_CASE("a long name and a link's target go on in further entries") {
  using fixtures::iso9660::link_entries;
  using fixtures::iso9660::name_entries;
  const auto names = name_entries(std::string(255, 'n'));
  REQUIRE(names.size() == 2);
  CHECK(part(names[0], 0, 5) == hex_text("4E 4D FF 01 01", "NM, continued"));
  CHECK(part(names[1], 0, 6) == hex_text("4E 4D 0A 01 00 6E", "NM"));

  const auto absolute = link_entries("/usr/./../lib");
  REQUIRE(absolute.size() == 1);
  CHECK(absolute[0] ==
        hex_text("53 4C 15 01 00  08 00  00 03 \"usr\"  02 00  04 00  00 03 \"lib\"", "SL"));
  const auto two = link_entries(std::string(200, 'a') + "/" + std::string(200, 'b'));
  REQUIRE(two.size() == 2);
  CHECK(two[0][4] == std::byte{1});
  CHECK(two[1][4] == std::byte{0});
}

TEST_CASE("the boot catalog's words sum to zero") {
  IsoOptions options = plain();
  options.boot = fixtures::IsoBoot{.path = "boot.bin", .load_blocks = 8, .id = "CORVIDOS"};
  Iso9660Writer writer(options);
  writer.add_file("boot.bin", std::string(4096, 'b'));
  const auto bytes = writer.build();
  CHECK(text_at(bytes, 17 * kSector + 7, 23) == "EL TORITO SPECIFICATION");
  const auto catalog =
      kSector * static_cast<std::size_t>(std::to_integer<unsigned>(bytes[17 * kSector + 71]));
  unsigned sum = 0;
  for (std::size_t i = 0; i < 32; i += 2) {
    sum += std::to_integer<unsigned>(bytes[catalog + i]) |
           std::to_integer<unsigned>(bytes[catalog + i + 1]) << 8U;
  }
  CHECK(sum % 0x10000 == 0);
  CHECK(part(bytes, catalog + 30, 2) == hex_text("55 AA", "key"));
  CHECK(bytes[catalog + 32] == std::byte{0x88});
  CHECK(bytes[catalog + 38] == std::byte{8});
  CHECK(bytes[catalog + 40] == static_cast<std::byte>(writer.sector_of("boot.bin")));
}

TEST_CASE("the system area is kept and padding belongs to the volume") {
  IsoOptions options;
  options.system_area.assign(512, std::byte{0x5A});
  options.padding_sectors = 150;
  const auto bytes = Iso9660Writer(options).build();
  CHECK(bytes[0] == std::byte{0x5A});
  CHECK(bytes[511] == std::byte{0x5A});
  CHECK(bytes[512] == std::byte{0});
  const auto claim = iso_claim(bytes);
  REQUIRE(claim.has_value());
  CHECK(claim->findings.empty());
  CHECK(claim->bytes == bytes.size());
}

TEST_CASE("a volume with many directories and long lists is sound") {
  IsoOptions options;
  options.joliet = true;
  options.interchange_level = 2;
  Iso9660Writer writer(options);
  for (int i = 0; i < 300; ++i) {
    const std::string name = "a-file-with-a-rather-long-name-" + std::to_string(i);
    writer.add_file("directory-" + std::to_string(i % 40) + "/sub/" + name, name);
    writer.add_file(name, name);
  }
  const auto claim = iso_claim(writer.build());
  REQUIRE(claim.has_value());
  for (const Finding& finding : claim->findings)
    UNSCOPED_INFO(finding.message);
  CHECK(claim->findings.empty());
  CHECK(claim->facts.number("directories") == 81);
}

TEST_CASE("what cannot be written is refused") {
  Iso9660Writer writer;
  writer.add_file("a", "");
  CHECK_THROWS_AS(writer.add_file("a", ""), std::invalid_argument);
  CHECK_THROWS_AS(writer.add_file("a/b", ""), std::invalid_argument);
  CHECK_THROWS_AS(writer.add_file("", ""), std::invalid_argument);
  CHECK_THROWS_AS(writer.add_file("1/2/3/4/5/6/7/8/x", ""), std::invalid_argument);
  CHECK_THROWS_AS(writer.sector_of("b"), std::invalid_argument);
  CHECK_NOTHROW(Iso9660Writer().add_file("1/2/3/4/5/6/7/x", ""));
  IsoOptions options;
  options.system_area.resize(32769);
  CHECK_THROWS_AS(Iso9660Writer(options).build(), std::invalid_argument);
}
