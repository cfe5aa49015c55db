// The files of ISO 9660 volumes: what the trees of the standard hold, one thing at a time.
#include <catch2/catch.hpp>

#include "filesystem/iso9660_structures.h"
#include "iso9660_volume_support.h"
#include "support/hexfile.h"
#include "writers/iso9660_writer.h"

namespace platter::filesystem {
extern const Format iso9660_format;
}

using namespace platter;
using namespace platter::test;
using fixtures::IsoSketch;
using fixtures::SketchRecord;
using Paths = std::vector<std::string>;
namespace iso = filesystem::iso9660;

namespace {

constexpr std::uint64_t kBlock = 2048;

// An extended attribute record as ECMA-119 9.5 has it.
fixtures::iso9660::Bytes attribute_record(std::uint64_t permissions) {
  fixtures::iso9660::Bytes bytes(iso::kAttributeRecord.bytes);
  FieldWriter<iso::kAttributeRecord> fields(bytes.data(), ByteOrder::big);
  fields.set<"owner">(17).set<"group">(5).set<"permissions">(permissions).set<"version">(1);
  fixtures::iso9660::set_date17(fields.sub<"created">(), 700'000'000);
  fixtures::iso9660::set_date17(fields.sub<"modified">(), 700'000'100);
  return bytes;
}

}  // namespace

TEST_CASE("plain names lose version 1 and an empty extension, and nothing else") {
  IsoSketch sketch;
  sketch.root({{.identifier = "A.TXT;1", .block = 30, .bytes = 3},
               {.identifier = "B.;1"},
               {.identifier = "C.TXT;2"},
               {.identifier = "C.TXT;1"},
               {.identifier = "D"},
               {.identifier = "DIR.D", .block = 31, .bytes = kBlock, .flags = iso::kDirectoryFlag},
               {.identifier = "HIDDEN.;1", .flags = iso::kHiddenFlag}});
  sketch.directory(31, IsoSketch::kRoot, "DIR.D", {{.identifier = "INNER.;1"}});
  sketch.put(30, "abc");
  const OpenIso iso(sketch.build());
  CHECK(iso.paths() ==
        Paths{"A.TXT", "B", "C.TXT;2", "C.TXT", "D", "DIR.D/", "HIDDEN", "DIR.D/INNER"});
  CHECK(iso.content("A.TXT") == "abc");
  CHECK(iso.volume->unit_bytes() == kBlock);
  const Attributes file = iso.attributes("A.TXT");
  CHECK(file.type == NodeType::file);
  CHECK(file.bytes == 3);
  CHECK(file.modified == Timestamp{800'000'000});
  CHECK(file.identity == 30 * kBlock);
  for (const bool given : {file.mode.has_value(), file.uid.has_value(), file.links.has_value(),
                           file.accessed.has_value(), file.created.has_value()}) {
    CHECK_FALSE(given);
  }
  CHECK(iso.attributes("B").identity == 0);
  CHECK(iso.attributes("DIR.D").type == NodeType::directory);
  CHECK(iso.attributes("").type == NodeType::directory);
  CHECK(iso.extents("DIR.D").at(0).start == 31 * kBlock);
  const auto findings = iso.checked();
  REQUIRE(findings.size() == 1);  // a directory has no dot in its name
  CHECK(findings[0].code == FindingCode::name_illegal);
}

TEST_CASE("the verified example lists as its bytes say") {
  // fixtures/filesystem/iso9660/example.hex has the first records of the root directory only.
  const auto bytes = hex_fixture("filesystem/iso9660/example.hex");
  CHECK(OpenIso(bytes).paths() == Paths{"a.txt"});
  CHECK(OpenIso(bytes, NameView::plain).paths() == Paths{"A.TXT"});
  const Attributes file = OpenIso(bytes).attributes("a.txt");
  CHECK(file.bytes == 6);
  CHECK(file.mode == 0644);
  CHECK(file.links == 1);
}

TEST_CASE("a file of several sections is one entry with all their bytes") {
  std::vector<SketchRecord> records;
  // Enough names that the sections stand on both sides of the end of a sector.
  for (int i = 0; i < 48; ++i)
    records.push_back({.identifier = "A" + std::to_string(10 + i) + ".;1"});
  records.push_back({.identifier = "BIG.DAT;1",
                     .block = 30,
                     .bytes = 2 * kBlock,
                     .flags = iso::kMoreExtentsFlag});
  records.push_back(
      {.identifier = "BIG.DAT;1", .block = 40, .bytes = kBlock, .flags = iso::kMoreExtentsFlag});
  records.push_back({.identifier = "BIG.DAT;1", .block = 35, .bytes = 5});
  records.push_back({.identifier = "C.;1"});
  IsoSketch sketch;
  sketch.root(records);
  sketch.put(30, std::string(2 * kBlock, 'a')).put(40, std::string(kBlock, 'b')).put(35, "ccccc");
  const OpenIso iso(sketch.build());
  const Paths paths = iso.paths();
  REQUIRE(paths.size() == 50);
  CHECK(paths[48] == "BIG.DAT");
  const NodeId node = iso.at("BIG.DAT");
  CHECK(node % kBlock + 2 * 42 > kBlock);  // the second does not fit behind the first
  CHECK(iso.attributes("BIG.DAT").bytes == 3 * kBlock + 5);
  const auto extents = iso.extents("BIG.DAT");
  REQUIRE(extents.size() == 3);
  CHECK(extents[1].offset == 2 * kBlock);
  CHECK(extents[1].start == 40 * kBlock);
  CHECK(extents[2].bytes == 5);
  CHECK(iso.content("BIG.DAT") ==
        std::string(2 * kBlock, 'a') + std::string(kBlock, 'b') + "ccccc");
  CHECK(iso.checked().empty());
}

TEST_CASE("a file whose further sections are missing is reported and read as far as it goes") {
  IsoSketch sketch;
  sketch.root({{.identifier = "A.;1", .block = 30, .bytes = kBlock, .flags = iso::kMoreExtentsFlag},
               {.identifier = "B.;1", .block = 31, .bytes = 1}});
  const OpenIso iso(sketch.build());
  std::vector<Finding> findings;
  CHECK(iso.paths(&findings) == Paths{"A", "B"});
  CHECK(finding_with(findings, FindingCode::filesystem_damaged, "further section") != nullptr);
  CHECK(iso.attributes("A").bytes == kBlock);
}

TEST_CASE("an interleaved file is gathered from its units") {
  IsoSketch sketch;
  sketch.root({{.identifier = "MIX.DAT;1",
                .block = 30,
                .bytes = 2 * kBlock * 2 + 7,
                .unit_blocks = 2,
                .gap_blocks = 3}});
  sketch.put(30, std::string(2 * kBlock, '1')).put(32, std::string(3 * kBlock, '-'));
  sketch.put(35, std::string(2 * kBlock, '2')).put(40, "the end");
  const OpenIso iso(sketch.build());
  const auto extents = iso.extents("MIX.DAT");
  REQUIRE(extents.size() == 3);
  CHECK(extents[1].start == 35 * kBlock);
  CHECK(extents[2].start == 40 * kBlock);
  CHECK(iso.content("MIX.DAT") ==
        std::string(2 * kBlock, '1') + std::string(2 * kBlock, '2') + "the end");
  // The gaps are free: another file may use them.
  std::uint64_t used = 0;
  iso.volume->each_run([&](const BlockRun& run) {
    if (run.use == BlockUse::used) used += run.bytes;
    return true;
  });
  CHECK(used == 5 * kBlock);
  CHECK(iso.checked().empty());
}

TEST_CASE("an associated file has a name of its own") {
  IsoSketch sketch;
  sketch.root({{.identifier = "A.TXT;1", .block = 30, .bytes = 4, .flags = iso::kAssociatedFlag},
               {.identifier = "A.TXT;1", .block = 31, .bytes = 4},
               {.identifier = "B;associated"},
               {.identifier = "B;associated;"}});
  sketch.put(30, "fork").put(31, "data");
  const OpenIso iso(sketch.build());
  CHECK(iso.paths() == Paths{"A.TXT;associated", "A.TXT", "B;associated;", "B;associated;;"});
  CHECK(iso.content("A.TXT;associated") == "fork");
  CHECK(iso.content("A.TXT") == "data");
}

TEST_CASE("an extended attribute record gives owner, permissions and times") {
  // Denied: writing is not told of; group may not run, others may neither read nor run.
  const std::uint64_t permissions = 0xAAAA | 0x0400 | 0x1000 | 0x4000;
  IsoSketch sketch;
  sketch.root({{.identifier = "A.;1",
                .block = 30,
                .bytes = 4,
                .flags = iso::kProtectionFlag,
                .attribute_blocks = 1},
               {.identifier = "B.;1", .block = 40, .bytes = 4, .attribute_blocks = 1}});
  sketch.put(30, attribute_record(permissions)).put(31, "data");
  sketch.put(40, attribute_record(permissions)).put(41, "more");
  const OpenIso iso(sketch.build());
  const Attributes a = iso.attributes("A");
  CHECK(a.mode == 0540);
  CHECK(a.uid == 17);
  CHECK(a.gid == 5);
  CHECK(a.created == Timestamp{700'000'000});
  CHECK(a.modified == Timestamp{700'000'100});
  CHECK(iso.content("A") == "data");
  const Attributes b = iso.attributes("B");  // the record is there, but protects nothing
  CHECK_FALSE(b.mode.has_value());
  CHECK(b.modified == Timestamp{700'000'100});
  CHECK(iso.content("B") == "more");
  CHECK(iso.checked().empty());
}

TEST_CASE("CD-ROM XA tells the owner") {
  fixtures::iso9660::Bytes xa(iso::kXaAttributes.bytes);
  FieldWriter<iso::kXaAttributes>(xa.data(), ByteOrder::big)
      .set<"group">(6)
      .set<"user">(40)
      .set<"attributes">(0x0D55)
      .set_text<"signature">("XA");
  IsoSketch sketch;
  sketch.root({{.identifier = "A.;1", .system_use = xa}});
  const OpenIso iso(sketch.build());
  CHECK(iso.attributes("A").uid == 40);
  CHECK(iso.attributes("A").gid == 6);
}

TEST_CASE("a file on another disc of the set is listed and not read") {
  fixtures::SketchOptions options;
  options.set_size = 3;
  IsoSketch sketch(options);
  sketch.root({{.identifier = "HERE.;1", .block = 30, .bytes = 4},
               {.identifier = "THERE.;1", .block = 5, .bytes = 40000, .sequence_number = 2}});
  sketch.put(30, "here");
  const OpenIso iso(sketch.build());
  CHECK(iso.paths() == Paths{"HERE", "THERE"});
  CHECK(iso.content("HERE") == "here");
  const auto extents = iso.extents("THERE");
  REQUIRE(extents.size() == 1);
  CHECK(extents[0].absent);
  CHECK(extents[0].bytes == 40000);
  CHECK(iso.checked().empty());
}

TEST_CASE("a file past the end of its volume is absent, and said so") {
  IsoSketch sketch;
  sketch.root({{.identifier = "A.;1", .block = 63, .bytes = 5000},
               {.identifier = "B.;1", .block = 700, .bytes = 10},
               {.identifier = "C.;1", .block = 0xFFFFFFFF, .bytes = 0xFFFFFFFF}});
  const OpenIso iso(sketch.build());
  const auto extents = iso.extents("C");
  REQUIRE(extents.size() == 1);
  CHECK(extents[0].absent);
  CHECK(extents[0].bytes == 0xFFFFFFFF);
  CHECK(iso.content("B") == "missing");
  CHECK(iso.content("A") == "missing");  // of its three blocks the image has one
  const auto findings = iso.checked();
  std::size_t beyond = 0;
  for (const Finding& finding : findings) {
    if (finding.code == FindingCode::extent_beyond_end) ++beyond;
  }
  CHECK(beyond >= 3);
}

TEST_CASE("each view of names shows its own tree") {
  fixtures::IsoOptions options;
  options.joliet = true;
  fixtures::Iso9660Writer writer(options);
  writer.add_file("lower case.txt", "x")
      .add_file("sub/n\xC3\xA4me", "y")
      .add_symlink("link", "sub");
  const auto bytes = writer.build();
  CHECK(OpenIso(bytes, NameView::plain).paths() ==
        Paths{"LINK", "LOWER_CA.TXT", "SUB/", "SUB/N__ME"});
  const Paths rock{"link", "lower case.txt", "sub/", "sub/n\xC3\xA4me"};
  CHECK(OpenIso(bytes, NameView::rock_ridge).paths() == rock);
  CHECK(OpenIso(bytes).paths() == rock);
  CHECK(OpenIso(bytes, NameView::joliet).paths() ==
        Paths{"lower case.txt", "sub/", "sub/n\xC3\xA4me"});
  CHECK(OpenIso(bytes, NameView::joliet).content("sub/n\xC3\xA4me") == "y");

  const auto open = filesystem::iso9660_format.open;
  fixtures::IsoOptions plain;
  plain.rock_ridge = false;
  const View bare = view_of(fixtures::Iso9660Writer(plain).add_file("a", "b").build());
  CHECK(open(bare, {.names = NameView::joliet}) == nullptr);
  CHECK(open(bare, {.names = NameView::rock_ridge}) == nullptr);
  CHECK(open(bare, {.names = NameView::plain}) != nullptr);
  CHECK(open(bare, {}) != nullptr);
  CHECK(open(view_of(std::vector<std::byte>(65536)), {}) == nullptr);
}

TEST_CASE("the block map follows what the volume names") {
  IsoSketch sketch({.blocks = 48});
  sketch.root({{.identifier = "A.;1", .block = 30, .bytes = kBlock + 1},
               {.identifier = "B.;1", .block = 32, .bytes = 1},
               {.identifier = "D", .block = 40, .bytes = kBlock, .flags = iso::kDirectoryFlag}});
  sketch.directory(40, IsoSketch::kRoot, "D", {{.identifier = "E.;1", .block = 41, .bytes = 9}});
  // The volume begins within an image.
  auto image = sketch.build();
  image.insert(image.begin(), 4096, std::byte{0});
  const View view = view_of(image).sub(4096, image.size());
  const auto volume = open_volume("iso9660", view);
  struct Run {
    std::uint64_t first, blocks;
    BlockUse use;
    bool operator==(const Run&) const = default;
  };
  std::vector<Run> runs;
  volume->each_run([&](const BlockRun& run) {
    runs.push_back({(run.start - 4096) / kBlock, run.bytes / kBlock, run.use});
    return true;
  });
  // System area and descriptors, both tables, the root; then what the directories name.
  const std::vector<Run> expected{{0, 21, BlockUse::metadata}, {21, 9, BlockUse::free},
                                  {30, 3, BlockUse::used},     {33, 7, BlockUse::free},
                                  {40, 1, BlockUse::metadata}, {41, 1, BlockUse::used},
                                  {42, 6, BlockUse::free}};
  CHECK(runs == expected);
}

TEST_CASE("a visitor may look elsewhere while a directory is listed") {
  IsoSketch sketch;
  sketch.root({{.identifier = "A", .block = 30, .bytes = kBlock, .flags = iso::kDirectoryFlag},
               {.identifier = "B.TXT;1", .block = 40, .bytes = 2}});
  sketch.directory(30, IsoSketch::kRoot, "A", {{.identifier = "C.TXT;1", .block = 41, .bytes = 3}});
  const OpenIso iso(sketch.build());
  Paths seen;
  iso.volume->each_entry(iso.volume->root(), [&](const Entry& outer) {
    iso.volume->each_entry(outer.node, [&](const Entry& inner) {
      seen.push_back(std::string(outer.name) + "/" + std::string(inner.name));
      CHECK(iso.volume->attributes(inner.node).bytes == 3);
      return true;
    });
    CHECK(iso.attributes("B.TXT").bytes == 2);
    seen.emplace_back(outer.name);
    CHECK(iso.volume->attributes(outer.node).type ==
          (outer.name == "A" ? NodeType::directory : NodeType::file));
    return true;
  });
  CHECK(seen == Paths{"A/C.TXT", "A", "B.TXT"});
}
