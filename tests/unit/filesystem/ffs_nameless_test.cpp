// What the SVR4 line keeps on a volume without a name: access lists, attributes, the log.
#include <catch2/catch.hpp>

#include "files/check.h"
#include "files/walk.h"
#include "filesystem/ffs_find.h"
#include "filesystem/ffs_shape.h"
#include "support/survey.h"
#include "support/tree.h"
#include "writers/ffs_writer.h"

namespace platter::test {
namespace {

using namespace filesystem;  // NOLINT(google-build-using-namespace): structures

constexpr std::uint64_t kSuperblock = 8192;
constexpr std::uint64_t kBlock = 8192;

// A volume whose files can be turned into what has no name.
class Spoiled {
 public:
  explicit Spoiled(ByteOrder order) : order_(order) {
    fixtures::FfsOptions options;
    options.style = fixtures::FfsStyle::svr4;
    options.order = order;
    fixtures::FfsWriter writer(options);
    writer.add_file("one", "text").add_file("two", "text").add_file("list", std::string(300, 'l'));
    writer.add_file("attributes/value", std::string(20000, 'v'));
    writer.add_file("log", std::string(5 * kBlock, 'g')).add_file("table", std::string(kBlock, 0));
    bytes = writer.build();
  }

  [[nodiscard]] NodeId node(std::string_view path) const {
    const auto found = find_path(*open_volume("ffs", view_of(bytes)), path);
    REQUIRE(found);
    return found->node;
  }
  FieldWriter<kFfsInode> inode(NodeId number) {
    const auto found = find_ffs(view_of(bytes), false);
    REQUIRE(found);
    const FfsShape shape(found->sizes, found->reading);
    return {bytes.data() + shape.inode_place(number), order_};
  }
  /// Takes a name out of the root directory; gives the inode that it had.
  NodeId forget(std::string_view name) {
    NodeId node = 0;
    std::uint64_t place = 0;
    const auto volume = open_volume("ffs", view_of(bytes));
    volume->each_entry(volume->root(), [&](const Entry& entry) {
      if (entry.name != name) return true;
      node = entry.node;
      place = entry.place;
      return false;
    });
    REQUIRE(place != 0);
    FieldWriter<kFfsOldEntry>(bytes.data() + place, order_).set<"inode">(0);
    return node;
  }
  /// Takes a file's blocks from it; gives the byte of the first.
  std::uint64_t take_blocks(std::string_view path) {
    std::uint64_t start = 0;
    const auto volume = open_volume("ffs", view_of(bytes));
    volume->each_extent(node(path), [&](const Extent& extent) {
      start = extent.start;
      return false;
    });
    auto writer = inode(node(path));
    writer.set<"size">(0).set<"blocks">(0);
    for (std::size_t i = 0; i < 12; ++i)
      writer.set<"direct">(0, i);
    return start;
  }
  /// The allocation of a log of 5 blocks, in the file "table".
  FieldWriter<kFfsLog> make_log() {
    const std::uint64_t log = take_blocks("log");
    table = take_blocks("table");
    FieldWriter<kFfsSvr4Big>(bytes.data() + kSuperblock, order_).set<"logbno">(table / 512);
    FieldWriter<kFfsLogExtent>(bytes.data() + table + kFfsLog.bytes, order_)
        .set<"first">(log / 512)
        .set<"count">(5 * kBlock / 512);
    // The sum of these words; the checksum itself and the rest are zero.
    FieldWriter<kFfsLog> writer(bytes.data() + table, order_);
    writer.set<"extents">(1).set<"log_bytes">(5 * kBlock);
    writer.set<"checksum">(1 + 5 * kBlock + log / 512 + 5 * kBlock / 512);
    return writer;
  }
  [[nodiscard]] std::string words() const {
    const View view = view_of(bytes);
    const auto volume = open_volume("ffs", view);
    std::string all;
    for (const Finding& finding : check_volume(*volume, view).findings)
      all += std::string(finding_kind(finding.code).code) + ": " + finding.message + "\n";
    return all;
  }

  std::vector<std::byte> bytes;
  std::uint64_t table = 0;

 private:
  ByteOrder order_;
};

TEST_CASE("FFS: an access list belongs to the files that name it", "[ffs]") {
  for (const ByteOrder order : {ByteOrder::big, ByteOrder::little}) {
    Spoiled volume(order);
    CHECK(volume.words() == "");
    const NodeId list = volume.forget("list");
    CHECK(volume.words() ==
          "blocks-unaccounted: 1 block of 1024 bytes are in use and belong to no "
          "file\n");
    volume.inode(list).set<"mode">(kFfsAccessListType | 0600U).set<"nlink">(2);
    volume.inode(volume.node("one")).set<"wide_ids">(list, 0);
    volume.inode(volume.node("two")).set<"wide_ids">(list, 0);
    CHECK(volume.words() == "");
    volume.inode(list).set<"nlink">(3);
    CHECK(volume.words() == "links-differ: the access list in inode " + std::to_string(list) +
                                " states 3 files, 2 name it\n");
    volume.inode(list).set<"nlink">(1);
    const NodeId one = volume.node("one");
    volume.inode(volume.node("two")).set<"wide_ids">(one, 0);
    CHECK_THAT(volume.words(), Catch::Contains("names inode " + std::to_string(one) +
                                               " for its access list, expected one of that type"));
  }
}

TEST_CASE("FFS: attributes are records, with the directory that leads to them", "[ffs]") {
  Spoiled volume(ByteOrder::big);
  const NodeId value = volume.node("attributes/value");
  const NodeId directory = volume.forget("attributes");
  CHECK_THAT(volume.words(), Catch::Contains("blocks-unaccounted: 21 blocks of 1024"));
  volume.inode(value).set<"flags">(kFfsAttributeFlag);
  // The flag alone says nothing.
  CHECK_THAT(volume.words(), Catch::Contains("blocks-unaccounted: 21 blocks of 1024"));
  volume.inode(directory).set<"mode">(kFfsAttributeDirectoryType | 0755U);
  volume.inode(volume.node("one")).set<"wide_ids">(directory, 3);
  CHECK(volume.words() == "");
}

TEST_CASE("FFS: the log has its blocks from an allocation that the superblock names", "[ffs]") {
  for (const ByteOrder order : {ByteOrder::big, ByteOrder::little}) {
    Spoiled volume(order);
    volume.make_log();
    CHECK(volume.words() == "");
    volume.bytes[volume.table + kBlock - 1] = std::byte{1};  // the checksum covers the whole block
    CHECK_THAT(volume.words(), Catch::Contains("for the allocation of its log, expected one with "
                                               "its checksum and places inside the volume") &&
                                   Catch::Contains("blocks-unaccounted: 48 blocks of 1024"));
  }
  Spoiled volume(ByteOrder::big);
  volume.make_log().set<"extents">(0xFFFFFFFF);
  CHECK_THAT(volume.words(), Catch::Contains("for the allocation of its log"));
  FieldWriter<kFfsSvr4Big>(volume.bytes.data() + kSuperblock, ByteOrder::big)
      .set<"logbno">(0xFFFFFFFF);
  CHECK_THAT(volume.words(), Catch::Contains("names byte 2199023255040 for the allocation"));
}

TEST_CASE("UFS2: extended attributes have blocks of their file", "[ffs]") {
  fixtures::FfsOptions options;
  options.style = fixtures::FfsStyle::ufs2;
  options.order = ByteOrder::little;
  options.volume_bytes = 8 << 20;
  const std::string text(300, 't');
  auto bytes = fixtures::FfsWriter(options).add_file("one", "1").add_file("two", text).build();
  const auto inode_bytes = [&](std::string_view path) {
    const auto found = find_path(*open_volume("ufs2", view_of(bytes)), path);
    REQUIRE(found);
    const auto numbers = find_ffs(view_of(bytes), true);
    const FfsShape shape(numbers->sizes, numbers->reading);
    return bytes.data() + shape.inode_place(found->node);
  };
  const auto inode = [&](std::string_view path) {
    return FieldWriter<kUfs2Inode>(inode_bytes(path), options.order);
  };
  const auto words = [&] {
    const View view = view_of(bytes);
    const auto volume = open_volume("ufs2", view);
    std::string all;
    for (const Finding& finding : check_volume(*volume, view).findings)
      all += finding.message + "\n";
    return all;
  };
  CHECK(words() == "");
  const std::uint64_t address =
      FieldReader<kUfs2Inode>(inode_bytes("two"), options.order).get<"direct">();
  inode("two").set<"direct">(0).set<"size">(0).set<"blocks">(0);
  CHECK_THAT(words(), Catch::Contains("1 block of 1024 bytes are in use and belong to no file"));
  inode("one").set<"extended">(address).set<"extsize">(300);
  CHECK(words() == "");
}

TEST_CASE("FFS: what has no name may be anything", "[ffs]") {
  Spoiled volume(ByteOrder::little);
  const NodeId list = volume.forget("list");
  volume.make_log();
  volume.inode(list)
      .set<"mode">(kFfsAccessListType)
      .set<"size">(kLargest >> 1U)
      .set<"direct">(0xFFFFFFFF, 0)
      .set<"indirect">(0xFFFFFFF0, 2);
  for (std::size_t at = volume.table; at < volume.table + 40; ++at) {
    for (const unsigned flip : {0x01U, 0x80U, 0xFFU}) {
      volume.bytes[at] ^= static_cast<std::byte>(flip);
      CHECK_THAT(volume.words(), Catch::Contains("fragment 4294967295"));
      volume.bytes[at] ^= static_cast<std::byte>(flip);
    }
  }
}

}  // namespace
}  // namespace platter::test
