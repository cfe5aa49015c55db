// HFS: the bytes of a verified example, volumes of the writer, and both spoiled.
#include <catch2/catch.hpp>

#include "fat_support.h"
#include "filesystem/hfs_layout.h"
#include "support/hexfile.h"
#include "volume_exercise.h"
#include "writers/hfs_writer.h"

namespace platter::test {
namespace {

using fixtures::HfsWriter;

std::uint64_t number(const Claim& claim, std::string_view name) {
  return claim.facts.number(name, 12345678901);
}
void put(std::vector<std::byte>& bytes, std::size_t at, std::uint64_t value, std::size_t width) {
  encode_unsigned(std::span(bytes).subspan(at, width), value, ByteOrder::big);
}
std::uint64_t get(const std::vector<std::byte>& bytes, std::size_t at, std::size_t width) {
  return decode_unsigned(std::span(bytes).subspan(at, width), ByteOrder::big);
}
// Offset of a catalog record that holds these bytes.
std::size_t place_of(const std::vector<std::byte>& bytes, std::string_view text, std::size_t from) {
  const auto found =
      std::search(bytes.begin() + static_cast<std::ptrdiff_t>(from), bytes.end(), text.begin(),
                  text.end(), [](std::byte b, char c) { return b == static_cast<std::byte>(c); });
  REQUIRE(found != bytes.end());
  return static_cast<std::size_t>(found - bytes.begin());
}

HfsWriter sample() {
  HfsWriter writer;
  writer.add_file("Read Me", {"hello"}, {std::string(700, 'r')})
      .add_file("empty", {})
      .add_directory("Folder")
      .add_file("Folder/in pieces", {std::string(20 * 512 - 7, 'p'), 11})
      .add_directory("Folder/deeper");
  for (int i = 0; i < 40; ++i)
    writer.add_file("Folder/deeper/number " + std::to_string(i), {std::to_string(i)});
  return writer;
}

TEST_CASE("HFS: the header of a verified hybrid disc is read", "[hfs]") {
  const auto bytes = hex_fixture("filesystem/hfs/hybrid.hex");
  const auto found = claims_of("hfs", bytes);
  REQUIRE(found.size() == 1);
  const Claim& claim = found.front();
  CHECK(claim.strength == Strength::sane);
  CHECK(claim.findings.empty());
  CHECK(claim.bytes == 4 * 512 + 440 * 2048);
  CHECK(claim.facts.words("volume_name") == "HVOL");
  CHECK(claim.facts.words("byte_order") == "big");
  CHECK(claim.facts.words("clean") == "clean");
  CHECK(number(claim, "block_bytes") == 2048);
  CHECK(number(claim, "used_bytes") == 440 * 2048);
  CHECK(number(claim, "free_bytes") == 0);
  CHECK(number(claim, "files") == 5);
  // The one file whose record is in the example: six bytes in block 26.
  const View view = view_of(bytes);
  const auto volume = open_volume("hfs", view);
  const auto place = find_path(*volume, "a.txt");
  REQUIRE(place);
  std::vector<Extent> extents;
  volume->each_extent(place->node, [&](const Extent& extent) {
    extents.push_back(extent);
    return true;
  });
  REQUIRE(extents.size() == 1);
  CHECK(extents[0].start == 55296);
  CHECK(extents[0].bytes == 6);
  bool any = false;
  volume->each_run([&](const BlockRun&) { return any = true; });
  CHECK_FALSE(any);  // a hybrid's bitmap says nothing
}

TEST_CASE("HFS: a volume of the writer is read back", "[hfs]") {
  auto writer = sample();
  const auto bytes = writer.build();
  CHECK(writer.catalog_leaves() > 4);
  const auto found = claims_of("hfs", bytes);
  REQUIRE(found.size() == 1);
  CHECK(found[0].strength == Strength::sane);
  CHECK(found[0].bytes == bytes.size());
  CHECK(found[0].records.size() == 2);
  const Judged judged = judge("hfs", bytes);
  CHECK(judged.all() == "");
  CHECK(judged.tree.size() == 46);
  CHECK(judged.tree.at("Read Me").bytes == 5);
  CHECK(judged.tree.at("Read Me.rsrc").bytes == 700);
  CHECK(judged.tree.at("Folder/in pieces").bytes == 20 * 512 - 7);
  CHECK(judged.tree.at("Folder/deeper/number 39").bytes == 2);
  CHECK(judged.tree.at("Folder").modified == 0xA8000000LL - 2082844800LL);
  CHECK_FALSE(judged.tree.at("Folder").mode);

  const View view = view_of(bytes);
  const auto volume = open_volume("hfs", view);
  std::size_t extents = 0;
  volume->each_extent(find_path(*volume, "Folder/in pieces")->node, [&](const Extent&) {
    ++extents;
    return true;
  });
  CHECK(extents == 11);
  const Runs runs = runs_of(*volume);
  CHECK(runs.without_gap);
  CHECK(runs.end == bytes.size());
  CHECK(runs.used == (1 + 2 + 20 + 40) * 512);
  CHECK(runs.metadata == 4 * 512 + 2 * 64 * 512 + 2 * 512);
  const Survey survey = survey_bytes(bytes);
  CHECK(survey.layers.size() == 1);
  CHECK(findings_of(survey).empty());
}

TEST_CASE("HFS: attributes of a directory do not depend on what was read before", "[hfs]") {
  auto writer = sample();
  const auto bytes = writer.build();
  const View view = view_of(bytes);
  const auto volume = open_volume("hfs", view);
  const Attributes attributes = volume->attributes(writer.id_of("Folder/deeper"));
  CHECK(attributes.type == NodeType::directory);
  CHECK(attributes.modified->seconds == 0xA8000000LL - 2082844800LL);
  CHECK(volume->attributes(9999).type == NodeType::unknown);
  CHECK(volume->attributes(kLargest).type == NodeType::unknown);
}

TEST_CASE("HFS: names of resource forks give way to real names", "[hfs]") {
  HfsWriter writer;
  writer.add_file("A", {"a"}, {"ra"})
      .add_file("A.rsrc", {"b"}, {"rbb"})
      .add_file("A.rsrc-2", {"c"})
      .add_file("B", {}, {"r"});
  const Judged judged = judge("hfs", writer.build());
  CHECK(judged.all() == "");
  CHECK(judged.tree.size() == 7);
  CHECK(judged.tree.at("A.rsrc").bytes == 1);
  CHECK(judged.tree.at("A.rsrc-3").bytes == 2);
  CHECK(judged.tree.at("A.rsrc.rsrc").bytes == 3);
  CHECK(judged.tree.at("B.rsrc").bytes == 1);
}

TEST_CASE("HFS: names with a slash, a colon, zero and upper characters", "[hfs]") {
  HfsWriter writer;
  writer.add_file("a?b", {"1"}).add_file("caf\x8E", {"2"});
  auto bytes = writer.build();
  const std::size_t at = place_of(bytes, "a?b", writer.catalog_place());
  bytes[at + 1] = std::byte{'/'};
  Judged judged = judge("hfs", bytes);
  CHECK(judged.all() == "");
  CHECK(judged.tree.contains("a:b"));
  CHECK(judged.tree.contains("caf\u00E9"));
  bytes[at + 1] = std::byte{':'};
  judged = judge("hfs", bytes);
  CHECK(judged.says("holds a colon"));
  CHECK(judged.tree.size() == 2);
  bytes[at + 1] = std::byte{0};
  CHECK(judge("hfs", bytes).tree.contains("a%00b"));
}

TEST_CASE("HFS: the order of names", "[hfs]") {
  using filesystem::compare_hfs_names;
  CHECK(compare_hfs_names("abc", "ABC") == 0);
  CHECK(compare_hfs_names("abc", "ABD") < 0);
  CHECK(compare_hfs_names("ab", "abc") < 0);
  CHECK(compare_hfs_names("Z", "_") < 0);
  CHECK(compare_hfs_names("", "a") < 0);
  CHECK(compare_hfs_names("\x80", "\x8A") == 0);  // a with dots, upper and lower case
}

TEST_CASE("HFS: fields of the header that cannot be", "[hfs]") {
  struct Spoiled {
    std::size_t at;
    std::uint64_t value;
    std::size_t width;
  };
  auto writer = sample();
  const auto sound = writer.build();
  for (const Spoiled& spoiled : {Spoiled{14, 2, 2},
                                 {18, 0, 2},
                                 {20, 0, 4},
                                 {20, 513, 4},
                                 {20, 0xFFFFFE00, 4},
                                 {28, 3, 2},
                                 {30, 3, 4},
                                 {34, 601, 2},
                                 {36, 0, 1},
                                 {36, 28, 1},
                                 {136, 0, 2},
                                 {150, 600, 2},
                                 {146, 100, 4},
                                 {130, 0, 4}}) {
    CAPTURE(spoiled.at, spoiled.value);
    auto bytes = sound;
    put(bytes, 1024 + spoiled.at, spoiled.value, spoiled.width);
    const auto found = claims_of("hfs", bytes);
    REQUIRE(found.size() == 1);  // the spare copy stands for it
    CHECK(found[0].strength == Strength::magic);
    CHECK(found[0].findings.size() == 1);
    CHECK(judge("hfs", bytes).tree.size() == 46);
    put(bytes, bytes.size() - 1024, 0, 2);
    CHECK(claims_of("hfs", bytes).empty());
  }
  auto bytes = sound;
  put(bytes, 1024, 0, 2);
  CHECK(claims_of("hfs", bytes).empty());  // a copy alone is a remnant
}

TEST_CASE("HFS: records that disagree", "[hfs]") {
  auto writer = sample();
  auto bytes = writer.build();
  const std::size_t catalog = writer.catalog_place();
  SECTION("free count") {
    put(bytes, 1024 + 34, get(bytes, 1024 + 34, 2) - 1, 2);
    CHECK(judge("hfs", bytes).says("blocks are free, expected"));
  }
  SECTION("counts of files") {
    put(bytes, 1024 + 84, 1, 4);
    CHECK(
        judge("hfs", bytes).says("the header counts 1 files and 2 directories, expected 43 and 2"));
  }
  SECTION("no copy of the header") {
    put(bytes, bytes.size() - 1024, 0, 2);
    const Judged judged = judge("hfs", bytes);
    CHECK(judged.says("no copy of the header"));
    CHECK(judged.count(Severity::note) == 1);
    CHECK(judged.findings.size() == 1);
  }
  SECTION("valence") {
    // The first record of the first leaf is the root directory: kind, flags, then valence.
    const std::size_t at = place_of(bytes, "Gannet", catalog) + 6 + 1;
    REQUIRE(get(bytes, at, 1) == 1);
    REQUIRE(get(bytes, at + 4, 2) == 3);
    put(bytes, at + 4, 7, 2);
    CHECK(judge("hfs", bytes).says("directory 2 claims 4 more entries than it has"));
  }
  SECTION("order of keys") {
    const std::size_t at = place_of(bytes, "number 10", catalog);
    put(bytes, at + 7, 0x3939, 2);
    CHECK(judge("hfs", bytes).says("a key that is not above the one before"));
  }
  SECTION("node size") {
    put(bytes, catalog + 14 + 18, 0xFFFF, 2);
    const Judged judged = judge("hfs", bytes);
    CHECK(judged.says("nodes have 65535 bytes"));
    CHECK(judged.tree.size() == 46);
  }
}

TEST_CASE("HFS: trees that lead back or nowhere", "[hfs]") {
  auto writer = sample();
  auto bytes = writer.build();
  const std::size_t catalog = writer.catalog_place();
  const std::size_t leaves = writer.catalog_leaves();
  SECTION("a leaf followed by itself") {
    put(bytes, catalog + 2 * 512, 2, 4);
    const Judged judged = judge("hfs", bytes);
    CHECK(judged.says("leaf 2 of a tree is followed by node 2"));
    CHECK(judged.tree.size() < 46);
  }
  SECTION("leaves in a circle that agree with one another") {
    put(bytes, catalog + leaves * 512, 1, 4);
    put(bytes, catalog + 1 * 512 + 4, leaves, 4);
    const Judged judged = judge("hfs", bytes);
    CHECK(judged.count(Severity::fault) != 0);
    CHECK(judged.tree.size() <= 46);
  }
  SECTION("an index that leads to itself") {
    const std::uint64_t root = get(bytes, catalog + 14 + 2, 4);
    const std::size_t node = catalog + root * 512;
    for (std::size_t i = 0; i < get(bytes, node + 10, 2); ++i) {
      const std::size_t record = node + get(bytes, node + 512 - 2 * (i + 1), 2);
      put(bytes, record + 38, root, 4);
    }
    const Judged judged = judge("hfs", bytes);
    CHECK(judged.tree.empty());
    CHECK(judged.says("of a tree leads to node"));
  }
  SECTION("a root beyond the file") {
    put(bytes, catalog + 14 + 2, 0x7FFFFFFF, 4);
    CHECK(judge("hfs", bytes).says("the root of a tree is node 2147483647"));
  }
  SECTION("records whose offsets are nonsense") {
    for (std::size_t leaf = 1; leaf <= leaves; ++leaf) {
      for (std::size_t at = 500; at < 512; at += 2)
        put(bytes, catalog + leaf * 512 + at, 0xFFFF, 2);
      put(bytes, catalog + leaf * 512 + 10, 0xFFFF, 2);
    }
    CHECK(judge("hfs", bytes).tree.size() < 46);
  }
  SECTION("a directory inside itself") {
    const std::size_t at = place_of(bytes, "deeper", catalog) + 6 + 1;
    REQUIRE(get(bytes, at, 1) == 1);
    put(bytes, at + 6, writer.id_of("Folder"), 4);
    CHECK(judge("hfs", bytes).says("was entered before"));
  }
}

TEST_CASE("HFS: an index that leads astray does not make every search a long one", "[hfs]") {
  HfsWriter writer({.blocks = 2000});
  for (int i = 0; i < 100; ++i)
    writer.add_directory("directory " + std::to_string(i));
  auto bytes = writer.build();
  const Exercise sound = exercise("hfs", bytes);
  CHECK(sound.findings.empty());
  CHECK(sound.entries == 100);
  // Every search begins at the first leaf.
  const std::size_t header = writer.catalog_place() + 14;
  put(bytes, header + 2, get(bytes, header + 10, 4), 4);
  const Exercise astray = exercise("hfs", bytes);
  CHECK(astray.words().find("more in vain, expected keys in order") != std::string::npos);
  CHECK(astray.entries == 100);
  CHECK(astray.bytes_read < 2 * sound.bytes_read + 5 * get(bytes, header + 22, 4) * 512);
}

TEST_CASE("HFS: names that resource forks could get are tried, but not for ever", "[hfs]") {
  HfsWriter writer({.blocks = 600});
  writer.add_file("a", {"data"}, {"resource"}).add_file("a.rsrc", {});
  for (int i = 2; i < 150; ++i)
    writer.add_file("a.rsrc-" + std::to_string(i), {});
  const Exercise done = exercise("hfs", writer.build());
  CHECK(done.findings.empty());
  CHECK(done.entries == 151);
}

TEST_CASE("HFS: extents that cannot be", "[hfs]") {
  auto writer = sample();
  auto bytes = writer.build();
  const std::size_t catalog = writer.catalog_place();
  const std::size_t file = place_of(bytes, "in pieces", catalog) + 9;
  REQUIRE(get(bytes, file, 1) == 2);
  SECTION("past the end") {
    put(bytes, file + 74, 599, 2);
    put(bytes, file + 76, 1000, 2);
    const Judged judged = judge("hfs", bytes);
    CHECK(judged.says("covers blocks 599 to 1598, expected blocks below 600"));
    CHECK(judged.tree.at("Folder/in pieces").sha256 == "missing");
  }
  SECTION("a larger size than they cover") {
    put(bytes, file + 26, 0xFFFFFFFF, 4);
    const Judged judged = judge("hfs", bytes);
    CHECK(judged.says("cover 10240 bytes, expected 4294967295"));
    CHECK(judged.tree.at("Folder/in pieces").sha256 == "missing");
  }
  SECTION("overflow records that leave a gap") {
    const std::size_t leaf = writer.extents_place() + 512;
    const std::size_t second = leaf + get(bytes, leaf + 508, 2);
    put(bytes, second + 6, get(bytes, second + 6, 2) + 1, 2);
    const Judged judged = judge("hfs", bytes);
    CHECK(judged.says("go on at its block"));
    CHECK(judged.tree.at("Folder/in pieces").sha256 == "missing");
  }
  SECTION("no overflow tree at all") {
    put(bytes, writer.extents_place() + 8, 0, 1);
    CHECK(judge("hfs", bytes).tree.at("Folder/in pieces").sha256 == "missing");
  }
}

TEST_CASE("HFS: no flipped byte of the records hangs a walk", "[hfs]") {
  auto writer = sample();
  const auto sound = writer.build();
  std::vector<std::size_t> places;
  for (std::size_t i = 0; i < 162; ++i)
    places.push_back(1024 + i);
  for (std::size_t node = 0; node < 4; ++node) {
    for (std::size_t i = 0; i < 512; i += node == 0 ? 1 : 3)
      places.push_back(writer.catalog_place() + node * 512 + i);
  }
  auto bytes = sound;
  for (const std::size_t place : places) {
    for (const int value : {0xFF, 0x01}) {
      bytes[place] = sound[place] ^ static_cast<std::byte>(value);
      const View view = view_of(bytes);
      const auto volume = find_format("hfs")->open(view, {});
      if (volume == nullptr) continue;
      std::vector<Finding> findings;
      std::size_t files = 0;
      walk(
          *volume, volume->root(), "",
          [&](const FileVisit& visit) {
            volume->each_extent(visit.entry.node, [](const Extent&) { return true; });
            return ++files > 10'000 ? Step::stop : Step::go_on;
          },
          findings);
      volume->check_records();
      runs_of(*volume);
      CHECK(files <= 10'000);
    }
    bytes[place] = sound[place];
  }
}

}  // namespace
}  // namespace platter::test
