// High Sierra volumes: a small one typed by hand, and ones made from the structure tables.
#include <catch2/catch.hpp>

#include "filesystem/high_sierra_structures.h"
#include "iso9660_volume_support.h"
#include "support/hexfile.h"

using namespace platter;
using namespace platter::test;
using fixtures::IsoSketch;
using Paths = std::vector<std::string>;
namespace iso = filesystem::iso9660;
namespace hs = filesystem::high_sierra;

namespace {

constexpr std::uint64_t kBlock = 2048;

std::vector<std::byte> good() {
  return hex_fixture("filesystem/high-sierra/good.hex");
}

std::vector<std::byte> sketched() {
  IsoSketch sketch({.high_sierra = true, .volume_id = "SIERRA"});
  sketch.root(
      {{.identifier = "A.TXT;1", .block = 30, .bytes = 5},
       {.identifier = "D", .block = 31, .bytes = kBlock, .flags = iso::kDirectoryFlag},
       {.identifier = "S.DAT;1", .block = 40, .bytes = kBlock, .flags = iso::kMoreExtentsFlag},
       {.identifier = "S.DAT;1", .block = 42, .bytes = 1}});
  sketch.directory(31, IsoSketch::kRoot, "D", {{.identifier = "B.TXT;1", .block = 32, .bytes = 5}});
  sketch.put(30, "aaaaa").put(32, "bbbbb").put(40, std::string(kBlock, 's')).put(42, "t");
  return sketch.build();
}

}  // namespace

TEST_CASE("a High Sierra volume is claimed with its facts") {
  const Survey survey = survey_bytes(good());
  const Layer* found = layer(survey, "high-sierra");
  REQUIRE(found != nullptr);
  CAPTURE(findings_of(survey));
  CHECK(survey.findings.empty());
  CHECK(found->facts.number("block_bytes") == 2048);
  CHECK(found->facts.number("volume_bytes") == 45056);
  CHECK(fact(survey, "high-sierra", "volume_name") == "GANNET_HS");
  CHECK(fact(survey, "high-sierra", "system_id") == "CORVIDOS");
  CHECK(fact(survey, "high-sierra", "byte_order") == "both");
  const FactValue* created = found->facts.find("created");
  REQUIRE(created != nullptr);
  CHECK(std::get<Timestamp>(*created).seconds == 550'324'800);  // 1987-06-10 12:00:00
}

TEST_CASE("the files of a High Sierra volume are listed") {
  const OpenIso iso(good(), NameView::best, "high-sierra");
  CHECK(iso.paths() == Paths{"READ.ME"});
  const Attributes file = iso.attributes("READ.ME");
  CHECK(file.type == NodeType::file);
  CHECK(file.bytes == 6);
  CHECK(file.modified == Timestamp{550'324'801});
  CHECK(iso.content("READ.ME") == "hello\n");
  CHECK(iso.checked().empty());
  CHECK(find_format("high-sierra")->open(iso.view, {.names = NameView::joliet}) == nullptr);
  CHECK(find_format("iso9660")->open(iso.view, {}) == nullptr);
}

TEST_CASE("directories and sections of a High Sierra volume are followed") {
  const OpenIso iso(sketched(), NameView::best, "high-sierra");
  CHECK(iso.paths() == Paths{"A.TXT", "D/", "S.DAT", "D/B.TXT"});
  CHECK(iso.content("D/B.TXT") == "bbbbb");
  CHECK(iso.content("S.DAT") == std::string(kBlock, 's') + "t");
  CHECK(iso.checked().empty());
  std::uint64_t at = 0;
  iso.volume->each_run([&](const BlockRun& run) {
    CHECK(run.start == at);
    at += run.bytes;
    return true;
  });
  CHECK(at == 64 * kBlock);
}

TEST_CASE("damage to a High Sierra volume is found") {
  const auto spoiled = [](std::size_t at, unsigned value) {
    auto bytes = good();
    bytes[at] = static_cast<std::byte>(value);
    return survey_bytes(bytes);
  };
  using Descriptor = FieldReader<hs::kVolumeDescriptor>;
  constexpr std::size_t kFirst = 16 * kBlock;
  CHECK(has_finding(spoiled(kFirst + Descriptor::offset_of<"blocks">() + 7, 9),
                    FindingCode::both_endian_differ));
  CHECK(has_finding(spoiled(kFirst + Descriptor::offset_of<"version">(), 3),
                    FindingCode::filesystem_damaged));
  CHECK(has_finding(spoiled(17 * kBlock + 9, 0), FindingCode::filesystem_damaged));  // terminator
  CHECK(has_finding(spoiled(20 * kBlock, 0), FindingCode::filesystem_damaged));      // root itself
  auto bytes = good();
  bytes[19 * kBlock + 3] = std::byte{77};  // the root's place in path table M
  const auto findings = OpenIso(bytes, NameView::best, "high-sierra").checked();
  CHECK(finding_with(findings, FindingCode::path_table_differs, "path table M") != nullptr);
}

TEST_CASE("the magic alone is no High Sierra volume") {
  std::vector<std::byte> bytes(45056);
  const std::string_view magic = "\1CDROM\1";
  std::ranges::copy(std::as_bytes(std::span(magic)), bytes.begin() + 16 * kBlock + 8);
  CHECK(find_format("high-sierra")->claims(view_of(bytes), Context{}).empty());
}

TEST_CASE("a High Sierra volume that is cut anywhere is read as far as it goes") {
  const auto bytes = good();
  const View whole = view_of(bytes);
  for (std::uint64_t length = 0; length < bytes.size(); length += 13) {
    const View cut = whole.sub(0, length);
    for (const Claim& claim : find_format("high-sierra")->claims(cut, Context{cut})) {
      CAPTURE(length, all_messages(claim.findings));
      CHECK(claim.findings.empty());
    }
    const auto volume = find_format("high-sierra")->open(cut, {});
    if (volume == nullptr) continue;
    std::vector<Finding> findings;
    walk(
        *volume, volume->root(), "", [](const FileVisit&) { return Step::go_on; }, findings);
    CAPTURE(length, all_messages(findings));
    CHECK(findings.empty());
  }
}
