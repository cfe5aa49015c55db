// S5, Xenix, Coherent, V7 and V6: typed bytes.
#include <catch2/catch.hpp>

#include "core/claim.h"
#include "files/walk.h"
#include "filesystem/old_unix_volume.h"
#include "filesystem/s5_structures.h"
#include "filesystem/v6_structures.h"
#include "support/hexfile.h"
#include "support/survey.h"
#include "support/tree.h"

namespace platter::test {
namespace {

using Bytes = std::vector<std::byte>;

std::vector<Claim> claims_of(std::string_view format, const Bytes& bytes) {
  const View view = view_of(bytes);
  return find_format(format)->claims(view, {.image = view});
}

Tree tree_of(std::string_view format, const Bytes& bytes) {
  const View view = view_of(bytes);
  return tree_of_volume(*open_volume(format, view), view);
}

void put(Bytes& bytes, std::size_t at, std::uint64_t value, unsigned width, ByteOrder order) {
  encode_unsigned(std::span(bytes).subspan(at, width), value, order);
}

std::int64_t seconds(const Claim& claim, std::string_view name) {
  const FactValue* value = claim.facts.find(name);
  return value == nullptr ? 0 : std::get<Timestamp>(*value).seconds;
}

void check_hello(const TreeFile& file) {
  CHECK(file.type == "file");
  CHECK(file.bytes == 6);
  // sha256sum of "hello" and a newline
  CHECK(file.sha256 == "5891b5b522d5df086d0ff0b110fbd9d21bb4fc7163af34d08286a2e846f6be03");
}

std::vector<BlockRun> runs_of(Volume& volume) {
  std::vector<BlockRun> runs;
  volume.each_run([&](const BlockRun& run) {
    runs.push_back(run);
    return true;
  });
  return runs;
}

void check_sound(std::string_view format, const Bytes& bytes) {
  const auto volume = open_volume(format, view_of(bytes));
  volume->check_records();
  for (const Finding& finding : volume->take_findings()) {
    CAPTURE(finding.message);
    CHECK(finding_kind(finding.code).code == "none");
  }
}

TEST_CASE("s5: 3-byte addresses in each byte order", "[s5]") {
  const std::array<std::byte, 3> bytes = {std::byte{0x01}, std::byte{0x34}, std::byte{0x12}};
  using filesystem::s5_address;
  CHECK(s5_address(bytes, ByteOrder::pdp) == 0x011234);
  CHECK(s5_address(bytes, ByteOrder::little) == 0x123401);
  CHECK(s5_address(bytes, ByteOrder::big) == 0x013412);
  for (const ByteOrder order : {ByteOrder::pdp, ByteOrder::little, ByteOrder::big}) {
    std::array<std::byte, 3> written{};
    filesystem::put_s5_address(written, s5_address(bytes, order), order);
    CHECK(written == bytes);
  }
}

TEST_CASE("s5: inodes lie where the headers put them", "[s5]") {
  filesystem::OldUnixShape shape;
  shape.inode = &filesystem::kS5Inode;
  shape.block_bytes = 1024;
  CHECK(shape.inode_place(2) == 2112);
  CHECK(shape.inode_place(100) == 8384);
  shape.block_bytes = 512;
  CHECK(shape.inode_place(2) == 1088);
  // V6: inode i in block (i + 31) / 16, slot (i + 31) mod 16
  shape.inode = &filesystem::kV6Inode;
  for (const std::uint64_t i : {1U, 16U, 17U, 500U}) {
    CHECK(shape.inode_place(i) == (i + 31) / 16 * 512 + (i + 31) % 16 * 32);
  }
}

TEST_CASE("s5: release 4, big-endian", "[s5]") {
  const Bytes bytes = hex_fixture("filesystem/s5/good.hex");
  const auto found = claims_of("s5", bytes);
  REQUIRE(found.size() == 1);
  const Claim& claim = found.front();
  CHECK(claim.strength == Strength::proven);
  CHECK(claim.findings.empty());
  CHECK(claim.bytes == 102400);
  CHECK(claim.title == "System V filesystem, 1024-byte blocks");
  CHECK(claim.facts.words("byte_order") == "big");
  CHECK(claim.facts.number("block_bytes") == 1024);
  CHECK(claim.facts.number("volume_bytes") == 102400);
  CHECK(claim.facts.number("used_bytes") == 99 * 1024);
  CHECK(claim.facts.number("free_bytes") == 1024);
  CHECK(claim.facts.number("inodes") == 16);
  CHECK(claim.facts.number("free_inodes") == 13);
  CHECK(claim.facts.words("volume_name") == "museum");
  CHECK(claim.facts.words("pack_name") == "disk01");
  CHECK(claim.facts.words("clean") == "clean");
  CHECK(seconds(claim, "modified") == 700000000);
  const Tree tree = tree_of("s5", bytes);
  REQUIRE(tree.size() == 1);
  const TreeFile& file = tree.at("fourteen-chars");
  check_hello(file);
  CHECK(file.mode == 04755);
  CHECK(file.uid == 101);
  CHECK(file.gid == 20);
  CHECK(file.links == 1);
  CHECK(file.modified == -1);
  check_sound("s5", bytes);
  const auto runs = runs_of(*open_volume("s5", view_of(bytes)));
  REQUIRE(runs.size() == 3);
  CHECK((runs[0].use == BlockUse::metadata && runs[0].bytes == 3 * 1024));
  CHECK((runs[1].use == BlockUse::used && runs[1].bytes == 96 * 1024));
  CHECK((runs[2].use == BlockUse::free && runs[2].start == 99 * 1024 && runs[2].bytes == 1024));
}

TEST_CASE("s5: release 2, little-endian", "[s5]") {
  const Bytes bytes = hex_fixture("filesystem/s5/release2-good.hex");
  const auto found = claims_of("s5", bytes);
  REQUIRE(found.size() == 1);
  CHECK(found.front().strength == Strength::proven);
  CHECK(found.front().findings.empty());
  CHECK(found.front().title == "System V release 2 filesystem, 512-byte blocks");
  CHECK(found.front().facts.words("volume_name") == "museum");
  CHECK(found.front().facts.words("clean") == "clean");
  CHECK(seconds(found.front(), "modified") == 700000000);
  const Tree tree = tree_of("s5", bytes);
  REQUIRE(tree.size() == 1);
  CHECK(tree.at("tty").type == "char-device");
  const auto volume = open_volume("s5", view_of(bytes));
  CHECK(volume->attributes(find_path(*volume, "tty")->node).device == DeviceNumber{12, 34});
  check_sound("s5", bytes);
}

TEST_CASE("s5: a stated size that the root directory belies is put right", "[s5]") {
  Bytes bytes = hex_fixture("filesystem/s5/good.hex");
  put(bytes, 1020, 1, 4, ByteOrder::big);
  const auto found = claims_of("s5", bytes);
  REQUIRE(found.size() == 1);
  CHECK(found.front().findings.empty());
  CHECK(found.front().facts.number("block_bytes") == 1024);
  CHECK(found.front().facts.number("stated_block_bytes") == 512);
  CHECK(tree_of("s5", bytes).size() == 1);
}

TEST_CASE("s5: behind a track, and with long names", "[s5]") {
  const Bytes plain = hex_fixture("filesystem/s5/good.hex");
  for (const std::size_t base : {9216U, 15360U, 18432U}) {
    Bytes bytes(base);
    bytes.insert(bytes.end(), plain.begin(), plain.end());
    const auto found = claims_of("s5", bytes);
    REQUIRE(found.size() == 1);
    CHECK(found.front().start == base);
    CHECK(found.front().bytes == 102400);
  }
  Bytes bytes = plain;
  put(bytes, 1020, 0x20, 4, ByteOrder::big);
  REQUIRE(claims_of("s5", bytes).size() == 1);
  CHECK(find_format("s5")->open(view_of(bytes), {}) == nullptr);
}

TEST_CASE("s5: a bitmap instead of the free list", "[s5]") {
  Bytes bytes = hex_fixture("filesystem/s5/good.hex");
  put(bytes, 512 + 8, 0xFFFF, 2, ByteOrder::big);
  const auto found = claims_of("s5", bytes);
  REQUIRE(found.size() == 1);
  CHECK(found.front().findings.empty());
  CHECK(found.front().facts.find("used_bytes") == nullptr);
  CHECK(tree_of("s5", bytes).size() == 1);
  CHECK(runs_of(*open_volume("s5", view_of(bytes))).empty());
  check_sound("s5", bytes);
}

TEST_CASE("s5: states", "[s5]") {
  Bytes bytes = hex_fixture("filesystem/s5/good.hex");
  const auto clean_word = [&](std::uint64_t state) {
    put(bytes, 1012, state, 4, ByteOrder::big);
    return claims_of("s5", bytes).at(0).facts.words("clean");
  };
  CHECK(clean_word(0x5E72D81A) == "active");
  CHECK(clean_word(0xCB096F43) == "bad root");
  CHECK(clean_word(0xBADBC14B) == "bad block");
  CHECK(clean_word(1) == "not clean");
}

TEST_CASE("xenix: typed bytes", "[xenix]") {
  const Bytes bytes = hex_fixture("filesystem/xenix/good.hex");
  const auto found = claims_of("xenix", bytes);
  REQUIRE(found.size() == 1);
  CHECK(found.front().strength == Strength::proven);
  CHECK(found.front().findings.empty());
  CHECK(found.front().bytes == 102400);
  CHECK(found.front().facts.words("volume_name") == "museum");
  CHECK(found.front().facts.words("clean") == "clean");
  CHECK(found.front().facts.number("free_inodes") == 13);
  check_hello(tree_of("xenix", bytes).at("fourteen-chars"));
  check_sound("xenix", bytes);
}

TEST_CASE("xenix: semaphores and shared data have no type here", "[xenix]") {
  Bytes bytes = hex_fixture("filesystem/xenix/good.hex");
  put(bytes, 0x880, 0050644, 2, ByteOrder::little);
  CHECK(tree_of("xenix", bytes).at("fourteen-chars").type == "unknown");
}

TEST_CASE("coherent: typed bytes", "[coherent]") {
  const Bytes bytes = hex_fixture("filesystem/coherent/good.hex");
  const auto found = claims_of("coherent", bytes);
  REQUIRE(found.size() == 1);
  CHECK(found.front().findings.empty());
  CHECK(found.front().facts.words("byte_order") == "pdp");
  CHECK(found.front().facts.number("free_bytes") == 512);
  CHECK(seconds(found.front(), "modified") == 700000000);
  check_hello(tree_of("coherent", bytes).at("fourteen-chars"));
  check_sound("coherent", bytes);
  // V7 would take it too; it gives way.
  const Survey survey = survey_bytes(bytes);
  CHECK(layer(survey, "coherent") != nullptr);
  CHECK(layer(survey, "v7") == nullptr);
}

TEST_CASE("coherent: other names, or no root directory, and it is none", "[coherent]") {
  for (const std::size_t at : {0x3E4U, 0x3EAU, 0x610U, 0x440U}) {
    Bytes bytes = hex_fixture("filesystem/coherent/good.hex");
    bytes[at] ^= std::byte{0x0F};
    bytes[at + 1] ^= std::byte{0xF0};
    CHECK(claims_of("coherent", bytes).empty());
  }
}

TEST_CASE("v7: typed bytes", "[v7]") {
  const Bytes bytes = hex_fixture("filesystem/v7/good.hex");
  const auto found = claims_of("v7", bytes);
  REQUIRE(found.size() == 1);
  CHECK(found.front().strength == Strength::shape);
  CHECK(found.front().bytes == 300 * 512);
  CHECK(found.front().facts.words("byte_order") == "pdp");
  CHECK(found.front().facts.number("inodes") == 8);
  CHECK(seconds(found.front(), "modified") == 300000000);
  const Tree tree = tree_of("v7", bytes);
  REQUIRE(tree.size() == 1);
  const TreeFile& file = tree.at("fourteen-chars");
  check_hello(file);
  CHECK(file.uid == 3);
  CHECK(file.modified == -1);
  check_sound("v7", bytes);
  CHECK(layer(survey_bytes(bytes), "v7") != nullptr);
}

TEST_CASE("v6: typed bytes", "[v6]") {
  const Bytes bytes = hex_fixture("filesystem/v6/good.hex");
  const auto found = claims_of("v6", bytes);
  REQUIRE(found.size() == 1);
  CHECK(found.front().strength == Strength::shape);
  CHECK(found.front().bytes == 51200);
  CHECK(seconds(found.front(), "modified") == 0x0A0B0000);
  const Tree tree = tree_of("v6", bytes);
  REQUIRE(tree.size() == 1);
  const TreeFile& file = tree.at("fourteen-chars");
  check_hello(file);
  CHECK(file.mode == 04644);
  CHECK(file.uid == 3);
  CHECK(file.gid == 1);
  CHECK(file.modified == 0x0A0B0002);
  check_sound("v6", bytes);
  CHECK(layer(survey_bytes(bytes), "v6") != nullptr);
}

TEST_CASE("v7 and v6: any number that cannot be right, and they are none", "[v7][v6]") {
  struct Spoiled {
    const char* format;
    std::size_t at;
    std::uint64_t value;
    unsigned width;
  };
  const Spoiled all[] = {
      {"v7", 0x200, 2, 2},       {"v7", 0x200, 301, 2},    {"v7", 0x202, 3, 4},
      {"v7", 0x202, 1 << 25, 4}, {"v7", 0x206, 51, 2},     {"v7", 0x20C, 300, 4},
      {"v7", 0x20C, 2, 4},       {"v7", 0x2D0, 101, 2},    {"v7", 0x2D2, 9, 2},
      {"v7", 0x2D2, 0, 2},       {"v7", 0x39A, 0x0700, 2}, {"v7", 0x440, 0100755, 2},
      {"v7", 0x442, 0, 2},       {"v7", 0x448, 0, 4},      {"v7", 0x448, 47, 4},
      {"v7", 0x44C, 0, 2},       {"v7", 0x600, 3, 2},      {"v7", 0x610, 3, 2},
      {"v7", 0x602, 0x412E, 2},  {"v6", 0x200, 0, 2},      {"v6", 0x200, 98, 2},
      {"v6", 0x202, 3, 2},       {"v6", 0x204, 101, 2},    {"v6", 0x208, 100, 2},
      {"v6", 0x2CE, 101, 2},     {"v6", 0x2D0, 17, 2},     {"v6", 0x400, 0100777, 2},
      {"v6", 0x406, 0, 2},       {"v6", 0x406, 33, 2},     {"v6", 0x408, 2, 2},
      {"v6", 0x600, 2, 2},       {"v6", 0x610, 2, 2}};
  for (const Spoiled& spoiled : all) {
    CAPTURE(spoiled.format, spoiled.at, spoiled.value);
    Bytes bytes = hex_fixture(std::string("filesystem/") + spoiled.format + "/good.hex");
    put(bytes, spoiled.at, spoiled.value, spoiled.width, ByteOrder::pdp);
    CHECK(claims_of(spoiled.format, bytes).empty());
    CHECK(find_format(spoiled.format)->open(view_of(bytes), {}) == nullptr);
  }
}

TEST_CASE("old unix: free lists that go wrong are told", "[s5]") {
  const auto said = [](Bytes bytes) {
    const auto volume = open_volume("s5", view_of(std::move(bytes)));
    volume->check_records();
    std::string all;
    for (const Finding& finding : volume->take_findings())
      all += finding.message + "\n";
    return all;
  };
  const Bytes plain = hex_fixture("filesystem/s5/good.hex");
  Bytes bytes = plain;
  put(bytes, 944, 7, 4, ByteOrder::big);
  CHECK(said(bytes) == "the free list holds 1 blocks, the superblock counts 7\n");
  bytes = plain;
  put(bytes, 948, 15, 2, ByteOrder::big);
  CHECK(said(bytes) == "the inode list has 13 free inodes, the superblock counts 15\n");
  bytes = plain;
  put(bytes, 512 + 12, 99, 4,
      ByteOrder::big);  // the chain begins with the block that it names next
  CHECK(said(bytes) == "the free list names block 99 twice\n");
  bytes = plain;
  put(bytes, 512 + 12, 98, 4, ByteOrder::big);
  put(bytes, 98 * 1024, 51, 2, ByteOrder::big);
  CHECK(said(bytes) == "a free list block counts 51 numbers, expected at most 50\n");
  bytes = plain;
  put(bytes, 512 + 12, 98, 4, ByteOrder::big);
  put(bytes, 98 * 1024, 1, 2, ByteOrder::big);
  put(bytes, 98 * 1024 + 4, 98, 4, ByteOrder::big);  // bites its tail
  CHECK(said(bytes) == "the free list names block 98 twice\n");
}

}  // namespace
}  // namespace platter::test
