// HFS+: volumes of the writer, spoiled.
#include <fmt/format.h>

#include "hfsplus_support.h"

namespace platter::test {
namespace {

TEST_CASE("HFS+: a header beyond use has a copy", "[hfsplus]") {
  auto writer = sample();
  const auto sound = writer.build();
  struct Spoiled {
    const char* what;
    void (*spoil)(FieldWriter<kHfsPlusHeader> header);
  };
  for (const Spoiled& spoiled :
       {Spoiled{"version", [](auto header) { header.template set<"version">(9); }},
        {"block size", [](auto header) { header.template set<"block_bytes">(1000); }},
        {"blocks", [](auto header) { header.template set<"blocks">(0); }},
        {"free blocks", [](auto header) { header.template set<"free_blocks">(5000); }},
        {"next id", [](auto header) { header.template set<"next_id">(3); }},
        {"catalog", [](auto header) {
           header.template sub<"catalog">().template sub<"extents">(0).template set<"start">(1020);
         }}}) {
    CAPTURE(spoiled.what);
    auto bytes = sound;
    spoiled.spoil(header_of(bytes));
    const auto found = claims_of("hfsplus", bytes);
    REQUIRE(found.size() == 1);
    CHECK(found[0].strength == Strength::magic);
    REQUIRE(found[0].findings.size() == 1);
    CHECK(found[0].findings[0].message.find("its copy is used") != std::string::npos);
    CHECK(judge("hfsplus", bytes).tree.size() == kSampleNames);
  }
  auto bytes = sound;
  header_of(bytes).set<"signature">(0);
  CHECK(claims_of("hfsplus", bytes).empty());  // a copy alone is a remnant
  bytes = sound;
  header_of(bytes).set<"block_bytes">(1000);
  encode_unsigned(std::span(bytes).last(1024).first(2), 0, ByteOrder::big);
  CHECK(claims_of("hfsplus", bytes).empty());
}

TEST_CASE("HFS+: records that disagree", "[hfsplus]") {
  auto writer = sample();
  auto bytes = writer.build();
  const auto says = [&](std::string_view words) {
    const Judged judged = judge("hfsplus", bytes);
    CAPTURE(judged.all());
    CHECK(judged.says(words));
    CHECK(judged.findings.size() == 1);
  };
  const auto free = claims_of("hfsplus", bytes)[0].facts.number("free_bytes") / 1024;
  SECTION("free count") {
    header_of(bytes).set<"free_blocks">(free - 1);
    says(fmt::format("the header says that {} blocks are free, expected {} by", free - 1, free));
  }
  SECTION("counts of files") {
    header_of(bytes).set<"files">(1);
    says("the header counts 1 files and 2 directories, expected 43 and 2");
  }
  SECTION("next id") {
    header_of(bytes).set<"next_id">(50);
    says("the next id is 50, expected one above 60");
    header_of(bytes).set<"attributes">(kHfsUnmounted | kHfsPlusIdsReused);
    CHECK(judge("hfsplus", bytes).findings.empty());
  }
  SECTION("no copy of the header") {
    std::fill(bytes.end() - 1024, bytes.end(), std::byte{0});
    says("no copy of the header");
  }
  SECTION("valence") {
    directory_named(bytes, writer, "Folder").set<"valence">(7);
    says(fmt::format("directory {} claims 5 more entries than it has", writer.id_of("Folder")));
  }
  SECTION("blocks of a fork") {
    file_named(bytes, writer, "Read Me").sub<"data">().set<"blocks">(2);
    says("the extents of the data fork of file 16 have 1 blocks, expected 2");
  }
  SECTION("length of a fork") {
    file_named(bytes, writer, "Read Me").sub<"resource">().set<"blocks">(0);
    CHECK(judge("hfsplus", bytes).says("the resource fork of file 16 has 700 bytes, expected no"));
  }
  SECTION("a file in the catalog's blocks") {
    file_named(bytes, writer, "Read Me")
        .sub<"data">()
        .sub<"extents">(0)
        .set<"start">(writer.catalog_place() / 1024);
    says("an extent of file 16 at block 35 shares blocks with the catalog");
  }
  SECTION("order of keys") {
    std::byte* name = record_named(bytes, writer, "number 10");
    name[-1] = std::byte{'9'};
    name[-3] = std::byte{'9'};
    CHECK(judge("hfsplus", bytes).says("a key that is not above the one before"));
  }
  SECTION("threads") {
    // A file's thread is made one of a directory.
    std::byte* record = record_named(bytes, writer, "Read Me");
    (void)record;
    const std::size_t leaf = writer.catalog_place() + 4096;
    std::size_t changed = 0;
    for (std::size_t at = leaf; at < leaf + 4096 * writer.catalog_leaves() && changed == 0; ++at) {
      // Key length 6, parent 16 (the first id), no name; then kind 4.
      const std::array<unsigned, 10> wanted = {0, 6, 0, 0, 0, 16, 0, 0, 0, 4};
      if (!std::equal(wanted.begin(), wanted.end(), bytes.begin() + static_cast<std::ptrdiff_t>(at),
                      [](unsigned a, std::byte b) { return std::byte(a) == b; })) {
        continue;
      }
      bytes[at + 9] = std::byte{3};
      ++changed;
    }
    REQUIRE(changed == 1);
    says("43 files and 3 directories have 42 and 4 thread records, expected one each");
  }
  SECTION("leaves") {
    catalog_head(bytes, writer).set<"leaf_records">(1);
    says("the leaves of the catalog hold 92 records");
  }
  SECTION("free nodes") {
    catalog_head(bytes, writer).set<"free_nodes">(1);
    says("the catalog says that 1 of its nodes are free, expected");
  }
  SECTION("nodes") {
    catalog_head(bytes, writer).set<"nodes">(33);
    says("the catalog claims 33 nodes, expected at most the 32");
  }
  SECTION("height of a leaf") {
    catalog_node(bytes, writer, 2).set<"height">(4);
    CHECK(judge("hfsplus", bytes).says("leaf 2 of the catalog has the height 4, expected 1"));
  }
  SECTION("two files of the volume in one place") {
    header_of(bytes).sub<"startup">().set<"length">(1024).set<"blocks">(1);
    header_of(bytes).sub<"startup">().sub<"extents">(0).set<"start">(2).set<"count">(1);
    says("block 2 belongs to the bitmap and to the startup file");
  }
  SECTION("catalog blocks that are free in the bitmap") {
    bytes[writer.bitmap_place() + 5] ^= std::byte{0x80};  // block 40
    header_of(bytes).set<"free_blocks">(free + 1);
    says("belongs to the catalog and is free in the bitmap");
  }
  SECTION("a bitmap that is too short") {
    header_of(bytes).sub<"allocation">().set<"length">(100);
    CHECK(judge("hfsplus", bytes).says("the bitmap tells of 800 blocks, expected 1024"));
  }
}

TEST_CASE("HFS+: trees that lead back or nowhere", "[hfsplus]") {
  auto writer = sample();
  auto bytes = writer.build();
  const std::size_t leaves = writer.catalog_leaves();
  const std::size_t root = leaves + 1;
  SECTION("a leaf followed by itself") {
    catalog_node(bytes, writer, 2).set<"next">(2);
    const Judged judged = judge("hfsplus", bytes);
    CHECK(judged.says("leaf 2 of a tree is followed by node 2"));
    CHECK(judged.tree.size() < kSampleNames);
  }
  SECTION("leaves in a circle that agree with one another") {
    catalog_node(bytes, writer, leaves).set<"next">(1);
    catalog_node(bytes, writer, 1).set<"previous">(leaves);
    const Judged judged = judge("hfsplus", bytes);
    CHECK(judged.count(Severity::fault) != 0);
    CHECK(judged.tree.size() <= kSampleNames);
  }
  SECTION("an index that leads to itself") {
    std::byte* node = bytes.data() + writer.catalog_place() + root * 4096;
    const FieldReader<kHfsNode> head(node, ByteOrder::big);
    REQUIRE(head.get<"kind">() == 0);
    for (std::size_t i = 0; i < head.get<"records">(); ++i) {
      const auto place = [&](std::size_t slot) {
        return decode_unsigned(std::span(node + 4096 - 2 * (slot + 1), 2), ByteOrder::big);
      };
      const std::size_t end = place(i + 1);
      encode_unsigned(std::span(node + end - 4, 4), root, ByteOrder::big);
    }
    const Judged judged = judge("hfsplus", bytes);
    CHECK(judged.tree.empty());
    CHECK(judged.says("of a tree leads to node"));
  }
  SECTION("a root beyond the file") {
    catalog_head(bytes, writer).set<"root">(0x7FFFFFFF);
    CHECK(judge("hfsplus", bytes).says("the root of a tree is node 2147483647"));
  }
  SECTION("no header node") {
    catalog_node(bytes, writer, 0).set<"kind">(0xFF);
    CHECK(judge("hfsplus", bytes).says("the catalog does not begin with a node that describes"));
  }
  SECTION("a size of nodes that cannot be") {
    for (const std::uint64_t size : {0U, 256U, 1000U, 65535U}) {
      catalog_head(bytes, writer).set<"node_bytes">(size);
      const Judged judged = judge("hfsplus", bytes);
      CHECK(judged.tree.empty());
      CHECK(judged.says("the catalog does not begin with a node that describes"));
    }
  }
  SECTION("records whose offsets are nonsense") {
    for (std::size_t leaf = 1; leaf <= leaves; ++leaf) {
      std::fill_n(
          bytes.begin() + static_cast<std::ptrdiff_t>(writer.catalog_place() + leaf * 4096 + 4000),
          96, std::byte{0xFF});
      catalog_node(bytes, writer, leaf).set<"records">(0xFFFF);
    }
    CHECK(judge("hfsplus", bytes).tree.size() < kSampleNames);
  }
  SECTION("a directory inside itself") {
    directory_named(bytes, writer, "deeper").set<"id">(writer.id_of("Folder"));
    CHECK(judge("hfsplus", bytes).says("was entered before"));
  }
  SECTION("maps of nodes in a circle") {
    catalog_node(bytes, writer, 0).set<"next">(1);
    catalog_node(bytes, writer, 1).set<"kind">(2);
    catalog_node(bytes, writer, 1).set<"next">(1);
    catalog_head(bytes, writer).set<"nodes">(32);
    CHECK(judge("hfsplus", bytes).count(Severity::fault) != 0);
  }
}

TEST_CASE("HFS+: extents that cannot be", "[hfsplus]") {
  auto writer = sample();
  auto bytes = writer.build();
  auto fork = file_named(bytes, writer, "in pieces").sub<"data">();
  const std::size_t leaf = writer.extents_place() + 4096;
  SECTION("past the end") {
    fork.sub<"extents">(0).set<"start">(1023).set<"count">(200);
    const Judged judged = judge("hfsplus", bytes);
    CHECK(judged.says("covers blocks 1023 to 1222, expected blocks below 1024"));
    CHECK(judged.tree.at("Folder/in pieces").sha256 == "missing");
  }
  SECTION("a larger size than they cover") {
    fork.set<"length">(std::uint64_t{1} << 63U);
    const Judged judged = judge("hfsplus", bytes);
    CHECK(judged.says("cover 40960 bytes, expected 9223372036854775808"));
    CHECK(judged.tree.at("Folder/in pieces").sha256 == "missing");
  }
  SECTION("more blocks than the volume has") {
    for (std::size_t i = 0; i < kHfsPlusExtents; ++i)
      fork.sub<"extents">(i).set<"start">(0).set<"count">(0xFFFFFFFF);
    fork.set<"length">(kLargest).set<"blocks">(0xFFFFFFFF);
    const Judged judged = judge("hfsplus", bytes);
    CHECK(judged.tree.at("Folder/in pieces").sha256 == "missing");
    CHECK(judged.says("cover 0 bytes"));
  }
  SECTION("overflow records that leave a gap") {
    FieldWriter<kHfsPlusExtentKey>(bytes.data() + leaf + kHfsNode.bytes, ByteOrder::big)
        .set<"first">(17);
    const Judged judged = judge("hfsplus", bytes);
    CHECK(judged.says("go on at its block 17, expected 16"));
    CHECK(judged.tree.at("Folder/in pieces").sha256 == "missing");
  }
  SECTION("no overflow tree at all") {
    bytes[writer.extents_place() + 8] = std::byte{0};
    const Judged judged = judge("hfsplus", bytes);
    CHECK(judged.says("the extents file does not begin with"));
    CHECK(judged.tree.at("Folder/in pieces").sha256 == "missing");
  }
}

TEST_CASE("HFS+: an image that was cut short", "[hfsplus]") {
  auto writer = sample();
  auto bytes = writer.build();
  for (const std::size_t length : {std::size_t{1536}, writer.bitmap_place() + 50,
                                   writer.catalog_place() + 5000, bytes.size() - 1}) {
    CAPTURE(length);
    auto cut = bytes;
    cut.resize(length);
    const View view = view_of(cut);
    const auto volume = open_volume("hfsplus", view);
    const Runs runs = runs_of(*volume);
    CHECK(runs.without_gap);
    (void)check_volume(*volume, view);
  }
}

TEST_CASE("HFS+: no flipped byte of the records hangs a walk", "[hfsplus]") {
  HfsPlusWriter writer({.blocks = 256,
                        .block_bytes = 512,
                        .node_bytes = 1024,
                        .catalog_nodes = 12,
                        .large_attribute = std::string(600, 'a')});
  writer.add_file("one", {std::string(6000, 'x'), 11}, {"r"})
      .add_directory("d")
      .add_link("d/two", "one")
      .add_symlink("l", "d/two");
  for (int i = 0; i < 6; ++i)
    writer.add_file("d/" + std::to_string(i), {std::to_string(i)});
  const auto sound = writer.build();
  REQUIRE(complaints(sound) == "");
  std::vector<std::size_t> places;
  for (std::size_t i = 0; i < kHfsPlusHeader.bytes; ++i)
    places.push_back(kHfsPlusHeaderPlace + i);
  for (const std::size_t file : {writer.catalog_place(), writer.extents_place()}) {
    for (std::size_t i = 0; i < std::size_t{3} * 1024; i += i < 140 ? 1 : 3)
      places.push_back(file + i);
  }
  auto bytes = sound;
  for (const std::size_t place : places) {
    for (const int value : {0xFF, 0x01}) {
      bytes[place] = sound[place] ^ static_cast<std::byte>(value);
      const View view = view_of(bytes);
      const auto volume = find_format("hfsplus")->open(view, {});
      if (volume == nullptr) continue;
      const VolumeCheck check = check_volume(*volume, view);
      CHECK(check.files <= 1000);
    }
    bytes[place] = sound[place];
  }
}

}  // namespace
}  // namespace platter::test
