// A stock Linux kernel reads what our fixture writers and the stock makers write, and platter reads
// the same.
//
// Outside reference: the partition parsers (block/partitions) and filesystem drivers (fs) of the
// kernel that Debian ships, in an emulator. They share no code with platter.
#include <cstdlib>
#include <fstream>

#include <catch2/catch.hpp>

#include "kernel/witness.h"

using namespace platter;
using namespace platter::test;

TEST_CASE("a stock kernel finds the slices that platter finds", "[kernel]") {
  REQUIRE(witnessed().trouble == "");
  for (const WitnessedTable& table : witnessed().tables) {
    INFO(table.image->name);
    CHECK(table.theirs.answered);
    CHECK(table.theirs.problems == std::vector<std::string>{});
    CHECK(!table.theirs.slices.empty());
    CHECK(words_of(table.ours) == words_of(table.theirs.slices));
  }
}

TEST_CASE("a stock kernel reads the files that platter reads and the writers were given",
          "[kernel]") {
  REQUIRE(witnessed().trouble == "");
  for (const WitnessedVolume& volume : witnessed().volumes) {
    INFO(volume.image.name << " " << volume.image.type << " " << volume.image.options);
    CHECK(volume.disagreement() == "");
  }
}

TEST_CASE("the comparison notices what differs", "[kernel]") {
  REQUIRE(witnessed().trouble == "");
  REQUIRE(!witnessed().volumes.empty());
  WitnessedVolume volume = witnessed().volumes.front();
  REQUIRE(volume.disagreement() == "");
  const Listing as_read = volume.theirs;
  const auto says = [&](const char* words) {
    const std::string text = volume.disagreement();
    volume.theirs = as_read;
    return text.find(words) != std::string::npos;
  };
  TreeFile& file = volume.theirs.tree.at("size-1");
  file.sha256.front() ^= 1;
  CHECK(says("size-1"));
  volume.theirs.tree.at("size-1").links = 7;
  CHECK(says("links 7"));
  volume.theirs.tree.erase("usr/empty");
  CHECK(says("usr/empty"));
  volume.theirs.devices.at("console").minor = 77;
  CHECK(says("5/77"));
  volume.answer.warnings = {"bad block"};
  CHECK(says("bad block"));
}

// PLATTER_KERNEL_EVIDENCE=FILE: the last result as a page.
TEST_CASE("what agreed is written down where that is asked for", "[kernel]") {
  REQUIRE(witnessed().trouble == "");
  const std::string page = kernel_evidence_page(witnessed());
  for (const WitnessedVolume& volume : witnessed().volumes)
    CHECK(page.find("| " + volume.image.name + " |") != std::string::npos);
  const char* path = std::getenv("PLATTER_KERNEL_EVIDENCE");
  if (path == nullptr) return;
  std::ofstream file(path, std::ios::binary | std::ios::trunc);
  file << page;
  REQUIRE(file.flush().good());
}
