// What check_records() finds on volumes that were spoiled in one place, and what hostile volumes
// can make of a reader.
#include <random>

#include <catch2/catch.hpp>

#include "filesystem/high_sierra_structures.h"
#include "filesystem/iso9660_structures.h"
#include "filesystem/iso9660_susp.h"
#include "iso9660_volume_support.h"
#include "writers/iso9660_writer.h"

using namespace platter;
using namespace platter::test;
using namespace platter::fixtures::iso9660;
using fixtures::IsoSketch;
using fixtures::SketchRecord;
namespace iso = filesystem::iso9660;

namespace {

constexpr std::uint64_t kBlock = 2048;
constexpr std::uint64_t kDir = iso::kDirectoryFlag;

// A root directory with a file and a directory with a file: A.TXT at block 30, D at 31, D/B.TXT
// at 32.
std::vector<std::byte> sound() {
  IsoSketch sketch;
  sketch.root({{.identifier = "A.TXT;1", .block = 30, .bytes = 5},
               {.identifier = "D", .block = 31, .bytes = kBlock, .flags = kDir}});
  sketch.directory(31, IsoSketch::kRoot, "D", {{.identifier = "B.TXT;1", .block = 32, .bytes = 5}});
  sketch.put(30, "aaaaa").put(32, "bbbbb");
  return sketch.build();
}

// The byte at which the record of that identifier begins in a directory's block.
std::size_t record_at(const std::vector<std::byte>& bytes, std::uint64_t block,
                      std::string_view identifier) {
  const std::string_view text(reinterpret_cast<const char*>(bytes.data()), bytes.size());
  const std::size_t found = text.find(identifier, block * kBlock);
  REQUIRE(found != std::string_view::npos);
  return found - iso::kDirectoryRecord.bytes;
}

FieldWriter<iso::kDirectoryRecord> fields_at(std::vector<std::byte>& bytes, std::size_t at) {
  return FieldWriter<iso::kDirectoryRecord>(bytes.data() + at, ByteOrder::little);
}

std::vector<Finding> findings_of(std::vector<std::byte> bytes) {
  return OpenIso(std::move(bytes)).checked();
}

// Exactly one finding, with that code at that byte.
void check_only(const std::vector<Finding>& findings, FindingCode code, std::uint64_t start) {
  CAPTURE(all_messages(findings));
  REQUIRE(findings.size() == 1);
  CHECK(findings[0].code == code);
  CHECK(findings[0].start == start);
}

}  // namespace

TEST_CASE("a sound volume gives no finding") {
  CHECK(findings_of(sound()).empty());
  fixtures::IsoOptions options;
  options.joliet = true;
  fixtures::Iso9660Writer writer(options);
  for (int i = 0; i < 90; ++i)
    writer.add_file("d" + std::to_string(i % 7) + "/f" + std::to_string(i), "x");
  CHECK(findings_of(writer.build()).empty());
}

TEST_CASE("numbers that differ between their two orders are found") {
  auto bytes = sound();
  const std::size_t at = record_at(bytes, 20, "A.TXT;1");
  fields_at(bytes, at).raw<"bytes">()[7] = std::byte{6};
  check_only(findings_of(bytes), FindingCode::both_endian_differ, at);
}

TEST_CASE("path tables are compared with the tree") {
  for (const std::uint64_t table : {18U, 19U}) {
    auto bytes = sound();
    const ByteOrder order = table == 18 ? ByteOrder::little : ByteOrder::big;
    // The second record, behind the root's 10 bytes.
    FieldWriter<iso::kPathRecord>(bytes.data() + table * kBlock + 10, order).set<"extent">(33);
    const auto findings = findings_of(bytes);
    check_only(findings, FindingCode::path_table_differs, table * kBlock);
    CHECK(findings[0].severity == Severity::fault);
  }
  auto bytes = sound();
  bytes[18 * kBlock + 10 + iso::kPathRecord.bytes] = std::byte{'E'};  // the name
  check_only(findings_of(bytes), FindingCode::path_table_differs, 18 * kBlock);
}

TEST_CASE("a directory's two lengths and places are compared") {
  auto bytes = sound();
  fields_at(bytes, 31 * kBlock).set<"bytes">(2 * kBlock);
  // The length that the directory itself gives reaches into the file behind it.
  auto findings = findings_of(bytes);
  CHECK(finding_with(findings, FindingCode::filesystem_damaged, "4096") != nullptr);
  CHECK(finding_with(findings, FindingCode::extent_overlap) != nullptr);

  bytes = sound();
  fields_at(bytes, 31 * kBlock).set<"bytes">(1000);
  fields_at(bytes, record_at(bytes, 20, std::string_view("D\0\0", 2))).set<"bytes">(1000);
  findings = findings_of(bytes);
  check_only(findings, FindingCode::filesystem_damaged, findings.at(0).start);
  CHECK(findings[0].message.find("multiple of 2048") != std::string::npos);

  bytes = sound();
  fields_at(bytes, 31 * kBlock).set<"extent">(33);
  check_only(findings_of(bytes), FindingCode::filesystem_damaged, 31 * kBlock);

  bytes = sound();
  const std::size_t parent = 31 * kBlock + 34;
  fields_at(bytes, parent).set<"extent">(32);
  check_only(findings_of(bytes), FindingCode::filesystem_damaged, parent);
}

TEST_CASE("files that share blocks are found unless they are one file") {
  auto bytes = sound();
  const std::size_t at = record_at(bytes, 31, "B.TXT;1");
  fields_at(bytes, at).set<"extent">(30);
  CHECK(findings_of(bytes).empty());  // a second name for A.TXT
  fields_at(bytes, at).set<"extent">(29).set<"bytes">(kBlock + 1);
  auto findings = findings_of(bytes);
  REQUIRE(findings.size() == 1);
  CHECK(findings[0].code == FindingCode::extent_overlap);
  CHECK(findings[0].severity == Severity::fault);
  fields_at(bytes, at).set<"extent">(19).set<"bytes">(1);  // a path table
  findings = findings_of(bytes);
  check_only(findings, FindingCode::extent_overlap, at);
  fields_at(bytes, at).set<"extent">(3).set<"bytes">(0);  // empty files may say anything
  CHECK(findings_of(bytes).empty());
}

TEST_CASE("a file past the end of the volume is found") {
  auto bytes = sound();
  const std::size_t at = record_at(bytes, 31, "B.TXT;1");
  fields_at(bytes, at).set<"bytes">(0xFFFFFFFF);
  check_only(findings_of(bytes), FindingCode::extent_beyond_end, at);
}

TEST_CASE("identifiers with characters of their own are noted once") {
  auto bytes = sound();
  bytes[record_at(bytes, 20, "A.TXT;1") + iso::kDirectoryRecord.bytes] = std::byte{'a'};
  bytes[record_at(bytes, 31, "B.TXT;1") + iso::kDirectoryRecord.bytes] = std::byte{'-'};
  const auto findings = findings_of(bytes);
  REQUIRE(findings.size() == 1);
  CHECK(findings[0].code == FindingCode::name_illegal);
  CHECK(findings[0].severity == Severity::note);
  CHECK(findings[0].message.starts_with("2 identifiers"));
}

TEST_CASE("places that only the Joliet tree names are noted") {
  fixtures::IsoOptions options;
  options.joliet = true;
  options.rock_ridge = false;
  fixtures::Iso9660Writer writer(options);
  writer.add_file("one", "1").add_file("two", "2");
  auto bytes = writer.build();
  using namespace std::string_view_literals;
  const std::size_t at = record_at(bytes, 20, "\0t\0w\0o"sv);
  fields_at(bytes, at).set<"extent">(bytes.size() / kBlock - 2).set<"bytes">(kBlock + 1);
  const auto findings = findings_of(bytes);
  REQUIRE(findings.size() == 2);  // it overlaps, too
  CHECK(finding_with(findings, FindingCode::filesystem_damaged, "not in the primary") != nullptr);
}

TEST_CASE("records that cannot be records are skipped to the next sector") {
  std::vector<SketchRecord> many;
  for (int i = 0; i < 60; ++i)
    many.push_back({.identifier = "F" + std::to_string(10 + i) + ".;1"});
  IsoSketch sketch;
  sketch.root(many);
  const auto good = sketch.build();
  const std::size_t listed = OpenIso(good).paths().size();
  REQUIRE(listed == 60);
  const std::size_t third = record_at(good, 20, "F12.;1");
  const std::size_t last = record_at(good, 20, "F55.;1");
  REQUIRE(last / kBlock == 20);
  const auto broken = [&](std::size_t at, std::size_t offset, unsigned value) {
    auto bytes = good;
    bytes[at + offset] = static_cast<std::byte>(value);
    const OpenIso iso(bytes);
    std::vector<Finding> findings;
    const auto paths = iso.paths(&findings);
    CAPTURE(all_messages(findings));
    REQUIRE(findings.size() == 1);
    CHECK(findings[0].code == FindingCode::filesystem_damaged);
    CHECK(findings[0].severity == Severity::fault);
    CHECK(findings[0].start == at);
    CHECK(paths.size() >= 2);
    CHECK(paths.size() < listed);
    CHECK(paths.back() == "F69");
    CHECK(finding_with(iso.checked(), FindingCode::filesystem_damaged, "directory record") !=
          nullptr);
  };
  broken(third, 0, 20);  // shorter than its own fields
  broken(third, 0, 33);
  broken(third, 32, 200);  // the identifier reaches past the record
  broken(third, 32, 0);
  broken(last, 0, 250);  // past the end of the sector
}

TEST_CASE("a directory ends where another begins") {
  IsoSketch sketch;
  sketch.root({{.identifier = "A", .block = 30, .bytes = kBlock, .flags = kDir},
               {.identifier = "B", .block = 31, .bytes = kBlock, .flags = kDir}});
  sketch.directory(30, 20, "A", {{.identifier = "INA.;1"}});
  sketch.directory(31, 20, "B", {{.identifier = "INB.;1"}});
  auto bytes = sketch.build();
  fields_at(bytes, 30 * kBlock).set<"bytes">(0xFFFFFFFF);
  const OpenIso iso(bytes);
  std::vector<Finding> findings;
  CHECK(iso.paths(&findings) == std::vector<std::string>{"A/", "B/", "A/INA", "B/INB"});
  CHECK(finding_with(findings, FindingCode::filesystem_damaged, "another directory") != nullptr);
}

TEST_CASE("directories that lead back end") {
  IsoSketch sketch;
  sketch.root({{.identifier = "A", .block = 30, .bytes = kBlock, .flags = kDir}});
  sketch.directory(30, 20, "A",
                   {{.identifier = "B", .block = 30, .bytes = kBlock, .flags = kDir},
                    {.identifier = "R", .block = 20, .bytes = kBlock, .flags = kDir}});
  const OpenIso iso(sketch.build());
  std::vector<Finding> findings;
  CHECK(iso.paths(&findings) == std::vector<std::string>{"A/", "A/B/", "A/R/"});
  std::size_t loops = 0;
  for (const Finding& finding : findings)
    loops += finding.code == FindingCode::directory_loop;
  CHECK(loops == 2);
  static_cast<void>(iso.checked());
}

TEST_CASE("a moved directory that leads back ends, and one that is none is reported") {
  IsoSketch sketch;
  const auto moved = [](const std::string& name, std::uint64_t block) {
    return SketchRecord{.identifier = name + ".;1", .system_use = place_entry("CL", block)};
  };
  sketch.root({moved("LOOP", 20), moved("NONE", 45), moved("FAR", 0xFFFFFFFF)}, true);
  const OpenIso iso(sketch.build());
  std::vector<Finding> findings;
  CHECK(iso.paths(&findings) == std::vector<std::string>{"LOOP/", "NONE/", "FAR/"});
  CHECK(finding_with(findings, FindingCode::directory_loop) != nullptr);
  CHECK(finding_with(findings, FindingCode::filesystem_damaged, "record of itself") != nullptr);
}

TEST_CASE("continuation areas cannot lead a reader astray") {
  const auto continued = [](std::uint64_t block, std::uint64_t offset, std::uint64_t bytes) {
    return SketchRecord{.identifier = "X.;1",
                        .system_use = continuation_entry(block, offset, bytes)};
  };
  struct Case {
    SketchRecord record;
    std::string words;
  };
  for (const Case& c : {Case{continued(40, 0, 28), "leads back"},
                        Case{continued(0xFFFFFFFF, 0, 28), "past the end of the volume"},
                        Case{continued(40, 2040, 28), "past the end of its block"},
                        Case{continued(40, 0xFFFFFFFF, 0xFFFFFFFF), "past the end of its block"}}) {
    IsoSketch sketch;
    sketch.root({c.record}, true);
    sketch.put(40, continuation_entry(40, 0, 28));
    const OpenIso iso(sketch.build());
    std::vector<Finding> findings;
    CHECK(iso.paths(&findings) == std::vector<std::string>{"X"});
    CAPTURE(all_messages(findings));
    CHECK(finding_with(findings, FindingCode::filesystem_damaged, c.words) != nullptr);
    CHECK(finding_with(iso.checked(), FindingCode::filesystem_damaged, c.words) != nullptr);
  }
  // Areas that overlap, each a little further on: only so many are read.
  IsoSketch sketch;
  sketch.root({continued(40, 0, 28)}, true);
  for (std::uint64_t i = 0; i < 60; ++i) {
    sketch.put(40, continuation_entry(40, (i + 1) * 30, 28), i * 30);
  }
  std::vector<Finding> findings;
  OpenIso(sketch.build()).paths(&findings);
  CHECK(finding_with(findings, FindingCode::filesystem_damaged, "more continuation areas") !=
        nullptr);
}

TEST_CASE("sections that no volume could hold are absent") {
  std::vector<SketchRecord> records(
      200,
      {.identifier = "X.;1", .block = 22, .bytes = 40 * kBlock, .flags = iso::kMoreExtentsFlag});
  records.back().flags = 0;
  IsoSketch sketch;
  sketch.root(records);
  const OpenIso iso(sketch.build());
  CHECK(iso.attributes("X").bytes == 200 * 40 * kBlock);
  std::uint64_t present = 0;
  for (const Extent& extent : iso.extents("X")) {
    if (!extent.absent) present += extent.bytes;
  }
  CHECK(present <= 64 * kBlock);
}

TEST_CASE("names with a slash or NUL in the plain tree are told of") {
  using namespace std::string_literals;
  for (const std::string& name : {"A/B.;1"s, "A\0B.;1"s, "..;1"s}) {
    IsoSketch sketch;
    sketch.root({{.identifier = name}});
    std::vector<Finding> findings;
    OpenIso(sketch.build()).paths(&findings);
    CAPTURE(name);
    CHECK(finding_with(findings, FindingCode::name_illegal) != nullptr);
  }
}

TEST_CASE("volumes cut or flipped anywhere are walked to an end") {
  IsoSketch sketch;
  sketch.root(
      {{.identifier = "A",
        .block = 30,
        .bytes = kBlock,
        .flags = kDir,
        .system_use = joined({name_entry(0, "a"), mode_entry(040755, 2, 0, 0)})},
       {.identifier = "B.;1",
        .block = 31,
        .bytes = 100,
        .flags = iso::kMoreExtentsFlag,
        .system_use = joined({mode_entry(0100644, 1, 0, 0), times_entry(1)})},
       {.identifier = "B.;1", .block = 32, .bytes = 100},
       {.identifier = "L.;1",
        .system_use = joined({mode_entry(0120777, 1, 0, 0), continuation_entry(33, 0, 100)})},
       {.identifier = "M.;1",
        .block = 40,
        .bytes = 9000,
        .attribute_blocks = 1,
        .unit_blocks = 1,
        .gap_blocks = 1}},
      true);
  sketch.directory(30, 20, "A", {{.identifier = "C.;1", .system_use = place_entry("CL", 34)}});
  sketch.put(33, joined({link_entry(0, {{0, "usr"}, {iso::kRockContinues, "b"}, {0, "in"}})}));
  sketch.directory(34, 30, "C", {}, mode_entry(040755, 2, 0, 0), place_entry("PL", 30));
  const auto good = sketch.build();
  const auto visit_all = [](const std::vector<std::byte>& bytes) {
    for (const NameView names : {NameView::best, NameView::plain}) {
      const View view = view_of(bytes);
      const auto volume = find_format("iso9660")->open(view, {.names = names});
      if (volume == nullptr) continue;
      std::vector<Finding> findings;
      walk(
          *volume, volume->root(), "",
          [&](const FileVisit& visit) {
            volume->each_extent(visit.entry.node, [](const Extent&) { return true; });
            static_cast<void>(volume->link_target(visit.entry.node));
            return Step::go_on;
          },
          findings);
      std::uint64_t at = 0;
      volume->each_run([&](const BlockRun& run) {
        if (run.start != at || run.bytes == 0) FAIL("a gap in the map at byte " << at);
        at += run.bytes;
        return true;
      });
      volume->check_records();
    }
  };
  std::mt19937 random(1990);
  const std::size_t interesting[] = {16, 18, 20, 30, 33, 34, 40};
  for (int round = 0; round < 1500; ++round) {
    auto bytes = good;
    const auto count = 1 + random() % 6;
    for (unsigned i = 0; i < count; ++i) {
      const std::size_t block = interesting[random() % std::size(interesting)];
      const std::size_t at = block * kBlock + random() % 400;
      bytes[at] = static_cast<std::byte>(random() % 3 == 0 ? 0xFF : random());
    }
    if (round % 10 == 0) bytes.resize(17 * kBlock + random() % (20 * kBlock));
    visit_all(bytes);
  }
  SUCCEED("no crash, no endless walk");
}
