// Extended attributes of ext2 outside the inodes: whose blocks they are, and who names them.
#include <catch2/catch.hpp>

#include "files/check.h"
#include "filesystem/shared_count.h"
#include "support/survey.h"
#include "support/tree.h"
#include "unit/filesystem/ext2_volume.h"
#include "unit/filesystem/volume_exercise.h"

namespace platter::test {
namespace {

using namespace filesystem;  // NOLINT(google-build-using-namespace): structures

constexpr std::uint64_t kAttributes = SmallExt2::kFirstFree;  // block of attributes
constexpr std::uint64_t kValue = 14;                          // inode that holds a value

// Inodes 12 and 13 share a block of attributes.
SmallExt2 with_attributes(ByteOrder order = ByteOrder::little) {
  SmallExt2 small(order);
  small.super().set<"feature_compat">(kExt2CompatAttributes);
  small.file("one", 12, 0).set<"file_acl">(kAttributes);
  small.file("two", 13, 0).set<"file_acl">(kAttributes);
  FieldWriter<kExt2AttributeBlock>(small.bytes.data() + kAttributes * SmallExt2::kBlock, order)
      .set<"magic">(kExt2AttributeMagic)
      .set<"refcount">(2)
      .set<"blocks">(1);
  return small;
}

FieldWriter<kExt2AttributeBlock> header(SmallExt2& small) {
  return {small.bytes.data() + kAttributes * SmallExt2::kBlock, ByteOrder::little};
}

// An attribute behind the header whose value has an inode of its own.
FieldWriter<kExt2Attribute> attribute(SmallExt2& small) {
  return {small.bytes.data() + kAttributes * SmallExt2::kBlock + kExt2AttributeBlock.bytes,
          ByteOrder::little};
}

std::vector<Finding> found_in(const std::vector<std::byte>& bytes) {
  const View view = view_of(bytes);
  const auto volume = open_volume("ext2", view);
  return check_volume(*volume, view).findings;
}

std::string words(const std::vector<Finding>& findings) {
  std::string all;
  for (const Finding& finding : findings)
    all += std::string(finding_kind(finding.code).code) + ": " + finding.message + "\n";
  return all;
}

BlockUse use_of(const std::vector<std::byte>& bytes, std::uint64_t block) {
  BlockUse use = BlockUse::free;
  open_volume("ext2", view_of(bytes))->each_run([&](const BlockRun& run) {
    const std::uint64_t place = block * SmallExt2::kBlock;
    if (place >= run.start && place - run.start < run.bytes) use = run.use;
    return true;
  });
  return use;
}

TEST_CASE("ext2: a block of attributes that inodes share is the volume's own", "[ext2]") {
  for (const ByteOrder order : {ByteOrder::little, ByteOrder::big}) {
    SmallExt2 small = with_attributes(order);
    const auto bytes = small.finish(kAttributes + 1, 13);
    CHECK(words(found_in(bytes)) == "");
    CHECK(use_of(bytes, kAttributes) == BlockUse::metadata);
    CHECK(use_of(bytes, kAttributes - 1) == BlockUse::used);  // the root directory
  }
}

TEST_CASE("ext2: a block of attributes states how many inodes name it", "[ext2]") {
  SmallExt2 small = with_attributes();
  header(small).set<"refcount">(3);
  const auto findings = found_in(small.finish(kAttributes + 1, 13));
  REQUIRE(findings.size() == 1);
  CHECK(findings[0].severity == Severity::fault);
  CHECK(findings[0].code == FindingCode::filesystem_damaged);
  CHECK(findings[0].start == kAttributes * SmallExt2::kBlock + 4);
  CHECK(findings[0].message ==
        "block 10 of extended attributes says that 3 inodes share it, expected 2 as name it; the "
        "first is inode 12");
  // On a volume that was in use it is no proof of damage.
  small.super().set<"state">(0);
  CHECK(found_in(small.bytes).at(0).severity == Severity::caution);
}

TEST_CASE("ext2: blocks of attributes that are none", "[ext2]") {
  const auto said = [](auto spoil) {
    SmallExt2 small = with_attributes();
    small.finish(kAttributes + 1, 13);
    spoil(small);
    return words(found_in(small.bytes));
  };
  CHECK(said([](SmallExt2&) {}) == "");
  CHECK_THAT(said([](SmallExt2& s) { header(s).set<"magic">(0xEA020001); }),
             Catch::Contains("block 10, which inode 12 names for its extended attributes, has the "
                             "magic 0xea020001, expected 0xea020000") &&
                 Catch::Contains("blocks-unaccounted: 1 block of 1024"));
  CHECK_THAT(said([](SmallExt2& s) { header(s).set<"blocks">(2); }),
             Catch::Contains("states 2 blocks of attributes, expected 1"));
  CHECK_THAT(said([](SmallExt2& s) { s.inode(12).set<"file_acl">(256); }),
             Catch::Contains("block 256, which inode 12 names for its extended attributes, lies "
                             "outside the volume, expected one from 2 to 255"));
  CHECK_THAT(said([](SmallExt2& s) {
               s.finish(kAttributes, 13);
               s.bytes[3 * 1024 + 1] = {};
             }),
             Catch::Contains("block 10 holds the extended attributes of inode 12 and is free in "
                             "the bitmap, expected in use"));
  // A file's content in the same block.
  CHECK_THAT(said([](SmallExt2& s) {
               s.inode(12).set<"size">(1024).set<"blocks">(4).set<"block">(kAttributes);
             }),
             Catch::Contains("extent-overlap: one has blocks that hold the volume's own records"));
  // Without the feature the field says nothing; the old form of the block is taken as it is.
  CHECK_THAT(said([](SmallExt2& s) { s.super().set<"feature_compat">(0); }),
             Catch::Contains("blocks-unaccounted"));
  CHECK(said([](SmallExt2& s) { header(s).set<"magic">(kExt2OldAttributeMagic); }) == "");
}

TEST_CASE("ext2: values of attributes in inodes of their own", "[ext2]") {
  const auto with_value = [] {
    SmallExt2 small = with_attributes();
    small.super().set<"feature_incompat">(kExt2IncompatTypes | kExt2IncompatValueInodes);
    attribute(small).set<"name_len">(1).set<"name_index">(1).set<"value_inum">(kValue);
    small.inode(kValue)
        .set<"mode">(0100600)
        .set<"links">(1)
        .set<"size">(700)
        .set<"blocks">(2)
        .set<"block">(kAttributes + 1)
        .set<"flags">(kExt2InodeValue)
        .set<"os1">(1);  // named once: by the block, however many inodes share that
    return small;
  };
  SmallExt2 small = with_value();
  const auto good = small.finish(kAttributes + 2, kValue);
  CHECK(words(found_in(good)) == "");
  CHECK(use_of(good, kAttributes + 1) == BlockUse::metadata);
  small.inode(kValue).set<"ctime">(1);  // the count's upper half
  CHECK_THAT(words(found_in(small.bytes)),
             Catch::Contains("inode 14 says that 4294967297 extended attributes share its value, "
                             "expected 1 as name it"));
  small.inode(kValue).set<"mtime">(12);  // the form before counts
  CHECK(words(found_in(small.bytes)) == "");
  small.inode(kValue).set<"flags">(0);
  CHECK_THAT(words(found_in(small.bytes)),
             Catch::Contains("inode 14, which an extended attribute of inode 12 names for its "
                             "value, is none that holds one") &&
                 Catch::Contains("blocks-unaccounted"));
  attribute(small).set<"value_inum">(0xFFFFFFFF);
  CHECK_THAT(words(found_in(small.bytes)), Catch::Contains("inode 4294967295, which"));
}

TEST_CASE("ext2: a translator's block is its file's", "[ext2]") {
  SmallExt2 small;
  small.super().set<"creator_os">(1);
  small.file("translated", 12, 0).set<"os1">(kAttributes);
  CHECK(words(found_in(small.finish(kAttributes + 1, 12))) == "");
  small.super().set<"creator_os">(0);  // elsewhere the field is a version
  CHECK_THAT(words(found_in(small.bytes)), Catch::Contains("1 block of 1024 bytes"));
}

TEST_CASE("ext2: a journal with a name is a file, one without a name a record", "[ext2]") {
  SmallExt2 small;
  small.file(".journal", 12, 1024).set<"block">(kAttributes);
  small.super().set<"feature_compat">(kExt2CompatJournal).set<"journal_inum">(12);
  const auto named = small.finish(kAttributes + 1, 12);
  CHECK(words(found_in(named)) == "");
  CHECK(use_of(named, kAttributes) == BlockUse::used);
  small.entry(9, 24, 0, 1000, ".journal");
  CHECK(words(found_in(small.bytes)) == "");
  CHECK(use_of(small.bytes, kAttributes) == BlockUse::metadata);
}

TEST_CASE("ext2: the block of multiple mount protection is the volume's own", "[ext2]") {
  SmallExt2 small;
  small.super()
      .set<"feature_incompat">(kExt2IncompatTypes | kExt2IncompatMountProtection)
      .set<"mmp_block">(kAttributes);
  CHECK(words(found_in(small.finish(kAttributes + 1, 11))) == "");
}

TEST_CASE("ext2: groups that all have one table of inodes are looked at for so long only",
          "[ext2]") {
  SmallExt2 small = with_attributes();
  small.finish(kAttributes + 1, 13);
  small.super()
      .set<"blocks_per_group">(1)
      .set<"clusters_per_group">(1)
      .set<"inodes_per_group">(8192)
      .set<"inodes_count">(8192 * 255);
  for (std::uint64_t at = 2048; at + 32 <= 3072; at += 32)
    FieldWriter<kExt2Group>(small.bytes.data() + at, ByteOrder::little)
        .set<"block_bitmap">(3)
        .set<"inode_bitmap">(4)
        .set<"inode_table">(5);
  CHECK(exercise("ext2", small.bytes).bytes_read < 200 * small.bytes.size());
}

TEST_CASE("what is shared is counted, however it comes", "[ext2]") {
  SharedCount count;
  for (std::uint64_t round = 0; round < 5; ++round) {
    for (std::uint64_t number = 3000; number > 0; --number)
      count.add(number, round * 10000 + number);
  }
  for (int i = 0; i < 100; ++i)
    count.add(7, 1);
  REQUIRE(count.all().size() == 3000);
  CHECK(count.all()[0].number == 1);
  CHECK(count.all()[6].names == 105);
  CHECK(count.all()[6].first == 7);
  CHECK(count.all()[2999].names == 5);
  CHECK_FALSE(count.full());
  for (std::uint64_t number = 0; number < 1'000'001; ++number)
    count.add(number * 2, 1);
  CHECK(count.full());
}

}  // namespace
}  // namespace platter::test
