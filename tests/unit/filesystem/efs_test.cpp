// The Extent File System by typed bytes, then spoiled.
#include <catch2/catch.hpp>

#include "core/claim.h"
#include "files/walk.h"
#include "filesystem/efs_volume.h"
#include "support/hexfile.h"
#include "support/survey.h"
#include "support/tree.h"
#include "writers/efs_writer.h"

namespace platter::test {
namespace {

using Bytes = std::vector<std::byte>;

std::vector<Claim> claims_of(const Bytes& bytes) {
  const View view = view_of(bytes);
  return find_format("efs")->claims(view, {.image = view});
}

void put(Bytes& bytes, std::size_t at, std::uint64_t value, unsigned width) {
  encode_unsigned(std::span(bytes).subspan(at, width), value, ByteOrder::big);
}

std::string records_said(const Bytes& bytes) {
  const auto volume = open_volume("efs", view_of(bytes));
  volume->check_records();
  std::string all;
  for (const Finding& finding : volume->take_findings())
    all += finding.message + "\n";
  return all;
}

TEST_CASE("efs: the example with a verified checksum", "[efs]") {
  const Bytes bytes = hex_fixture("filesystem/efs/good.hex");
  const auto sums = filesystem::efs_checksums(std::span(bytes).subspan(512, 92));
  CHECK(sums.rotated == 0xFA651ED6);
  CHECK(sums.shifted == 0xF8EC4800);
  const auto found = claims_of(bytes);
  REQUIRE(found.size() == 1);
  const Claim& claim = found.front();
  CHECK(claim.strength == Strength::proven);
  CHECK(claim.findings.empty());
  CHECK(claim.bytes == 20480 * 512);
  CHECK(claim.facts.words("byte_order") == "big");
  CHECK(claim.facts.number("block_bytes") == 512);
  CHECK(claim.facts.words("volume_name") == "rootfs");
  CHECK(claim.facts.words("pack_name") == "pack00");
  CHECK(claim.facts.number("used_bytes") == 480 * 512);
  CHECK(claim.facts.number("free_bytes") == 20000 * 512);
  CHECK(claim.facts.number("inodes") == 640);
  CHECK(claim.facts.number("free_inodes") == 630);
  CHECK(claim.facts.words("clean") == "clean");
  CHECK(std::get<Timestamp>(*claim.facts.find("modified")).seconds == 0x2A000000);
  const View view = view_of(bytes);
  const Tree tree = tree_of_volume(*open_volume("efs", view), view);
  REQUIRE(tree.size() == 1);
  const TreeFile& file = tree.at("hello");
  CHECK(file.mode == 0644);
  CHECK(file.uid == 101);
  CHECK(file.gid == 20);
  CHECK(file.modified == 0x2A000001);
  // sha256sum of "hello" and a newline
  CHECK(file.sha256 == "5891b5b522d5df086d0ff0b110fbd9d21bb4fc7163af34d08286a2e846f6be03");
}

TEST_CASE("efs: inodes lie where the headers put them", "[efs]") {
  const auto super = view_of(hex_fixture("filesystem/efs/good.hex"))
                         .record<filesystem::kEfsSuperblock>(512, ByteOrder::big);
  const auto shape = filesystem::efs_shape(super);
  REQUIRE(shape);
  CHECK(shape->inode_place(500) == 7874560);
  CHECK(shape->inodes() == 640);
  CHECK(shape->is_data(106, 1));
  CHECK_FALSE(shape->is_data(105, 1));
  CHECK(shape->is_data(5168, 1));
  CHECK_FALSE(shape->is_data(5168, 2));  // would run into the next group's inodes
}

TEST_CASE("efs: the old checksum, and a third one", "[efs]") {
  Bytes bytes = hex_fixture("filesystem/efs/good.hex");
  put(bytes, 600, 0xF8EC4800, 4);
  CHECK(claims_of(bytes).at(0).findings.empty());
  CHECK(claims_of(bytes).at(0).strength == Strength::proven);
  put(bytes, 600, 0, 4);
  const auto found = claims_of(bytes);
  REQUIRE(found.size() == 1);
  CHECK(found.front().strength == Strength::sane);
  REQUIRE(found.front().findings.size() == 1);
  CHECK(found.front().findings.front().severity == Severity::caution);
  CHECK(found.front().findings.front().message ==
        "the superblock stores checksum 0x00000000, its content gives 0xFA651ED6");
}

TEST_CASE("efs: numbers that contradict the magic", "[efs]") {
  const Bytes plain = hex_fixture("filesystem/efs/good.hex");
  struct Spoiled {
    std::size_t at;
    std::uint64_t value;
    unsigned width;
  };
  // Nothing can be computed: size, first group, group size, inode blocks, groups.
  for (const Spoiled& spoiled : {Spoiled{512, 0, 4},
                                 {512, 0x1000001, 4},
                                 {512, 20477, 4},
                                 {516, 2, 4},
                                 {516, 0xFFFFFFFF, 4},
                                 {520, 0, 4},
                                 {520, 40, 4},
                                 {520, 0x7FFFFFFF, 4},
                                 {524, 0, 2},
                                 {524, 0xFFFF, 2},
                                 {530, 0, 2},
                                 {530, 5, 2},
                                 {530, 0x8000, 2},
                                 {540, 0x00072958, 4}}) {
    CAPTURE(spoiled.at, spoiled.value);
    Bytes bytes = plain;
    put(bytes, spoiled.at, spoiled.value, spoiled.width);
    CHECK(claims_of(bytes).empty());
    CHECK(find_format("efs")->open(view_of(bytes), {}) == nullptr);
  }
  for (const Spoiled& spoiled :
       {Spoiled{556, 2000, 4}, {560, 20253, 4}, {564, 641, 4}, {568, 20479, 4}, {572, 20480, 4}}) {
    CAPTURE(spoiled.at, spoiled.value);
    Bytes bytes = plain;
    put(bytes, spoiled.at, spoiled.value, spoiled.width);
    const auto found = claims_of(bytes);
    REQUIRE(found.size() == 1);
    CHECK(found.front().strength == Strength::magic);
    CHECK(found.front().findings.size() == 2);  // the field, and the checksum
  }
}

TEST_CASE("efs: counts that do not fit the maps are told", "[efs]") {
  fixtures::EfsWriter writer({.copy = true});
  writer.add_file("a", std::string(2000, 'a'));
  const Bytes plain = writer.build();
  CHECK(records_said(plain).empty());
  Bytes bytes = plain;
  put(bytes, 560, decode_unsigned(std::span(plain).subspan(560, 4), ByteOrder::big) + 1, 4);
  CHECK(records_said(bytes).find("free data blocks, the superblock counts") != std::string::npos);
  bytes = plain;
  put(bytes, 564, 7, 4);
  CHECK(records_said(bytes) == "252 inodes are free, the superblock counts 7\n");
  bytes = plain;
  put(bytes, 8191 * 512 + 18, 9, 2);
  CHECK(records_said(bytes).find("the copy of the superblock in block 8191") == 0);
}

TEST_CASE("efs: directory blocks that cannot be right", "[efs]") {
  const Bytes plain = hex_fixture("filesystem/efs/good.hex");
  const std::size_t block = 0xD400;
  struct Spoiled {
    std::size_t at;
    unsigned value;
    std::size_t names;
    const char* said;
  };
  const Spoiled all[] = {{0, 0xBF, 0, "a directory block begins with 0xBFEF, expected 0xBEEF"},
                         {3, 73, 0, "a directory block has 73 slots"},
                         {2, 3, 1, "a directory block has 3 slots and its first entry at byte 6"},
                         {6, 1, 0, "a directory slot leads to byte 2 of its block"},
                         {6, 0xFF, 0, "a directory slot leads to byte 510 of its block"},
                         {0x1EC, 0, 0, "a name of 0 bytes at byte 488"},
                         {0x1EC, 0xFF, 0, "a name of 255 bytes at byte 488"},
                         {0x1E8, 1, 1, "a directory entry names inode 16777219, expected 2 to 639"},
                         {0x1EE, '/', 1, "the name in a directory entry holds a '/'"}};
  for (const Spoiled& spoiled : all) {
    CAPTURE(spoiled.said);
    Bytes bytes = plain;
    bytes[block + spoiled.at] = static_cast<std::byte>(spoiled.value);
    const auto volume = open_volume("efs", view_of(bytes));
    std::size_t names = 0;
    volume->each_entry(volume->root(), [&](const Entry&) {
      ++names;
      return true;
    });
    CHECK(names == spoiled.names);
    const auto findings = volume->take_findings();
    REQUIRE(findings.size() == 1);
    CHECK(findings.front().message.find(spoiled.said) == 0);
  }
}

}  // namespace
}  // namespace platter::test
