// FAT volumes that lie: chains, directories, sizes, short images.
#include <catch2/catch.hpp>

#include "fat_support.h"

namespace platter::test {
namespace {

TEST_CASE("FAT: chains that cannot be", "[fat]") {
  const auto writer = fat_sample(12);
  auto bytes = writer.build();
  const std::string long_path = "SUB/A long name, of more than thirteen characters.text";
  const std::uint64_t first = writer.first_cluster(long_path);
  const std::size_t entry = writer.place_of_entry(long_path);
  const auto sound = judge("fat12", bytes).tree;
  SECTION("a loop") {
    writer.set_entry(bytes, first + 1, static_cast<std::uint32_t>(first));
    const Judged judged = judge("fat12", bytes);
    CHECK(judged.says("comes back to itself after 2 clusters, expected 3"));
    CHECK(judged.tree.at(long_path).sha256 == "missing");
  }
  SECTION("a loop of one") {
    writer.set_entry(bytes, first, static_cast<std::uint32_t>(first));
    CHECK(judge("fat12", bytes).says("comes back to itself after 1 clusters"));
  }
  SECTION("an end too early") {
    writer.set_entry(bytes, first + 1, 0xFFF);
    const Judged judged = judge("fat12", bytes);
    CHECK(judged.says("ends after 2 clusters, expected 3"));
    CHECK(judged.tree.at(long_path).sha256 == "missing");
  }
  SECTION("an end too late is no missing data") {
    put_little(bytes, entry + 28, 1000, 4);
    const Judged judged = judge("fat12", bytes);
    CHECK(judged.says("goes on behind the 2 clusters"));
    CHECK(judged.tree.at(long_path).sha256.size() == 64);
  }
  SECTION("a free, a reserved, a bad cluster in between") {
    for (const std::uint32_t value : {0U, 1U, 0xFF7U, 0xF00U}) {
      writer.set_entry(bytes, first + 1, value);
      const Judged judged = judge("fat12", bytes);
      CHECK(judged.says("expected a cluster or an end mark"));
      CHECK(judged.tree.at(long_path).sha256 == "missing");
    }
  }
  SECTION("a size without a chain, and a chain without a size") {
    put_little(bytes, entry + 26, 0, 2);
    put_little(bytes, writer.place_of_entry("EMPTY") + 26, 9, 2);
    const Judged judged = judge("fat12", bytes);
    CHECK(judged.says("starts at cluster 0"));
    CHECK(judged.says("an empty file starts at cluster 9"));
    CHECK(judged.tree.at(long_path).sha256 == "missing");
    CHECK(judged.tree.at("EMPTY") == sound.at("EMPTY"));
  }
  SECTION("the largest size there is") {
    put_little(bytes, entry + 28, 0xFFFFFFFF, 4);
    const View view = view_of(bytes);
    const auto volume = open_volume("fat12", view);
    std::uint64_t mapped = 0;
    std::size_t extents = 0;
    volume->each_extent(find_path(*volume, long_path)->node, [&](const Extent& extent) {
      if (!extent.absent) mapped += extent.bytes;
      ++extents;
      return true;
    });
    CHECK(mapped == 3 * 512);
    CHECK(extents == 2);
  }
}

TEST_CASE("FAT: directories that lead back or nowhere", "[fat]") {
  const auto writer = fat_sample(12);
  auto bytes = writer.build();
  const std::size_t deeper = writer.place_of_entry("SUB/deeper down");
  const std::uint64_t sub = writer.first_cluster("SUB");
  SECTION("to its parent") {
    put_little(bytes, deeper + 26, sub, 2);
    const Judged judged = judge("fat12", bytes);
    CHECK(judged.says("was entered before"));
  }
  SECTION("to the root") {
    put_little(bytes, deeper + 26, 0, 2);
    const Judged judged = judge("fat12", bytes);
    CHECK(judged.says("a directory starts at cluster 0"));
    CHECK(judged.says("was entered before"));
  }
  SECTION("past the end") {
    put_little(bytes, deeper + 26, 60000, 2);
    CHECK(judge("fat12", bytes).says("a directory starts at cluster 60000"));
  }
  SECTION("a chain of directory clusters that loops") {
    writer.set_entry(bytes, sub, static_cast<std::uint32_t>(sub));
    const Judged judged = judge("fat12", bytes);
    CHECK(judged.says("comes back to itself after 1 clusters"));
    CHECK(judged.tree.size() == 6);
  }
  SECTION("dot entries that lie") {
    const std::size_t dots = writer.place_of_cluster(writer.first_cluster("SUB/deeper down"));
    put_little(bytes, dots + 26, 2, 2);
    put_little(bytes, dots + 32 + 26, writer.first_cluster("SUB/deeper down"), 2);
    const Judged judged = judge("fat12", bytes);
    CHECK(judged.says("the entry '.' leads to cluster 2"));
    CHECK(judged.says("the entry '..' leads to cluster"));
    CHECK(judged.tree.size() == 6);
  }
  SECTION("'..' as a name in the root is no file") {
    const std::size_t at = writer.place_of_entry("EMPTY");
    for (std::size_t i = 0; i < 11; ++i)
      bytes[at + i] = static_cast<std::byte>(i < 2 ? '.' : ' ');
    const Judged judged = judge("fat12", bytes);
    CHECK(judged.says("the root directory holds an entry '..'"));
    CHECK(judged.tree.size() == 5);
  }
}

TEST_CASE("FAT: a short image loses what is not there, and nothing else", "[fat]") {
  const auto writer = fat_sample(12);
  auto bytes = writer.build();
  bytes.resize(writer.place_of_cluster(writer.first_cluster("SUB/deeper down")));
  const Judged judged = judge("fat12", bytes);
  CHECK(judged.tree.size() == 5);
  CHECK(judged.says("lie past the end of the image"));
  CHECK(judged.tree.at("README.TXT").sha256.size() == 64);
  const Survey survey = survey_bytes(bytes);
  CHECK(has_finding(survey, FindingCode::image_short));
}

TEST_CASE("FAT: a volume that claims terabytes costs what is there", "[fat]") {
  auto bytes = fat_sample(32).build();
  put_little(bytes, 32, 0xFFFFFFF0, 4);  // sectors of the volume
  put_little(bytes, 36, 0x03FFFFFF, 4);  // sectors of a table
  bytes[16] = std::byte{1};              // one table
  const auto found = claims_of("fat32", bytes);
  REQUIRE(found.size() == 1);
  CHECK(found[0].bytes == 0xFFFFFFF0ULL * 512);
  const View view = view_of(bytes);
  const auto volume = open_volume("fat32", view);
  const Runs runs = runs_of(*volume);
  CHECK(runs.without_gap);
  CHECK(runs.end == found[0].bytes);
  // No more clusters are judged than the image has entries for.
  CHECK(runs.used + runs.free <= bytes.size() / 4 * 512);
  volume->check_records();
  CHECK_FALSE(volume->take_findings().empty());
}

TEST_CASE("FAT: no flipped byte of the records hangs a walk", "[fat]") {
  for (const unsigned width : {12U, 16U, 32U}) {
    const auto writer = fat_sample(width);
    const auto sound = writer.build();
    const std::string id = "fat" + std::to_string(width);
    std::vector<std::size_t> places;
    for (std::size_t i = 0; i < 90; ++i)
      places.push_back(i);
    for (std::size_t i = 0; i < 40; ++i)
      places.push_back(writer.fat_start() + i);
    for (const char* path : {"SUB", "EMPTY", "README.TXT"}) {
      for (std::size_t i = 0; i < 32; ++i)
        places.push_back(writer.place_of_entry(path) + i);
    }
    auto bytes = sound;
    for (const std::size_t place : places) {
      for (const int value : {0xFF, 0x80, 0x01}) {
        bytes[place] = sound[place] ^ static_cast<std::byte>(value);
        const View view = view_of(bytes);
        const auto volume = find_format(id)->open(view, {});
        if (volume == nullptr) continue;
        std::vector<Finding> findings;
        std::size_t files = 0;
        walk(
            *volume, volume->root(), "",
            [&](const FileVisit& visit) {
              read_content(
                  *volume, view, visit.entry.node,
                  [](std::uint64_t, std::uint64_t, std::span<const std::byte>) { return true; });
              return ++files > 100'000 ? Step::stop : Step::go_on;
            },
            findings);
        CHECK(files <= 100'000);
      }
      bytes[place] = sound[place];
    }
  }
}

}  // namespace
}  // namespace platter::test
