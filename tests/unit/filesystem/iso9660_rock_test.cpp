// Rock Ridge: each field by itself, with the bytes laid out by hand.
#include <catch2/catch.hpp>

#include "filesystem/iso9660_structures.h"
#include "filesystem/iso9660_susp.h"
#include "iso9660_volume_support.h"

using namespace platter;
using namespace platter::test;
using namespace platter::fixtures::iso9660;
using fixtures::IsoSketch;
using fixtures::SketchRecord;
using Paths = std::vector<std::string>;
namespace iso = filesystem::iso9660;

namespace {

constexpr std::uint64_t kBlock = 2048;

// A volume with Rock Ridge and these records in its root directory.
OpenIso rock_volume(const std::vector<SketchRecord>& records) {
  IsoSketch sketch;
  sketch.root(records, true);
  return OpenIso(sketch.build());
}

SketchRecord with_use(const std::vector<Bytes>& entries) {
  return {.identifier = "X.;1", .system_use = joined(entries)};
}

}  // namespace

TEST_CASE("mode, owner and times come from Rock Ridge") {
  const OpenIso iso = rock_volume(
      {with_use({name_entry(0, "x"), mode_entry(0104711, 3, 70000, 12), long_time_entry(-86400)})});
  const Attributes x = iso.attributes("x");
  CHECK(x.type == NodeType::file);
  CHECK(x.mode == 04711);
  CHECK(x.links == 3);
  CHECK(x.uid == 70000);
  CHECK(x.gid == 12);
  CHECK(x.modified == Timestamp{-86400});
}

TEST_CASE("all types of files have their place") {
  const auto typed = [](const std::string& name, std::uint64_t mode, const Bytes& more = {}) {
    return SketchRecord{.identifier = name + ".;1",
                        .system_use = joined({mode_entry(mode, 1, 0, 0), more})};
  };
  const OpenIso iso = rock_volume(
      {typed("CHAR", 0020600, device_entry(0, 0x0502)),
       typed("BLOCK", 0060600, device_entry(7, 260)), typed("SMALL", 0020600, device_entry(0, 12)),
       typed("NONE", 0020600), typed("PIPE", 0010600), typed("SOCK", 0140600)});
  CHECK(iso.attributes("CHAR").type == NodeType::char_device);
  CHECK(iso.attributes("CHAR").device == DeviceNumber{5, 2});  // both numbers in the low word
  CHECK(iso.attributes("BLOCK").type == NodeType::block_device);
  CHECK(iso.attributes("BLOCK").device == DeviceNumber{7, 260});
  CHECK(iso.attributes("SMALL").device == DeviceNumber{0, 12});
  CHECK_FALSE(iso.attributes("NONE").device.has_value());
  CHECK(iso.attributes("PIPE").type == NodeType::fifo);
  CHECK(iso.attributes("SOCK").type == NodeType::socket);
}

TEST_CASE("names of one file share its serial number") {
  const auto named = [](const std::string& name, std::uint64_t serial) {
    return SketchRecord{.identifier = name + ".;1", .system_use = serial_entry(0100644, 2, serial)};
  };
  const OpenIso iso = rock_volume({named("A", 77), named("B", 77), named("C", 78)});
  CHECK(iso.attributes("A").identity != 0);
  CHECK(iso.attributes("A").identity == iso.attributes("B").identity);
  CHECK(iso.attributes("A").identity != iso.attributes("C").identity);
}

TEST_CASE("without serial numbers, names of one file share its place") {
  const auto named = [](const std::string& name, std::uint64_t block) {
    return SketchRecord{.identifier = name + ".;1",
                        .block = block,
                        .bytes = 5,
                        .system_use = mode_entry(0100644, 2, 0, 0)};
  };
  const OpenIso iso = rock_volume({named("A", 30), named("B", 30), named("C", 31)});
  CHECK(iso.attributes("A").identity == iso.attributes("B").identity);
  CHECK(iso.attributes("A").identity != iso.attributes("C").identity);
  CHECK(iso.checked().empty());  // equal places are no overlap
}

TEST_CASE("a name may go on in further entries and areas") {
  // In the record, then in an area of block 40, then in one of block 41.
  IsoSketch sketch;
  sketch.root({with_use({mode_entry(0100644, 1, 0, 0), name_entry(iso::kRockContinues, "first-"),
                         continuation_entry(40, 100, 255)})},
              true);
  Bytes area = joined({name_entry(iso::kRockContinues, "second-"), continuation_entry(41, 0, 40)});
  sketch.put(40, area, 100);
  sketch.put(41, joined({name_entry(0, "third"), mark_entry("ST"), name_entry(0, "never")}));
  const OpenIso iso(sketch.build());
  CHECK(iso.paths() == Paths{"first-second-third"});
  // The areas belong to the volume's own records.
  bool metadata = false;
  iso.volume->each_run([&](const BlockRun& run) {
    if (run.start <= 40 * kBlock && 42 * kBlock <= run.start + run.bytes) {
      metadata = run.use == BlockUse::metadata;
    }
    return true;
  });
  CHECK(metadata);
}

TEST_CASE("a link's target is joined from its components") {
  const auto target = [](const std::vector<Bytes>& links) {
    std::vector<Bytes> entries{name_entry(0, "x"), mode_entry(0120777, 1, 0, 0)};
    entries.insert(entries.end(), links.begin(), links.end());
    const OpenIso iso = rock_volume({with_use(entries)});
    CHECK(iso.attributes("x").type == NodeType::symlink);
    const std::string text = iso.volume->link_target(iso.at("x"));
    CHECK(iso.attributes("x").bytes == text.size());
    return text;
  };
  using Parts = std::vector<LinkPart>;
  CHECK(target({link_entry(0, Parts{{0, "usr"}, {0, "bin"}})}) == "usr/bin");
  CHECK(target({link_entry(0, Parts{{iso::kRockRoot}, {0, "etc"}})}) == "/etc");
  CHECK(target({link_entry(0, Parts{{iso::kRockRoot}})}) == "/");
  CHECK(target({link_entry(0, Parts{{iso::kRockParent}, {iso::kRockCurrent}, {0, "a"}})}) ==
        ".././a");
  CHECK(target({link_entry(0, Parts{{iso::kRockContinues, "hel"}, {0, "lo"}, {0, "b"}})}) ==
        "hello/b");
  // A component that goes on in the next entry, and one that begins there.
  CHECK(target({link_entry(iso::kRockContinues, Parts{{0, "a"}, {iso::kRockContinues, "b"}}),
                link_entry(0, Parts{{0, "c"}})}) == "a/bc");
  CHECK(target({link_entry(iso::kRockContinues, Parts{{0, "a"}}),
                link_entry(0, Parts{{0, "b"}})}) == "a/b");
  CHECK(target({link_entry(0, Parts{{0, "a"}}), link_entry(0, Parts{{0, "ignored"}})}) == "a");
  CHECK(target({}).empty());
}

TEST_CASE("a symbolic link without end is cut") {
  // Two bytes stand for "../", so continuation areas alone would allow 98 KiB.
  const std::vector<fixtures::iso9660::LinkPart> parents(120, {iso::kRockParent});
  const std::vector<Bytes> full(8, link_entry(iso::kRockContinues, parents));
  const std::uint64_t bytes = joined(full).size() + continuation_entry(0, 0, 0).size();
  IsoSketch sketch;
  sketch.root({with_use({mode_entry(0120777, 1, 0, 0), continuation_entry(40, 0, bytes)})}, true);
  for (std::uint64_t block = 40; block < 44; ++block) {
    sketch.put(block, joined({joined(full), continuation_entry(block + 1, 0, bytes)}));
  }
  const OpenIso iso(sketch.build());
  std::vector<Finding> findings;
  REQUIRE(iso.paths(&findings) == Paths{"X"});
  CHECK(iso.volume->link_target(iso.at("X")).size() == 4096);
  REQUIRE_FALSE(findings.empty());
  CHECK(findings[0].message.find("longer than 4096 bytes") != std::string::npos);
}

TEST_CASE("a directory that was moved is shown where it belongs, and nowhere else") {
  const std::uint64_t dir = iso::kDirectoryFlag;
  IsoSketch sketch;
  sketch.root({{.identifier = "A",
                .block = 30,
                .bytes = kBlock,
                .flags = dir,
                .system_use = joined({name_entry(0, "a"), mode_entry(040755, 2, 0, 0)})},
               {.identifier = "RR_MOVED",
                .block = 31,
                .bytes = kBlock,
                .flags = dir,
                .system_use = joined({name_entry(0, "rr_moved"), mode_entry(040755, 2, 0, 0)})}},
              true);
  sketch.directory(30, IsoSketch::kRoot, "A",
                   {{.identifier = "DEEP.;1",
                     .system_use = joined({name_entry(0, "deep"), mode_entry(040700, 2, 0, 0),
                                           place_entry("CL", 32)})}});
  sketch.directory(31, IsoSketch::kRoot, "RR_MOVED",
                   {{.identifier = "DEEP",
                     .block = 32,
                     .bytes = kBlock,
                     .flags = dir,
                     .system_use = joined({name_entry(0, "deep"), mark_entry("RE")})}});
  sketch.directory(32, 31, "DEEP", {{.identifier = "F.;1", .system_use = name_entry(0, "file")}},
                   mode_entry(040700, 2, 9, 0), place_entry("PL", 30));
  const auto bytes = sketch.build();
  const OpenIso iso(bytes);
  CHECK(iso.paths() == Paths{"a/", "a/deep/", "a/deep/file"});
  CHECK(iso.attributes("a/deep").mode == 0700);
  CHECK(iso.attributes("a/deep").uid == 9);
  CHECK(iso.checked().empty());
  CHECK(OpenIso(bytes, NameView::plain).paths() ==
        Paths{"A/", "RR_MOVED/", "A/DEEP", "RR_MOVED/DEEP/", "RR_MOVED/DEEP/F"});

  SECTION("a directory that holds other things besides stays") {
    sketch.directory(31, IsoSketch::kRoot, "RR_MOVED",
                     {{.identifier = "DEEP",
                       .block = 32,
                       .bytes = kBlock,
                       .flags = dir,
                       .system_use = joined({name_entry(0, "deep"), mark_entry("RE")})},
                      {.identifier = "OTHER.;1", .system_use = name_entry(0, "other")}});
    CHECK(OpenIso(sketch.build()).paths() ==
          Paths{"a/", "rr_moved/", "a/deep/", "a/deep/file", "rr_moved/other"});
  }
}

TEST_CASE("packed files are told of once and read as stored") {
  IsoSketch sketch;
  sketch.root({{.identifier = "A.;1",
                .block = 30,
                .bytes = 6,
                .system_use = joined({mode_entry(0100644, 1, 0, 0), compressed_entry(100000)})},
               {.identifier = "B.;1",
                .block = 31,
                .bytes = 6,
                .system_use = joined({mode_entry(0100644, 1, 0, 0), compressed_entry(5)})},
               {.identifier = "C.;1",
                .block = 32,
                .bytes = 6,
                .system_use = joined({mode_entry(0100644, 1, 0, 0), sparse_entry(1ULL << 33U)})}},
              true);
  sketch.put(30, "packed").put(32, "sparse");
  const OpenIso iso(sketch.build());
  std::vector<Finding> findings;
  CHECK(iso.paths(&findings) == Paths{"A", "B", "C"});
  REQUIRE(findings.size() == 2);
  for (const Finding& finding : findings) {
    CHECK(finding.code == FindingCode::packed_content);
    CHECK(finding.severity == Severity::note);
  }
  CHECK(findings[0].message.find("100000") != std::string::npos);
  CHECK(findings[1].message.find("8589934592") != std::string::npos);
  CHECK(iso.attributes("C").bytes == 6);
  CHECK(iso.content("A") == "packed");
  CHECK(iso.content("C") == "sparse");
}

TEST_CASE("names that Rock Ridge must not give are replaced by the plain ones") {
  using namespace std::string_view_literals;
  for (const std::string_view name : {"a/b"sv, "a\0b"sv, ".."sv, "."sv, "/"sv, ""sv}) {
    const OpenIso iso =
        rock_volume({with_use({name_entry(0, name), mode_entry(0100644, 1, 0, 0)})});
    CAPTURE(name);
    std::vector<Finding> findings;
    CHECK(iso.paths(&findings) == Paths{"X"});
    CHECK((finding_with(findings, FindingCode::name_illegal) != nullptr));
  }
  for (const std::uint64_t flag : {iso::kRockParent, iso::kRockCurrent}) {
    const OpenIso iso = rock_volume({with_use({name_entry(flag, "")})});
    std::vector<Finding> findings;
    CHECK(iso.paths(&findings) == Paths{"X"});
    CHECK(findings.size() == 1);
  }
}

TEST_CASE("a name that is too long is cut") {
  IsoSketch sketch;
  sketch.root({with_use({name_entry(iso::kRockContinues, std::string(150, 'a')),
                         continuation_entry(40, 0, 200)})},
              true);
  sketch.put(40, name_entry(0, std::string(150, 'b')));
  const OpenIso iso(sketch.build());
  std::vector<Finding> findings;
  CHECK(iso.paths(&findings) == Paths{std::string(150, 'a') + std::string(105, 'b')});
  CHECK(finding_with(findings, FindingCode::filesystem_damaged, "255") != nullptr);
}

TEST_CASE("a mode that contradicts the record is reported") {
  const OpenIso iso = rock_volume({with_use({mode_entry(040755, 1, 0, 0)})});
  std::vector<Finding> findings;
  CHECK(iso.paths(&findings) == Paths{"X"});
  CHECK(finding_with(findings, FindingCode::filesystem_damaged, "of a directory") != nullptr);
}
