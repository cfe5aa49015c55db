// HFS+: volumes of the writer in every shape, and a typed one.
#include "hfsplus_support.h"
#include "support/hexfile.h"

namespace platter::test {
namespace {

TEST_CASE("HFS+: a volume of the writer is read back", "[hfsplus]") {
  auto writer = sample();
  const auto bytes = writer.build();
  CHECK(writer.catalog_leaves() > 3);
  const auto found = claims_of("hfsplus", bytes);
  REQUIRE(found.size() == 1);
  CHECK(found[0].strength == Strength::sane);
  CHECK(found[0].findings.empty());
  CHECK(found[0].bytes == bytes.size());
  CHECK(found[0].records.size() == 2);
  CHECK(found[0].facts.words("volume_name") == "Gannet");
  CHECK(found[0].facts.number("files") == 43);
  CHECK(found[0].facts.number("directories") == 2);
  const Judged judged = judge("hfsplus", bytes);
  CHECK(judged.all() == "");
  CHECK(judged.tree.size() == kSampleNames);
  CHECK(judged.tree.at("Read Me").bytes == 5);
  CHECK(judged.tree.at("Read Me").mode == 0644U);
  CHECK(judged.tree.at("Read Me").links == 1U);
  CHECK(judged.tree.at("Read Me.rsrc").bytes == 700);
  CHECK(judged.tree.at("Folder/in pieces").bytes == 40 * 1024 - 7);
  CHECK(judged.tree.at("Folder/deeper/number 39").bytes == 2);
  CHECK(judged.tree.at("Folder").modified == 1'000'000);
  CHECK(judged.tree.at("Folder").mode == 01775U);
  CHECK(judged.tree.at("Folder").uid == 501U);
  CHECK(judged.tree.at("Folder/deeper").modified == kTime);

  const View view = view_of(bytes);
  const auto volume = open_volume("hfsplus", view);
  CHECK(extents_of(*volume, "Folder/in pieces") == 20);
  CHECK(content_of(*volume, view, "Folder/in pieces") == std::string(40 * 1024 - 7, 'p'));
  CHECK(content_of(*volume, view, "Read Me.rsrc") == std::string(700, 'r'));
  const Runs runs = runs_of(*volume);
  CHECK(runs.without_gap);
  CHECK(runs.end == bytes.size());
  CHECK(runs.used == (1 + 1 + 40 + 40) * 1024);
  // Header, bitmap, both trees, and the copy of the header.
  CHECK(runs.metadata == (2 + 1 + 1) * 1024 + (8 + 32) * 4096);
  CHECK(runs.free == found[0].facts.number("free_bytes"));
  CHECK(complaints(bytes) == "");
  const Survey survey = survey_bytes(bytes);
  CHECK(survey.layers.size() == 1);
  CHECK(findings_of(survey).empty());
}

// Outside reference for the layout: the typed bytes of fixtures/filesystem/hfsplus/good.hex, by
// Linux fs/hfsplus/hfsplus_raw.h.
TEST_CASE("HFS+: the typed volume", "[hfsplus]") {
  const auto bytes = hex_fixture("filesystem/hfsplus/good.hex");
  const Judged judged = judge("hfsplus", bytes);
  CHECK(judged.all() == "");
  REQUIRE(judged.tree.size() == 1);
  const TreeFile& file = judged.tree.at("README");
  CHECK(file.type == "file");
  CHECK(file.bytes == 0);
  CHECK(file.mode == 0644U);
  CHECK(file.uid == 501U);
  CHECK(file.gid == 20U);
  CHECK(file.modified == kTime + 256);
}

TEST_CASE("HFS+: every size of blocks and nodes, and a catalog in pieces", "[hfsplus]") {
  struct Shape {
    std::uint64_t block_bytes;
    std::size_t node_bytes;
    std::size_t pieces;
  };
  for (const Shape& shape : {Shape{512, 1024, 1},
                             {512, 8192, 13},
                             {1024, 4096, 20},
                             {4096, 4096, 9},
                             {4096, 32768, 3},
                             {16384, 4096, 2}}) {
    CAPTURE(shape.block_bytes, shape.node_bytes, shape.pieces);
    HfsPlusOptions options;
    options.block_bytes = shape.block_bytes;
    options.node_bytes = shape.node_bytes;
    options.catalog_nodes = 64;
    options.catalog_pieces = shape.pieces;
    options.blocks = std::max<std::uint64_t>(4U << 20U, 128 * shape.node_bytes) / shape.block_bytes;
    auto writer = sample(options);
    const auto bytes = writer.build();
    const Judged judged = judge("hfsplus", bytes);
    CHECK(judged.all() == "");
    CHECK(judged.tree.size() == kSampleNames);
    CHECK(complaints(bytes) == "");
    CHECK(claims_of("hfsplus", bytes)[0].facts.words("volume_name") == "Gannet");
  }
}

TEST_CASE("HFS+: a catalog with so many nodes that their map goes on elsewhere", "[hfsplus]") {
  auto writer =
      sample({.blocks = 8192, .block_bytes = 512, .node_bytes = 1024, .catalog_nodes = 7000 / 2});
  CHECK_THROWS_AS(sample({.blocks = 1024, .catalog_nodes = 7000}).build(), std::length_error);
  CHECK(complaints(writer.build()) == "");
  auto wide =
      sample({.blocks = 20000, .block_bytes = 512, .node_bytes = 1024, .catalog_nodes = 8000});
  auto bytes = wide.build();
  CHECK(complaints(bytes) == "");
  // The map node is the last one in use: called free, the counts do not agree any more.
  catalog_head(bytes, wide).set<"free_nodes">(7);
  CHECK(judge("hfsplus", bytes).says("the catalog says that 7 of its nodes are free, expected"));
}

TEST_CASE("HFS+: links, devices, pipes, and what was never set", "[hfsplus]") {
  HfsPlusWriter writer;
  writer.add_symlink("link", "some/where")
      .add_symlink("unset link", "else", {.set = false})
      .add_device("disk", true, 14, 70000, {.permissions = 0600})
      .add_device("console", false, 0, 3)
      .add_fifo("pipe", {.permissions = 0622})
      .add_directory("bare", {.set = false})
      .add_file("bare/file", {"x"}, {}, {.set = false});
  auto bytes = writer.build();
  Judged judged = judge("hfsplus", bytes);
  CHECK(judged.all() == "");
  CHECK(judged.tree.at("link").type == "symlink");
  CHECK(judged.tree.at("link").target == "some/where");
  CHECK(judged.tree.at("unset link").target == "else");
  CHECK_FALSE(judged.tree.at("unset link").mode);
  CHECK(judged.tree.at("disk").type == "block-device");
  CHECK(judged.tree.at("pipe").type == "fifo");
  CHECK(judged.tree.at("bare").type == "directory");
  CHECK_FALSE(judged.tree.at("bare").mode);
  CHECK_FALSE(judged.tree.at("bare/file").uid);
  const View view = view_of(bytes);
  const auto volume = open_volume("hfsplus", view);
  CHECK(volume->attributes(find_path(*volume, "disk")->node).device == DeviceNumber{14, 70000});
  CHECK(volume->attributes(find_path(*volume, "console")->node).device == DeviceNumber{0, 3});
  CHECK(volume->link_target(find_path(*volume, "pipe")->node).empty());

  file_named(bytes, writer, "pipe").sub<"permissions">().set<"mode">(0040755);
  directory_named(bytes, writer, "bare").sub<"permissions">().set<"mode">(0100644);
  judged = judge("hfsplus", bytes);
  CHECK(judged.says("the mode of a file is 40755"));
  CHECK(judged.says("the mode of a directory is 100644"));
  CHECK(judged.tree.at("pipe").type == "file");
  CHECK(judged.tree.at("bare").type == "directory");
  // A target is cut at its first NUL; only so much of it is read.
  auto fork = file_named(bytes, writer, "link").sub<"data">();
  fork.set<"length">(1024);
  CHECK(judge("hfsplus", bytes).tree.at("link").target == "some/where");
}

TEST_CASE("HFS+: attributes do not depend on what was read before", "[hfsplus]") {
  auto writer = sample();
  const auto bytes = writer.build();
  const View view = view_of(bytes);
  const auto volume = open_volume("hfsplus", view);
  CHECK(volume->attributes(writer.id_of("Folder/deeper")).type == NodeType::directory);
  CHECK(volume->attributes(writer.id_of("Folder")).modified->seconds == 1'000'000);
  CHECK(volume->attributes(volume->root()).mode == 0755U);
  for (const NodeId node : {NodeId{9999}, NodeId{0}, NodeId{1}, kLargest, NodeId{1} << 62U})
    CHECK(volume->attributes(node).type == NodeType::unknown);
}

TEST_CASE("HFS+: blocks of attributes and bad blocks are nobody's files", "[hfsplus]") {
  HfsPlusWriter writer({.large_attribute = std::string(5000, 'a'), .bad_blocks = 3});
  writer.add_file("a", {"x"});
  const auto bytes = writer.build();
  CHECK(complaints(bytes) == "");
  const View view = view_of(bytes);
  const Runs runs = runs_of(*open_volume("hfsplus", view));
  CHECK(runs.bad == 3 * 1024);
  CHECK(runs.used == 1024);
  CHECK(runs.metadata == (2 + 1 + 1 + 5) * 1024 + (8 + 32 + 8) * 4096);
}

TEST_CASE("HFS+: inside an HFS volume", "[hfsplus]") {
  auto writer = sample();
  const auto inner = writer.build();
  auto bytes = fixtures::wrap_in_hfs(inner);
  const Survey survey = survey_bytes(bytes);
  REQUIRE(layer(survey, "hfs") != nullptr);
  REQUIRE(layer(survey, "hfsplus") != nullptr);
  CHECK(fact(survey, "hfs", "wraps") == "hfsplus");
  CHECK(fact(survey, "hfsplus", "wrapped_in") == "hfs");
  CHECK(findings_of(survey).empty());
  CHECK(judge("hfsplus", bytes).all() == "");
  CHECK(judge("hfsplus", bytes).tree.size() == kSampleNames);
  const View view = view_of(bytes);
  const auto volume = open_volume("hfsplus", view);
  CHECK(content_of(*volume, view, "Folder/in pieces") == std::string(40 * 1024 - 7, 'p'));
  CHECK(complaints(bytes) == "");
  const VolumeCheck outer = check_volume(*open_volume("hfs", view), view);
  CHECK(outer.findings.empty());
  CHECK(outer.files == 1);

  FieldWriter<kHfsHeader>(bytes.data() + kHfsHeaderPlace, ByteOrder::big)
      .sub<"embedded">()
      .set<"count">(100);
  const auto found = claims_of("hfsplus", bytes);
  REQUIRE(found.size() == 1);
  CHECK(found[0].strength == Strength::magic);
  CHECK(found[0].findings[0].message.find("expected at most the 51200") != std::string::npos);
}

TEST_CASE("HFS+: a bitmap that calls every block used is that of a hybrid disc", "[hfsplus]") {
  HfsPlusWriter writer;
  writer.add_file("first", {"same"}).add_file("second", {"same"}).add_file("third", {});
  auto bytes = writer.build();
  std::fill_n(bytes.begin() + static_cast<std::ptrdiff_t>(writer.bitmap_place()), 128,
              std::byte{0xFF});
  header_of(bytes).set<"free_blocks">(0);
  // Both names get the same blocks.
  const FieldReader<kHfsPlusFile> first(record_named(bytes, writer, "first"), ByteOrder::big);
  file_named(bytes, writer, "second")
      .sub<"data">()
      .sub<"extents">(0)
      .set<"start">(first.sub<"data">().sub<"extents">(0).get<"start">());
  const View view = view_of(bytes);
  const auto volume = open_volume("hfsplus", view);
  bool any = false;
  volume->each_run([&](const BlockRun&) { return any = true; });
  CHECK_FALSE(any);
  CHECK(complaints(bytes) == "");
}

}  // namespace
}  // namespace platter::test
