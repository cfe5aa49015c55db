// XFS volumes that are damaged or made to mislead: each kind of damage is told, and none makes a
// walk crash, hang or read more than is there. Offsets are typed from Linux
// fs/xfs/libxfs/xfs_format.h and xfs_da_format.h.
#include <random>

#include <catch2/catch.hpp>

#include "files/check.h"
#include "files/walk.h"
#include "filesystem/xfs_shape.h"
#include "support/survey.h"
#include "support/tree.h"
#include "unit/filesystem/volume_exercise.h"
#include "unit/filesystem/xfs_support.h"

namespace platter::test {
namespace {

using Bytes = std::vector<std::byte>;

constexpr std::size_t kBlock = 1024;
constexpr std::size_t kGroup = 1024 * kBlock;  // of XfsOptions
constexpr std::size_t kSpace = 512;            // sectors of a group
constexpr std::size_t kInodes = 1024;
constexpr std::size_t kFork = 100;  // of an inode

void put(Bytes& bytes, std::size_t at, std::uint64_t value, unsigned width) {
  encode_unsigned(std::span(bytes).subspan(at, width), value, ByteOrder::big);
}
std::uint64_t number(const Bytes& bytes, std::size_t at, unsigned width) {
  return decode_unsigned(std::span(bytes).subspan(at, width), ByteOrder::big);
}

// A volume, and where its files' inodes lie.
struct Subject {
  Bytes bytes;
  explicit Subject(const fixtures::XfsOptions& options = {}, std::size_t many = 40)
      : bytes(xfs_volume(options, many).bytes) {}
  [[nodiscard]] std::size_t inode(const std::string& path) const {
    const View view = view_of(bytes);
    const auto volume = open_volume("xfs", view);
    const auto found = find_path(*volume, path);
    REQUIRE(found);
    const auto shape =
        filesystem::xfs_shape(view, view.record<filesystem::kXfsSuperblock>(0, ByteOrder::big));
    return static_cast<std::size_t>(shape->inode_place(found->node));
  }
  // Byte of an address on the disk: 10 bits of block below the group.
  [[nodiscard]] static std::size_t place(std::uint64_t address) {
    return static_cast<std::size_t>(address >> 10U) * kGroup +
           static_cast<std::size_t>(address & 1023U) * kBlock;
  }
  // Where the first extent of a file begins.
  [[nodiscard]] std::size_t content(const std::string& path) const {
    const std::size_t at = inode(path) + kFork;
    return place((number(bytes, at, 8) & 0x1FFU) << 43U | number(bytes, at + 8, 8) >> 21U);
  }
};

std::string said(const Bytes& bytes) {
  return exercise("xfs", bytes).words();
}

TEST_CASE("xfs: records that contradict one another are told", "[xfs]") {
  const Subject good;
  REQUIRE(said(good.bytes).empty());
  struct Spoiled {
    std::size_t at;
    std::uint64_t value;
    unsigned width;
    const char* words;
  };
  const std::size_t tree = number(good.bytes, kSpace + 16, 4) * kBlock;
  const std::size_t sizes = number(good.bytes, kSpace + 20, 4) * kBlock;
  const std::size_t chunks = number(good.bytes, kInodes + 20, 4) * kBlock;
  const Spoiled all[] = {
      {128, 7, 8, "the superblock counts 7 inodes, expected "},
      {136, 1, 8, "the superblock counts 1 free inodes, expected "},
      {144, 5, 8, "the superblock says that 5 blocks are free, expected "},
      {kGroup, 0, 4, "the copy of the superblock in group 1 begins with 0x00000000"},
      {kGroup + 8, 77, 8, "the copy of the superblock in group 1 has data_blocks 77"},
      {kSpace, 0, 4, "the record of free space of group 0 begins with 0x00000000"},
      {kSpace + 4, 2, 4, "the record of free space of group 0 has version 2, expected 1"},
      {kSpace + 8, 9, 4, "the record of free space of group 0 has group 9, expected 0"},
      {kSpace + 12, 9, 4, "the record of free space of group 0 has length 9, expected 1024"},
      {kSpace + 48, 3, 4, "the free list of group 0 reaches from 0 to 3 with 3 blocks"},
      {kSpace + 40, 128, 4, "the free list of group 0 reaches from 128 to 3"},
      {kSpace + 52, 3, 4, "group 0 says that its free blocks are 3"},
      {kSpace + 56, 3, 4, "group 0 says that the blocks of its longest free run are 3"},
      {kSpace + 60, 3, 4, "the blocks of its trees besides the roots are 3, expected 0"},
      {kSpace + 28, 0, 4, "the tree of free space by place of group 0 has 0 levels"},
      {kSpace + 28, 200, 4, "the tree of free space by place of group 0 has 200 levels"},
      {kSpace + 16, 1, 4, "the tree of free space by place of group 0 has a block 1, expected"},
      {kInodes, 0, 4, "the record of inodes of group 0 begins with 0x00000000"},
      {kInodes + 16, 3, 4, "group 0 says that it has 3 inodes, expected "},
      {kInodes + 28, 99, 4, "group 0 says that it has 99 free inodes, expected "},
      {tree, 0, 4, "begins with 0x00000000, level 0 and 1 entries, expected 0x41425442"},
      {tree + 6, 4000, 2, "level 0 and 4000 entries"},
      {tree + 16, 1, 4, "the tree of free space by place of group 0 holds a run of"},
      {tree + 16, 6, 4, "block 6 of group 0 holds records of the volume and is free, expected"},
      {sizes + 20, 2, 4, "the tree of free space by size of group 0 has 2 blocks in 1 runs"},
      {chunks + 24, ~std::uint64_t{0}, 8, "says that "},
      {good.inode("empty") + 2, 0, 2, "has the mode 0 and is in use in its chunk"},
      {good.inode("size 1"), 0, 2, "begins with 0x0000, expected 0x494e"},
  };
  for (const Spoiled& spoiled : all) {
    CAPTURE(spoiled.words);
    Bytes bytes = good.bytes;
    put(bytes, spoiled.at, spoiled.value, spoiled.width);
    CHECK_THAT(said(bytes), Catch::Contains(spoiled.words));
  }
}

TEST_CASE("xfs: numbers of the superblock that lead nowhere", "[xfs]") {
  const Subject good;
  struct Spoiled {
    std::size_t at;
    std::uint64_t value;
    unsigned width;
  };
  // Block, sector and inode sizes; blocks of a group; groups; all blocks.
  for (const Spoiled& spoiled : {Spoiled{4, 1000, 4},
                                 {4, 1 << 20, 4},
                                 {102, 100, 2},
                                 {104, 128, 2},
                                 {104, 2048, 2},
                                 {84, 0, 4},
                                 {84, 1, 4},
                                 {88, 0, 4},
                                 {88, 0xFFFFFFFF, 4},
                                 {8, 0, 8},
                                 {8, 1024, 8}}) {
    CAPTURE(spoiled.at, spoiled.value);
    Bytes bytes = good.bytes;
    put(bytes, spoiled.at, spoiled.value, spoiled.width);
    CHECK_FALSE(exercise("xfs", bytes).opened);
  }
  Bytes bytes = good.bytes;
  put(bytes, 56, 0, 8);  // no root
  CHECK(exercise("xfs", bytes).entries == 0);
  put(bytes, 56, ~std::uint64_t{0}, 8);
  CHECK(exercise("xfs", bytes).entries == 0);
  bytes = good.bytes;
  put(bytes, 8, ~std::uint64_t{0} >> 1U, 8);  // more blocks than the groups have
  CHECK(exercise("xfs", bytes).entries != 0);
}

TEST_CASE("xfs: extents that lead out of the volume or over one another", "[xfs]") {
  const Subject good;
  const std::size_t inode = good.inode("holes");
  const std::size_t list = inode + kFork;
  REQUIRE(number(good.bytes, inode + 76, 4) == 3);
  const auto extent = [&](Bytes& bytes, std::size_t i, std::uint64_t unit, std::uint64_t address,
                          std::uint64_t count) {
    put(bytes, list + 16 * i, unit << 9U | address >> 43U, 8);
    put(bytes, list + 16 * i + 8, address << 21U | count, 8);
  };
  Bytes bytes = good.bytes;
  extent(bytes, 0, 0, 5U << 10U, 1);  // there is no group 5
  CHECK_THAT(said(bytes), Catch::Contains("points to block 5120, expected one from 1 to 2047"));
  extent(bytes, 0, 0, 1020, 9);  // leaves its group
  CHECK_THAT(said(bytes), Catch::Contains("points to block"));
  extent(bytes, 0, 0, 100, 0);
  CHECK_THAT(said(bytes), Catch::Contains("points to block"));
  extent(bytes, 0, 70, 100, 1);  // behind the next one
  CHECK_THAT(said(bytes), Catch::Contains("gives block"));
  bytes = good.bytes;
  extent(bytes, 0, 70, 100, 1);  // behind the next one; told once for an inode
  put(bytes, inode + 76, 10, 4);
  CHECK_THAT(said(bytes), Catch::Contains("has 10 extents in its list, expected at most 9"));
  bytes = good.bytes;
  put(bytes, inode + 5, 0, 1);
  CHECK_THAT(said(bytes), Catch::Contains("stores its content in the form 0, expected 1 to 3"));
  put(bytes, inode + 5, 1, 1);  // 90000 bytes inside an inode
  CHECK_THAT(said(bytes), Catch::Contains("inside itself, expected at most 156"));
  bytes = good.bytes;
  put(bytes, inode + 90, 1, 2);
  CHECK_THAT(said(bytes), Catch::Contains("lies in the realtime part of the volume"));
  bytes = good.bytes;
  put(bytes, inode + 56, ~std::uint64_t{0}, 8);  // a size without end
  const Exercise endless = exercise("xfs", bytes);
  CHECK(endless.content < bytes.size());
  CHECK(endless.bytes_read < 4 * bytes.size());
}

TEST_CASE("xfs: trees of extents that lead to themselves multiply nothing", "[xfs]") {
  const Subject good({.extent_blocks = 1, .gap_blocks = 1});
  const std::size_t inode = good.inode("size 100001");
  REQUIRE(good.bytes[inode + 5] == std::byte{3});
  const std::size_t root = inode + kFork;
  const std::uint64_t child = number(good.bytes, root + 4 + 72, 8);
  const std::size_t leaf = Subject::place(child);
  REQUIRE(number(good.bytes, leaf, 4) == 0x424D4150);
  const std::size_t entries = leaf + 24;
  const std::size_t pointers = entries + 62 * 8;
  Bytes bytes = good.bytes;
  put(bytes, root, 5, 2);
  put(bytes, root + 2, 9, 2);
  for (std::size_t i = 0; i < 9; ++i)
    put(bytes, root + 4 + 72 + i * 8, child, 8);
  for (const std::uint64_t level : {4U, 1U}) {
    put(bytes, leaf + 4, level, 2);
    put(bytes, leaf + 6, 62, 2);
    put(bytes, root, level + 1, 2);
    for (std::size_t i = 0; i < 62; ++i)
      put(bytes, pointers + i * 8, child, 8);
    const Exercise done = exercise("xfs", bytes);
    CHECK_THAT(done.words(), Catch::Contains("which holds no node of an extent tree"));
    CHECK(done.bytes_read < 40 * bytes.size());
  }
  for (const std::uint64_t level : {0U, 9U, 65535U}) {
    bytes = good.bytes;
    put(bytes, root, level, 2);
    CHECK_THAT(said(bytes), Catch::Contains("which holds no node of an extent tree"));
  }
  bytes = good.bytes;
  put(bytes, leaf + 6, 63, 2);
  CHECK_THAT(said(bytes), Catch::Contains("which holds no node of an extent tree"));
  // One leaf named again and again: what it maps is handed out once.
  bytes = good.bytes;
  put(bytes, root + 2, 9, 2);
  for (std::size_t i = 0; i < 9; ++i)
    put(bytes, root + 4 + 72 + i * 8, child, 8);
  const Exercise again = exercise("xfs", bytes);
  CHECK_THAT(again.words(), Catch::Contains("gives block"));
  CHECK(again.content < bytes.size());
}

TEST_CASE("xfs: trees of groups that lead to themselves come to an end", "[xfs]") {
  const Subject good;
  const std::size_t tree = number(good.bytes, kSpace + 16, 4) * kBlock;
  for (const std::uint64_t level : {1U, 9U, 15U}) {
    Bytes bytes = good.bytes;
    put(bytes, kSpace + 28, level + 1, 4);
    put(bytes, tree + 4, level, 2);
    put(bytes, tree + 6, 84, 2);
    for (std::size_t i = 0; i < 84; ++i)
      put(bytes, tree + 16 + 84 * 8 + i * 4, tree / kBlock, 4);
    const Exercise done = exercise("xfs", bytes);
    CHECK_THAT(done.words(), Catch::Contains("begins with 0x41425442, level"));
    CHECK(done.bytes_read < 40 * bytes.size());
  }
}

TEST_CASE("xfs: entries of directories that cannot be right", "[xfs]") {
  const Subject good;
  const std::size_t block = good.content("block");
  REQUIRE(number(good.bytes, block, 4) == 0x58443242);
  struct Spoiled {
    std::size_t at;
    std::uint64_t value;
    unsigned width;
    const char* words;
    std::size_t lost;  // of 12 names
  };
  // Entries of 24 bytes stand behind a head of 16, "." and ".." of 16.
  const Spoiled all[] = {
      {0, 0, 4, "begins with 0x00000000, expected 0x58443244", 12},
      {kBlock - 8, 4000, 4, "has 4000 entries in its index, expected at most", 12},
      {48 + 8, 0, 1, "has no right length or tag; the rest of the block is left out", 12},
      {48 + 8, 255, 1, "has no right length or tag; the rest of the block is left out", 12},
      {48 + 22, 5, 2, "at byte 48 of its block has the tag 5, expected its place", 0},
      {48 + 9, '/', 1, "holds a name of 7 bytes that has a '/' or NUL in it", 0},
      {48, 0x7000000000000000, 8, "leads to inode 8070450532247928832, expected one inside", 0},
  };
  for (const Spoiled& spoiled : all) {
    CAPTURE(spoiled.words);
    Bytes bytes = good.bytes;
    put(bytes, block + spoiled.at, spoiled.value, spoiled.width);
    const auto volume = open_volume("xfs", view_of(bytes));
    std::size_t names = 0;
    volume->each_entry(find_path(*volume, "block")->node, [&](const Entry&) {
      ++names;
      return true;
    });
    CHECK(names == 12 - spoiled.lost);
    CHECK_THAT(said(bytes), Catch::Contains(spoiled.words));
  }
}

TEST_CASE("xfs: directories inside inodes that reach out of them", "[xfs]") {
  for (const std::uint32_t version : {4U, 1U}) {
    CAPTURE(version);
    const Subject good({.version = version});
    const std::size_t inode = good.inode("short");
    const std::size_t count = version == 4 ? 0 : 8;
    const std::size_t length = version == 4 ? 6 : 17;
    Bytes bytes = good.bytes;
    put(bytes, inode + kFork + count, 200, 1);
    CHECK_THAT(said(bytes), Catch::Contains("reach out of its"));
    bytes = good.bytes;
    put(bytes, inode + kFork + length, 255, 1);
    CHECK_THAT(said(bytes), Catch::Contains("reach out of its"));
    put(bytes, inode + kFork + length, 0, 1);
    CHECK_THAT(said(bytes), Catch::Contains("reach out of its"));
    put(bytes, inode + 56, 3, 8);  // of the size
    CHECK_THAT(said(bytes), Catch::Contains("reach out of its 3 bytes"));
  }
}

TEST_CASE("xfs: blocks of the first form that cannot be right", "[xfs]") {
  const Subject good({.version = 1});
  const std::size_t block = good.content("block");
  REQUIRE(number(good.bytes, block + 8, 2) == 0xFEEB);
  Bytes bytes = good.bytes;
  put(bytes, block + 8, 0xFEEC, 2);
  CHECK_THAT(said(bytes), Catch::Contains("has the magic 0xfeec and 14 entries"));
  bytes = good.bytes;
  put(bytes, block + 12, 125, 2);
  CHECK_THAT(said(bytes), Catch::Contains("and 125 entries, expected 0xfeeb and at most 124"));
  bytes = good.bytes;
  put(bytes, block + 32 + 4, 8, 2);  // the place of a name
  CHECK_THAT(said(bytes), Catch::Contains("bytes of name at byte 8 of its block"));
  bytes = good.bytes;
  put(bytes, block + 32 + 4, 1020, 2);
  CHECK_THAT(said(bytes), Catch::Contains("bytes of name at byte 1020 of its block"));
}

TEST_CASE("xfs: links that are longer than any", "[xfs]") {
  const Subject good;
  Bytes bytes = good.bytes;
  put(bytes, good.inode("link of 1023") + 56, 1U << 30U, 8);
  CHECK_THAT(said(bytes), Catch::Contains("has 1073741824 bytes, expected at most 1024"));
}

TEST_CASE("xfs: no wrong bytes make a walk crash, hang or leave the volume", "[xfs]") {
  std::mt19937 random(20261126);
  for (const std::uint32_t version : {4U, 1U}) {
    const Subject good({.version = version, .extent_blocks = 1, .gap_blocks = 1}, 120);
    for (int round = 0; round < 150; ++round) {
      Bytes bytes = good.bytes;
      CAPTURE(version, round);
      for (int i = 0; i < 40; ++i) {
        std::size_t at = random() % bytes.size();
        while (bytes[at] == std::byte{0})  // where something stands
          at = (at + 97) % bytes.size();
        bytes[at] ^= static_cast<std::byte>(1U << random() % 8);
      }
      CHECK(exercise("xfs", std::move(bytes)).bytes_read < 60'000'000);
    }
  }
}

}  // namespace
}  // namespace platter::test
