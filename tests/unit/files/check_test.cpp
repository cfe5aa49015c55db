// Files against maps, on volumes that stand in memory.
#include "files/check.h"

#include <algorithm>

#include <catch2/catch.hpp>

#include "support/memory_volume.h"

namespace platter::test {
namespace {

// Two files and a directory, and maps that agree with them: 512-byte units 0 to 3 used, 4 and 5
// free.
void fill(MemoryVolume& volume) {
  const NodeId sub = volume.add_directory(1, "sub");
  volume.add_file(sub, "a", std::string(1000, 'a'));
  volume.add_file(1, "b", std::string(600, 'b'));
  volume.add_file(1, "filler", std::string(1024, 'f'));
  volume.runs = {{0, 6 * 512, BlockUse::used}};
}

std::vector<Finding> findings_of(MemoryVolume& volume) {
  return check_volume(volume, volume.view()).findings;
}

TEST_CASE("check: a volume whose records agree has no findings") {
  MemoryVolume volume;
  fill(volume);
  const VolumeCheck check = check_volume(volume, volume.view());
  CHECK(check.findings.empty());
  CHECK(check.files == 3);
  CHECK(check.directories == 1);
  CHECK(check.owned_bytes == 6 * 512);
}

TEST_CASE("check: blocks of two files are named with both") {
  MemoryVolume volume;
  fill(volume);
  const NodeId thief = volume.add_file(1, "thief", "");
  volume.node(thief).attributes.bytes = 1024;
  volume.node(thief).extents.push_back({0, 512, 1024, false});
  const auto findings = findings_of(volume);
  REQUIRE(findings.size() == 2);
  for (const Finding& finding : findings) {
    CHECK(finding.code == FindingCode::extent_overlap);
    CHECK(finding.message.find("thief") != std::string::npos);
  }
  CHECK(findings[0].message.find("sub/a") != findings[1].message.find("sub/a"));
}

TEST_CASE("check: files that all own the whole volume are not followed without end") {
  MemoryVolume volume;
  fill(volume);
  constexpr std::uint64_t kUnits = 2000;
  volume.add_file(1, "large", std::string(kUnits * 512, 'l'));
  for (int i = 0; i < 500; ++i) {
    const NodeId thief = volume.add_file(1, "thief " + std::to_string(i), "");
    volume.node(thief).attributes.bytes = kUnits * 512;
    for (std::uint64_t unit = kUnits; unit-- > 0;) {  // unit by unit, so that none are joined
      volume.node(thief).extents.push_back({(kUnits - 1 - unit) * 512, unit * 512, 512, false});
    }
  }
  const auto findings = findings_of(volume);
  REQUIRE_FALSE(findings.empty());
  CHECK(findings.size() <= 65);
  CHECK(std::ranges::any_of(findings, [](const Finding& finding) {
    return finding.message.find("more than 16 times the blocks") != std::string::npos;
  }));
  CHECK(volume.extents_handed_out < 2 * 17 * (kUnits + 100) + 2 * 4096);
}

TEST_CASE("check: further names of a file are no second owner, and are counted") {
  MemoryVolume volume;
  fill(volume);
  const NodeId linked = volume.add_file(1, "linked", "");
  volume.link(1, "linked too", linked);
  CHECK(findings_of(volume).empty());
  volume.node(linked).attributes.links = 3;
  const auto findings = findings_of(volume);
  REQUIRE(findings.size() == 1);
  CHECK(findings[0].code == FindingCode::links_differ);
  CHECK(findings[0].message == "linked states 3 names, 2 were found");
}

TEST_CASE("check: owners against the maps") {
  MemoryVolume volume;
  fill(volume);
  volume.runs = {
      {0, 512, BlockUse::used}, {512, 512, BlockUse::free}, {1024, 5 * 512, BlockUse::used}};
  volume.add_file(1, "more", "");
  auto findings = findings_of(volume);
  REQUIRE(findings.size() == 1);
  CHECK(findings[0].code == FindingCode::blocks_free_in_use);
  CHECK(findings[0].start == 512);
  CHECK(findings[0].bytes == 512);
  // Space that nobody owns.
  volume.runs = {{0, 6 * 512, BlockUse::used}};
  volume.node(3).extents.clear();
  volume.node(3).attributes.bytes = 0;
  findings = findings_of(volume);
  REQUIRE(findings.size() == 1);
  CHECK(findings[0].code == FindingCode::blocks_unaccounted);
  CHECK(findings[0].severity == Severity::caution);
  CHECK(findings[0].start == 0);
  CHECK(findings[0].message == "2 blocks of 512 bytes are in use and belong to no file");
}

TEST_CASE("check: runs of blocks that begin inside a unit own all of it, once") {
  MemoryVolume volume;
  volume.unit = 4096;
  const NodeId file = volume.add_file(1, "holes", std::string(12288, 'h'));
  volume.node(file).extents = {{1024, 1024, 512, false}, {2048, 2048, 512, false}};
  volume.runs = {{0, 4096, BlockUse::used}, {4096, 8192, BlockUse::free}};
  CHECK(findings_of(volume).empty());
  const NodeId other = volume.add_file(1, "other", "");
  volume.node(other).attributes.bytes = 4096;
  volume.node(other).extents = {{3072, 3072, 512, false}};
  const auto findings = findings_of(volume);
  REQUIRE(findings.size() == 1);
  CHECK(findings[0].message == "1 block in holes and other");
}

TEST_CASE("check: blocks that hold the volume's own records are no file's") {
  for (const BlockUse use : {BlockUse::metadata, BlockUse::bad}) {
    MemoryVolume volume;
    fill(volume);
    volume.runs = {{0, 1024, BlockUse::used}, {1024, 512, use}, {1536, 3 * 512, BlockUse::used}};
    const auto findings = findings_of(volume);
    REQUIRE(findings.size() == 1);
    CHECK(findings[0].severity == Severity::fault);
    CHECK(findings[0].code == FindingCode::extent_overlap);
    CHECK(findings[0].start == 1024);
    CHECK(findings[0].message == "b has blocks that hold the volume's own records");
    // A part of a unit may be a record beside a file's bytes.
    volume.runs = {{0, 1024, BlockUse::used}, {1024, 100, use}, {1124, 3972, BlockUse::used}};
    CHECK(findings_of(volume).empty());
  }
}

TEST_CASE("check: blocks past the end, and names that lead to nothing") {
  MemoryVolume volume;
  fill(volume);
  volume.node(4).extents[0].bytes = 1U << 20U;
  volume.add(1, "ghost", Attributes{});
  const auto findings = findings_of(volume);
  REQUIRE(findings.size() >= 2);
  CHECK(std::ranges::count(findings, FindingCode::extent_beyond_end, &Finding::code) == 1);
  CHECK(std::ranges::count(findings, FindingCode::filesystem_damaged, &Finding::code) == 1);
}

}  // namespace
}  // namespace platter::test
