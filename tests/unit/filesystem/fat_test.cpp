// FAT12, FAT16 and FAT32: typed bytes, then volumes of the writer, then both spoiled.
#include <array>
#include <random>

#include <catch2/catch.hpp>

#include "fat_support.h"
#include "filesystem/fat_names.h"
#include "support/hexfile.h"

namespace platter::test {
namespace {

using fixtures::FatOptions;
using fixtures::FatWriter;

std::uint64_t number(const Claim& claim, std::string_view name) {
  return claim.facts.number(name, 12345678901);
}

std::vector<std::byte> good() {
  return hex_fixture("filesystem/fat12/good.hex");
}

TEST_CASE("FAT12: the typed floppy is identified", "[fat]") {
  const auto found = claims_of("fat12", good());
  REQUIRE(found.size() == 1);
  const Claim& claim = found.front();
  CHECK(claim.strength == Strength::sane);
  CHECK(claim.findings.empty());
  CHECK(claim.bytes == 1474560);
  CHECK(claim.title == "FAT12 filesystem");
  CHECK(claim.facts.words("byte_order") == "little");
  CHECK(claim.facts.words("volume_name") == "GANNET");
  CHECK(claim.facts.words("serial") == "1234-5678");
  CHECK(claim.facts.words("system") == "CORVID");
  CHECK(claim.facts.words("clean") == "clean");
  CHECK(number(claim, "block_bytes") == 512);
  CHECK(number(claim, "volume_bytes") == 1474560);
  CHECK(number(claim, "clusters") == 2847);       // 2880 - 33 sectors
  CHECK(number(claim, "used_bytes") == 4 * 512);  // the bad one counts as not free
  CHECK(number(claim, "free_bytes") == 2843 * 512);
  CHECK(number(claim, "heads") == 2);
  CHECK(std::get<Timestamp>(*claim.facts.find("labelled")).seconds == 728568000);
  REQUIRE(claim.records.size() == 1);
  CHECK(claims_of("fat16", good()).empty());
  CHECK(claims_of("fat32", good()).empty());
}

TEST_CASE("FAT12: the typed floppy's files", "[fat]") {
  const View view = view_of(good());
  const auto volume = open_volume("fat12", view);
  const Tree tree = tree_of_volume(*volume, view);
  REQUIRE(tree.size() == 2);
  const TreeFile& readme = tree.at("readme.txt");
  CHECK(readme.type == "file");
  CHECK(readme.bytes == 5);
  CHECK_FALSE(readme.mode);
  CHECK_FALSE(readme.uid);
  CHECK_FALSE(readme.links);
  CHECK(readme.modified == 731078670);  // 1993-03-02 13:24:30, by `date -u`
  CHECK(readme.sha256 == "2cf24dba5fb0a30e26e83b2ac5b9e29e1b161e5c1fa7425e73043362938b9824");
  CHECK(tree.at("Gallery map").bytes == 600);
  const auto place = find_path(*volume, "Gallery map");
  REQUIRE(place);
  std::vector<Extent> extents;
  volume->each_extent(place->node, [&](const Extent& extent) {
    extents.push_back(extent);
    return true;
  });
  REQUIRE(extents.size() == 2);
  CHECK(extents[0].start == 17408);
  CHECK(extents[0].bytes == 512);
  CHECK(extents[1].offset == 512);
  CHECK(extents[1].start == 18432);
  CHECK(extents[1].bytes == 88);
  const Attributes attributes = volume->attributes(find_path(*volume, "readme.txt")->node);
  CHECK(attributes.created->seconds == 728568001);
  CHECK(attributes.accessed->seconds == 728524800);
  volume->check_records();
  CHECK(volume->take_findings().empty());
  const Runs runs = runs_of(*volume);
  CHECK(runs.without_gap);
  CHECK(runs.end == 1474560);
  CHECK(runs.metadata == 33 * 512);
  CHECK(runs.used == 3 * 512);
  CHECK(runs.bad == 512);
}

TEST_CASE("FAT: volumes of all three widths are read back", "[fat]") {
  for (const unsigned width : {12U, 16U, 32U}) {
    CAPTURE(width);
    const std::string id = "fat" + std::to_string(width);
    const auto bytes = fat_sample(width).build();
    const auto found = claims_of(id, bytes);
    REQUIRE(found.size() == 1);
    CHECK(found[0].strength == Strength::sane);
    CHECK(found[0].findings.empty());
    CHECK(found[0].facts.words("volume_name") == "GANNET");
    const Judged judged = judge(id, bytes);
    CHECK(judged.all() == "");
    REQUIRE(judged.tree.size() == 6);
    CHECK(judged.tree.at("EMPTY").bytes == 0);
    CHECK(judged.tree.at("SUB").type == "directory");
    CHECK(judged.tree.at("SUB/A long name, of more than thirteen characters.text").bytes == 1500);
    CHECK(judged.tree.at("SUB/deeper down/END").bytes == 512);
    CHECK(judged.tree.at("SUB/deeper down").modified == 694224000);
    const View view = view_of(bytes);
    const auto volume = open_volume(id, view);
    const Runs runs = runs_of(*volume);
    CHECK(runs.without_gap);
    CHECK(runs.end == bytes.size());
    CHECK(runs.used == number(found[0], "used_bytes"));
    CHECK(runs.free == number(found[0], "free_bytes"));
    const std::size_t clusters = 1 + 1 + 3 + 1 + 1 + (width == 32 ? 1U : 0U);
    CHECK(runs.used == clusters * 512);
    const Survey survey = survey_bytes(bytes);
    REQUIRE(layer(survey, id) != nullptr);
    CHECK(survey.layers.size() == 1);
    CHECK(findings_of(survey).empty());
  }
}

TEST_CASE("FAT: the number of clusters decides between 12 and 16 bits", "[fat]") {
  // 4084 and 4085 clusters, the border of ECMA-107 and every driver since.
  FatOptions options;
  options.sectors = 1 + 2 * 13 + 14 + 4084;
  const auto small = FatWriter(options).build();
  CHECK(claims_of("fat12", small).size() == 1);
  auto bytes = small;
  put_little(bytes, 19, options.sectors + 1, 2);
  bytes.resize(bytes.size() + 512);
  CHECK(claims_of("fat12", bytes).empty());
  REQUIRE(claims_of("fat16", bytes).size() == 1);
  // Thirteen sectors are too few for that many entries of 16 bits.
  CHECK(claims_of("fat16", bytes)[0].strength == Strength::magic);
  CHECK_FALSE(claims_of("fat16", bytes)[0].findings.empty());
}

TEST_CASE("FAT: floppies without a parameter block", "[fat]") {
  struct Kind {
    std::size_t kib;
    int media;
    std::size_t fat_sectors;
  };
  for (const Kind& kind : {Kind{160, 0xFE, 1}, {180, 0xFC, 2}, {320, 0xFF, 1}, {360, 0xFD, 2}}) {
    CAPTURE(kind.kib);
    std::vector<std::byte> bytes(kind.kib * 1024);
    for (const std::size_t copy : {std::size_t{0}, kind.fat_sectors}) {
      const std::size_t at = 512 + copy * 512;
      bytes[at] = static_cast<std::byte>(kind.media);
      bytes[at + 1] = bytes[at + 2] = std::byte{0xFF};
    }
    const std::size_t root = 512 + 2 * kind.fat_sectors * 512;
    const std::string name = "NOTE    TXT";
    for (std::size_t i = 0; i < name.size(); ++i)
      bytes[root + i] = static_cast<std::byte>(name[i]);
    const auto found = claims_of("fat12", bytes);
    REQUIRE(found.size() == 1);
    CHECK(found[0].strength == Strength::shape);
    CHECK(judge("fat12", bytes).tree.contains("NOTE.TXT"));
    auto other = bytes;
    other[512] = std::byte{0xF8};
    CHECK(claims_of("fat12", other).empty());
    other = bytes;
    other.resize(bytes.size() + 512);
    CHECK(claims_of("fat12", other).empty());
    other = bytes;
    other[root + 11] = std::byte{0xC0};  // no such attributes
    CHECK(claims_of("fat12", other).empty());
    CHECK(claims_of("fat12", std::vector<std::byte>(kind.kib * 1024, std::byte{0xFF})).empty());
  }
}

TEST_CASE("FAT: what only looks like a boot sector is none", "[fat]") {
  SECTION("a parameter block with nonsense in one field") {
    struct Spoiled {
      std::size_t at;
      std::uint64_t value;
      std::size_t width;
    };
    for (const Spoiled& spoiled : {Spoiled{11, 0, 2},
                                   {11, 513, 2},
                                   {13, 0, 1},
                                   {13, 3, 1},
                                   {14, 0, 2},
                                   {16, 0, 1},
                                   {16, 9, 1},
                                   {17, 0, 2},
                                   {19, 0, 2},
                                   {19, 30, 2},
                                   {21, 0x12, 1},
                                   {22, 0, 2}}) {
      CAPTURE(spoiled.at, spoiled.value);
      auto bytes = good();
      put_little(bytes, spoiled.at, spoiled.value, spoiled.width);
      for (const char* id : {"fat12", "fat16", "fat32"})
        CHECK(claims_of(id, bytes).empty());
    }
  }
  SECTION("a block in a true MBR, with no table behind it") {
    auto bytes = good();
    std::fill(bytes.begin() + 512, bytes.end(), std::byte{0});
    put_little(bytes, 54, 0, 8);  // no type text
    CHECK(claims_of("fat12", bytes).empty());
  }
  SECTION("random bytes with a signature and a media byte") {
    std::mt19937 random(9);
    for (int i = 0; i < 2000; ++i) {
      std::vector<std::byte> bytes(4096);
      for (std::byte& byte : bytes)
        byte = static_cast<std::byte>(random());
      put_little(bytes, 510, 0xAA55, 2);
      bytes[0] = std::byte{0xEB};
      bytes[2] = std::byte{0x90};
      bytes[21] = std::byte{0xF8};
      put_little(bytes, 11, 512, 2);
      for (const char* id : {"fat12", "fat16", "fat32"}) {
        for (const Claim& claim : claims_of(id, bytes))
          CHECK(claim.strength == Strength::magic);
      }
    }
  }
}

TEST_CASE("FAT: neither signature nor jump is needed when everything else agrees", "[fat]") {
  auto bytes = good();
  std::fill(bytes.begin(), bytes.begin() + 3, std::byte{0});
  put_little(bytes, 510, 0, 2);
  CHECK(claims_of("fat12", bytes).size() == 1);
  bytes[9760 + 11] = std::byte{0xFF};  // then the root directory must look like one
  CHECK(claims_of("fat12", bytes).empty());
}

TEST_CASE("FAT: records that disagree", "[fat]") {
  SECTION("copies of the table") {
    auto bytes = good();
    bytes[5120 + 4] ^= std::byte{0x20};
    const Judged judged = judge("fat12", bytes);
    CHECK(judged.says("copy 2 of the allocation table differs from the first in 1 bytes"));
    CHECK(judged.findings.front().start == 5124);
  }
  SECTION("media byte") {
    auto bytes = good();
    bytes[21] = std::byte{0xF9};
    REQUIRE(claims_of("fat12", bytes).size() == 1);
    CHECK(claims_of("fat12", bytes)[0].strength == Strength::magic);
    CHECK(judge("fat12", bytes).says("begins with 0xf0, expected the media byte 0xf9"));
  }
  SECTION("marks of FAT16") {
    const auto writer = fat_sample(16);
    auto bytes = writer.build();
    writer.set_entry(bytes, 1, 0x7FFF);
    CHECK(judge("fat16", bytes).says("in use"));
    CHECK(claims_of("fat16", bytes).at(0).facts.words("clean") == "not clean");
    writer.set_entry(bytes, 1, 0xBFFF);
    CHECK(judge("fat16", bytes).says("medium gave errors"));
  }
  SECTION("info sector and copy of FAT32") {
    auto bytes = fat_sample(32).build();
    put_little(bytes, 512 + 488, 5, 4);
    put_little(bytes, 512 + 492, 0x99999, 4);
    put_little(bytes, 6 * 512 + 36, 7, 4);
    const Judged judged = judge("fat32", bytes);
    CHECK(judged.says("5 clusters are free"));
    CHECK(judged.says("starts the search at cluster"));
    CHECK(judged.says("copy of the boot sector"));
    CHECK(judged.findings.size() == 3);
    put_little(bytes, 512 + 488, 0xFFFFFFFF, 4);  // unknown is no contradiction
    CHECK(judge("fat32", bytes).findings.size() == 2);
    put_little(bytes, 512, 0, 4);
    CHECK(judge("fat32", bytes).says("lacks its signatures"));
  }
  SECTION("entries to clusters that are not there") {
    const auto writer = fat_sample(12);
    auto bytes = writer.build();
    writer.set_entry(bytes, 2000, 2999);
    CHECK(judge("fat12", bytes).says("1 entries of the allocation table lead to clusters"));
  }
}

TEST_CASE("FAT: only the active copy counts when copies are not kept alike", "[fat]") {
  const auto writer = fat_sample(32);
  auto bytes = writer.build();
  put_little(bytes, 40, 0x81, 2);
  put_little(bytes, 6 * 512 + 40, 0x81, 2);
  std::fill_n(bytes.begin() + static_cast<std::ptrdiff_t>(writer.fat_start() + 8), 64,
              std::byte{7});
  const Judged judged = judge("fat32", bytes);
  CHECK(judged.all() == "");
  CHECK(judged.tree.size() == 6);
}

TEST_CASE("FAT: short names", "[fat]") {
  const auto writer = fat_sample(12);
  auto bytes = writer.build();
  const std::size_t at = writer.place_of_entry("EMPTY");
  const auto rename = [&](std::string_view name11) {
    for (std::size_t i = 0; i < 11; ++i)
      bytes[at + i] = static_cast<std::byte>(name11[i]);
  };
  SECTION("of code page 437, or another one") {
    rename(
        "\x9A"
        "BER    TXT");
    CHECK(judge("fat12", bytes)
              .tree.contains("\u00DC"
                             "BER.TXT"));
    CHECK(judge("fat12", bytes, {.charset = Charset::latin1})
              .tree.contains("\u009A"
                             "BER.TXT"));
  }
  SECTION("0x05 stands for 0xE5, the mark of deleted entries") {
    rename(
        "\x05"
        "X         ");
    CHECK(judge("fat12", bytes).tree.contains("\u03C3X"));  // sigma in code page 437
    rename(
        "\xE5"
        "X         ");
    CHECK(judge("fat12", bytes).tree.size() == 5);
  }
  SECTION("each part has its own case") {
    rename("BOTH    TXT");
    bytes[at + 12] = std::byte{0x08};
    CHECK(judge("fat12", bytes).tree.contains("both.TXT"));
    bytes[at + 12] = std::byte{0x10};
    CHECK(judge("fat12", bytes).tree.contains("BOTH.txt"));
  }
  SECTION("controls and a blank in front are said, and listed") {
    for (const std::string_view name :
         {std::string_view("A\x01"
                           "B        "),
          std::string_view("A\0B        ", 11), std::string_view(" AB        ")}) {
      rename(name);
      const Judged judged = judge("fat12", bytes);
      CHECK(judged.says("characters that its filesystem forbids"));
      CHECK(judged.tree.size() == 6);
    }
  }
  SECTION("a volume label deep in the tree is no file") {
    bytes[at + 11] = std::byte{0x08};
    CHECK(judge("fat12", bytes).tree.size() == 5);
  }
}

TEST_CASE("FAT: long names are taken only when all parts belong together", "[fat]") {
  const auto writer = fat_sample(12);
  const auto sound = writer.build();
  const std::string path = "SUB/A long name, of more than thirteen characters.text";
  const std::size_t at = writer.place_of_entry(path);
  const std::size_t parts = 4;  // 50 characters
  struct Spoiled {
    const char* what;
    std::size_t at;
    int value;
  };
  const Spoiled all[] = {{"order", at - 64, 0x03},
                         {"checksum", at - 32 + 13, 0x55},
                         {"no last mark", at - 32 * parts, 0x04},
                         {"too many parts", at - 32 * parts, 0x40 | 21},
                         {"deleted part", at - 64, 0xE5}};
  for (const Spoiled& spoiled : all) {
    CAPTURE(spoiled.what);
    auto bytes = sound;
    bytes[spoiled.at] = static_cast<std::byte>(spoiled.value);
    const Judged judged = judge("fat12", bytes);
    CHECK_FALSE(judged.tree.contains(path));
    CHECK(judged.tree.contains("SUB/LONG~1"));
    CHECK(judged.tree.size() == 6);
    CHECK(judged.says("a part of a long name"));
    CHECK(judged.count(Severity::fault) == 0);
    CHECK(judged.count(Severity::caution) == 0);
  }
  SECTION("a slash in a name is said") {
    auto bytes = sound;
    bytes[at - 32 + 1] = std::byte{'/'};
    const Judged judged = judge("fat12", bytes);
    CHECK(judged.says("characters that its filesystem forbids"));
    CHECK(judged.tree.size() == 6);
  }
}

TEST_CASE("FAT: the checksum of a short name", "[fat]") {
  // Linux fs/fat/fat.h, fat_checksum: computed by hand with rotate and add.
  std::array<std::byte, 32> raw{};
  const std::string name = "GALLER~1MAP";
  for (std::size_t i = 0; i < name.size(); ++i)
    raw[i] = static_cast<std::byte>(name[i]);
  CHECK(filesystem::fat_checksum(filesystem::FatEntry(raw.data(), ByteOrder::little)) == 0xFC);
}

TEST_CASE("FAT: times", "[fat]") {
  using filesystem::fat_time;
  CHECK(fat_time(0x0021, 0)->seconds == 315532800);        // 1980-01-01
  CHECK(fat_time(0x285D, 0)->seconds == 951782400);        // 2000-02-29
  CHECK(fat_time(0xFF9F, 0xBF7D)->seconds == 4354819198);  // 2107-12-31 23:59:58
  CHECK(fat_time(0x0021, 0x0001, 199)->seconds == 315532800 + 3);
  CHECK_FALSE(fat_time(0, 0));
  CHECK_FALSE(fat_time(0x0020, 0));       // day 0
  CHECK_FALSE(fat_time(0x3C5D, 0));       // 2010-02-29
  CHECK_FALSE(fat_time(0x0021, 0xC000));  // hour 24
  CHECK_FALSE(fat_time(0x0021, 0x001F));  // second 62
}

}  // namespace
}  // namespace platter::test
