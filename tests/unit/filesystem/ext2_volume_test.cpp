// The files of ext2 volumes whose fields were set one by one, sound and hostile.
#include "unit/filesystem/ext2_volume.h"

#include <map>

#include <catch2/catch.hpp>

#include "support/survey.h"
#include "support/tree.h"
#include "unit/filesystem/volume_exercise.h"

namespace platter::test {
namespace {

std::vector<Extent> extents_of(const std::vector<std::byte>& bytes, NodeId node) {
  const auto volume = open_volume("ext2", view_of(bytes));
  std::vector<Extent> all;
  volume->each_extent(node, [&](const Extent& extent) {
    all.push_back(extent);
    return true;
  });
  return all;
}

TEST_CASE("ext2: a small volume in both orders", "[ext2]") {
  for (const auto& [order, word] : {std::pair<ByteOrder, std::size_t>{ByteOrder::little, 1},
                                    {ByteOrder::big, 1},
                                    {ByteOrder::big, 4}}) {
    CAPTURE(byte_order_name(order), word);
    SmallExt2 small(order, word);
    small.file("file", 12, 2500)
        .set<"block">(20, 0)
        .set<"block">(21, 1)
        .set<"block">(19, 2)
        .set<"uid">(0x1234)
        .set<"uid_high">(0x7)
        .set<"gid">(0xFFFF)
        .set<"gid_high">(0x1)
        .set<"mtime">(0xFFFFFFFF)  // the last second of 1969
        .set<"blocks">(6);
    small.name("link", 13).inode(13).set<"mode">(0120777).set<"links">(1).set<"size">(5);
    std::ranges::copy(
        std::as_bytes(std::span("there", 5)),
        small.bytes.begin() + static_cast<std::ptrdiff_t>(SmallExt2::inode_place(13) + 40));
    small.name("old", 14).inode(14).set<"mode">(0020600).set<"links">(1).set<"block">(0x0501, 0);
    small.name("new", 15).inode(15).set<"mode">(0060600).set<"links">(1).set<"block">(
        0x11112C70, 1);  // major 300, minor 0x11170 = 69 * 1024 + 368
    const auto bytes = small.finish(22, 15);
    const View view = view_of(bytes);
    const auto volume = open_volume("ext2", view);
    const Tree tree = tree_of_volume(*volume, view);
    REQUIRE(tree.size() == 4);
    CHECK(tree.at("file").uid == 0x71234U);
    CHECK(tree.at("file").gid == 0x1FFFFU);
    CHECK(tree.at("file").modified == -1);
    CHECK(tree.at("link").target == "there");
    CHECK(volume->attributes(14).device == DeviceNumber{5, 1});
    CHECK(volume->attributes(15).device == DeviceNumber{300, 0x11170});
    const auto extents = extents_of(bytes, 12);
    REQUIRE(extents.size() == 2);  // two neighbours are one extent
    CHECK(extents[0].start == 20 * 1024);
    CHECK(extents[0].bytes == 2048);
    CHECK(extents[1].start == 19 * 1024);
    CHECK(extents[1].offset == 2048);
    CHECK(extents[1].bytes == 452);
    std::map<BlockUse, std::uint64_t> sums;
    volume->each_run([&](const BlockRun& run) {
      sums[run.use] += run.bytes / 1024;
      return true;
    });
    CHECK(sums[BlockUse::metadata] == 9);  // the boot block too
    CHECK(sums[BlockUse::used] == 13);
    CHECK(sums[BlockUse::free] == 234);
    volume->check_records();
    for (const Finding& finding : volume->take_findings())
      FAIL_CHECK(finding.message);
  }
}

TEST_CASE("ext2: bad blocks are told from files", "[ext2]") {
  SmallExt2 small;
  small.inode(1).set<"size">(2048).set<"block">(30, 0).set<"block">(31, 1);
  const auto volume = open_volume("ext2", view_of(small.finish(40, 11)));
  std::uint64_t bad = 0;
  volume->each_run([&](const BlockRun& run) {
    if (run.use == BlockUse::bad) bad += run.bytes;
    return true;
  });
  CHECK(bad == 2048);
}

TEST_CASE("ext2: holes and pointers out of the volume", "[ext2]") {
  SmallExt2 small;
  small.file("file", 12, 20000).set<"block">(20, 1).set<"block">(5000, 3).set<"block">(30, 12);
  small.pointer(30, 4, 31);   // the file's block 16
  small.pointer(30, 5, 999);  // block 17
  const auto bytes = small.finish(40, 12);
  const auto extents = extents_of(bytes, 12);
  REQUIRE(extents.size() == 4);
  CHECK(extents[0].offset == 1024);
  CHECK(extents[1].offset == 3072);
  CHECK(extents[1].absent);
  CHECK(extents[2].offset == 16 * 1024);
  CHECK(extents[2].start == 31 * 1024);
  CHECK(extents[3].absent);
  CHECK_THAT(exercise("ext2", bytes).words(),
             Catch::Contains("inode 12 points to block 5000, expected one from 2 to 255"));
}

TEST_CASE("ext2: indirect blocks that lead to themselves multiply nothing", "[ext2]") {
  SmallExt2 small;
  small.file("file", 12, 0)
      .set<"size">(0xFFFFFFFF)
      .set<"size_high">(0x7FFFFFFF)
      .set<"block">(30, 12)
      .set<"block">(30, 13)
      .set<"block">(30, 14);
  for (std::uint64_t i = 0; i < 256; ++i)
    small.pointer(30, i, 30);
  const Exercise done = exercise("ext2", small.finish(40, 12));
  CHECK_THAT(done.words(), Catch::Contains("inode 12 names more blocks than the 256"));
  CHECK(done.content <= SmallExt2::kBlocks * 1024);
  CHECK(done.bytes_read < 40 * SmallExt2::kBlocks * 1024);
  // Only the way down repeats, and no block of content is ever reached.
  for (std::uint64_t i = 0; i < 256; ++i)
    small.pointer(30, i, i == 255 ? 0 : 31);
  for (std::uint64_t i = 0; i < 256; ++i)
    small.pointer(31, i, 32);
  CHECK(exercise("ext2", small.finish(40, 12)).bytes_read < 40 * SmallExt2::kBlocks * 1024);
}

TEST_CASE("ext2: a size without blocks is a hole", "[ext2]") {
  SmallExt2 small;
  small.file("file", 12, 0).set<"size">(0).set<"size_high">(0x80000000).set<"blocks">(0);
  const auto bytes = small.finish(10, 12);
  CHECK(open_volume("ext2", view_of(bytes))->attributes(12).bytes == 1ULL << 63U);
  CHECK(extents_of(bytes, 12).empty());
  CHECK(exercise("ext2", bytes).content == 0);
}

void extent_node(SmallExt2& small, std::uint64_t place, std::uint64_t entries,
                 std::uint64_t depth) {
  FieldWriter<filesystem::kExt2ExtentHeader>(small.bytes.data() + place, ByteOrder::little)
      .set<"magic">(filesystem::kExt2ExtentMagic)
      .set<"entries">(entries)
      .set<"max">(4)
      .set<"depth">(depth);
}
FieldWriter<filesystem::kExt2Extent> extent(SmallExt2& small, std::uint64_t node, std::uint64_t i) {
  return {small.bytes.data() + node + 12 + i * 12, ByteOrder::little};
}
FieldWriter<filesystem::kExt2ExtentIndex> extent_index(SmallExt2& small, std::uint64_t node,
                                                       std::uint64_t i) {
  return {small.bytes.data() + node + 12 + i * 12, ByteOrder::little};
}

TEST_CASE("ext2: extent trees, sound and absurd", "[ext2]") {
  const std::uint64_t root = SmallExt2::inode_place(12) + 40;
  const auto with_file = [] {
    SmallExt2 small;
    small.file("file", 12, 100 * 1024).set<"flags">(filesystem::kExt2InodeExtents);
    return small;
  };
  {
    SmallExt2 small = with_file();
    extent_node(small, root, 1, 1);
    extent_index(small, root, 0).set<"block">(0).set<"leaf">(30);
    extent_node(small, 30 * 1024, 3, 0);
    extent(small, 30 * 1024, 0).set<"block">(1).set<"len">(4).set<"start">(40);
    extent(small, 30 * 1024, 1).set<"block">(8).set<"len">(32768 + 5).set<"start">(50);
    extent(small, 30 * 1024, 2).set<"block">(98).set<"len">(9).set<"start">(60);
    const auto bytes = small.finish(80, 12);
    const auto found = extents_of(bytes, 12);
    REQUIRE(found.size() == 2);
    CHECK(found[0].offset == 1024);
    CHECK(found[0].start == 40 * 1024);
    CHECK(found[0].bytes == 4096);
    CHECK(found[1].offset == 98 * 1024);
    CHECK(found[1].bytes == 2048);  // not beyond the file's end
    std::vector<std::uint64_t> others;
    open_volume("ext2", view_of(bytes))->each_further_block(12, [&](const Extent& block) {
      others.push_back(block.start / 1024);
      return true;
    });
    CHECK(others ==
          std::vector<std::uint64_t>{30, 50});  // what was never written is the file's too
    CHECK(exercise("ext2", bytes).findings.empty());
  }
  {
    SmallExt2 small = with_file();  // a node below itself
    extent_node(small, root, 1, 5);
    extent_index(small, root, 0).set<"leaf">(30);
    extent_node(small, 30 * 1024, 80, 4);
    for (std::uint64_t i = 0; i < 80; ++i)
      extent_index(small, 30 * 1024, i).set<"leaf">(30);
    const Exercise done = exercise("ext2", small.finish(40, 12));
    CHECK_THAT(done.words(), Catch::Contains("block 30, which holds no node of an extent tree"));
    CHECK(done.bytes_read < 10 * SmallExt2::kBlocks * 1024);
  }
  {
    SmallExt2 small = with_file();
    extent_node(small, root, 1, 60000);
    CHECK_THAT(exercise("ext2", small.finish(40, 12)).words(), Catch::Contains("no node"));
    extent_node(small, root, 5, 0);  // more entries than the inode has room for
    CHECK_THAT(exercise("ext2", small.finish(40, 12)).words(), Catch::Contains("no node"));
    extent_node(small, root, 2, 0);
    extent(small, root, 0).set<"block">(5).set<"len">(4).set<"start">(40);
    extent(small, root, 1).set<"block">(6).set<"len">(4).set<"start">(50);
    CHECK_THAT(exercise("ext2", small.finish(60, 12)).words(),
               Catch::Contains("gives block 50 a place in the file that was taken before"));
    extent(small, root, 1).set<"block">(9).set<"len">(32768).set<"start">(50);
    CHECK_THAT(exercise("ext2", small.finish(60, 12)).words(),
               Catch::Contains("points to block 50"));
  }
}

TEST_CASE("ext2: directories that lead astray", "[ext2]") {
  const auto said = [](auto spoil) {
    SmallExt2 small;
    small.file("file", 12, 0);
    spoil(small);
    return exercise("ext2", small.finish(20, 12));
  };
  const std::uint64_t first = 12;  // byte of ".."; the next entry is at 24
  CHECK_THAT(said([](SmallExt2& s) { s.entry(9, 24, 12, 0, "file"); }).words(),
             Catch::Contains("has 0 bytes and a name of 4"));
  CHECK_THAT(said([](SmallExt2& s) { s.entry(9, 24, 12, 1023, "file"); }).words(),
             Catch::Contains("has 1023 bytes"));
  CHECK_THAT(said([](SmallExt2& s) { s.entry(9, 24, 12, 1004, "file"); }).words(),
             Catch::Contains("at most 1000"));
  CHECK_THAT(said([](SmallExt2& s) { s.entry(9, 24, 12, 8, "file"); }).words(),
             Catch::Contains("has 8 bytes and a name of 4"));
  CHECK_THAT(said([](SmallExt2& s) { s.entry(9, 24, 99, 1000, "file"); }).words(),
             Catch::Contains("leads to inode 99, expected one from 1 to 32"));
  CHECK_THAT(said([](SmallExt2& s) { s.entry(9, 24, 13, 1000, "file"); }).words(),
             Catch::Contains("inode 13 has a name and the mode 0"));
  CHECK_THAT(said([](SmallExt2& s) { s.entry(9, 24, 12, 1000, "a/b"); }).words(),
             Catch::Contains("a '/' or NUL"));
  CHECK_THAT(said([](SmallExt2& s) { s.entry(9, 24, 12, 1000, ""); }).words(),
             Catch::Contains("that is empty"));
  CHECK_THAT(said([](SmallExt2& s) { s.entry(9, 24, 2, 1000, "self"); }).words(),
             Catch::Contains("entered before"));
  CHECK(said([&](SmallExt2& s) { s.entry(9, first, 2, 1012, ".."); }).entries == 0);
}

TEST_CASE("ext2: a directory of one block that is there many times is read so often only",
          "[ext2]") {
  SmallExt2 small;
  small.name("d", 12).inode(12).set<"mode">(0040755).set<"links">(2).set<"size">(0xFFFFFC00);
  for (std::size_t i = 0; i < 12; ++i)
    small.inode(12).set<"block">(20, i);
  small.inode(12).set<"block">(30, 12).set<"block">(31, 13);
  for (std::uint64_t i = 0; i < 256; ++i)
    small.pointer(30, i, 20);
  for (std::uint64_t i = 0; i < 256; ++i)
    small.pointer(31, i, 30);
  for (std::uint64_t at = 0; at < 1024; at += 12) {
    small.entry(20, at, 11, at + 24 > 1024 ? 1024 - at : 12, "x");
  }
  const Exercise done = exercise("ext2", small.finish(40, 12));
  CHECK(done.entries <= 86 * SmallExt2::kBlocks + 1);
  CHECK_THAT(done.words(), Catch::Contains("names more blocks"));
}

TEST_CASE("ext2: counts and places that no volume has", "[ext2]") {
  SmallExt2 small;
  small.file("file", 12, 0);
  auto bytes = small.finish(20, 12);
  small.super().set<"inodes_count">(0xFFFFFFFF);
  CHECK(exercise("ext2", small.bytes).bytes_read < 20 * bytes.size());
  small.super().set<"inodes_per_group">(0xFFFFFFFF);
  small.entry(9, 24, 0xFFFFFFF0, 1000, "file");
  CHECK(exercise("ext2", small.bytes).bytes_read < 20 * bytes.size());
  small.super().set<"blocks_count">(0xFFFFFFFF).set<"blocks_per_group">(1);
  CHECK(exercise("ext2", small.bytes).bytes_read < 40 * bytes.size());
  SmallExt2 other;
  other.group().set<"inode_table">(0xFFFFFFF0);
  CHECK_THAT(exercise("ext2", other.finish(20, 12)).words(),
             Catch::Contains("has its inodes at block 4294967280"));
}

TEST_CASE("ext2: what cannot be read is said", "[ext2]") {
  SmallExt2 small;
  small.file("file", 12, 10).set<"block">(20).set<"flags">(filesystem::kExt2InodeEncrypted);
  small.finish(30, 12);
  small.super().set<"feature_incompat">(0x10002);
  CHECK_THAT(exercise("ext2", small.bytes).words(), Catch::Contains("inode 12 is encrypted"));
  small.super().set<"feature_incompat">(0x40000002);
  const Exercise unknown = exercise("ext2", small.bytes);
  CHECK_THAT(unknown.words(), Catch::Contains("features 0x40000000 that are not known here"));
  CHECK(unknown.entries == 1);
  small.super().set<"feature_incompat">(6);
  CHECK_THAT(exercise("ext2", small.bytes).words(), Catch::Contains("the journal holds changes"));
  small.inode(12).set<"flags">(filesystem::kExt2InodeCompressed);
  small.super().set<"feature_incompat">(3);
  CHECK_THAT(exercise("ext2", small.bytes).words(), Catch::Contains("inode 12 is compressed"));
}

TEST_CASE("ext2: flips and cuts anywhere in a volume", "[ext2]") {
  for (const ByteOrder order : {ByteOrder::little, ByteOrder::big}) {
    SmallExt2 small(order);
    small.file("file", 12, 20000).set<"block">(20, 1).set<"block">(30, 12);
    small.pointer(30, 4, 31);
    small.name("dir", 13).inode(13).set<"mode">(0040755).set<"links">(2).set<"size">(1024);
    small.inode(13).set<"block">(15);
    small.entry(15, 0, 13, 12, ".");
    small.entry(15, 12, 2, 1012, "..");
    const auto good = small.finish(40, 13);
    auto bytes = good;
    for (std::size_t at = 1024; at < 10 * 1024; at += at < 2112 ? 1 : 7) {
      for (const unsigned flip : {0x01U, 0x80U, 0xFFU}) {
        bytes[at] ^= static_cast<std::byte>(flip);
        CHECK(exercise("ext2", bytes).bytes_read < 200 * bytes.size());
        bytes[at] ^= static_cast<std::byte>(flip);
      }
    }
    for (std::size_t length = 0; length < 40 * 1024; length += 127) {
      exercise("ext2", {good.begin(), good.begin() + static_cast<std::ptrdiff_t>(length)});
    }
  }
}

}  // namespace
}  // namespace platter::test
