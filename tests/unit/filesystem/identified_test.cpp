// Filesystems that are identified and not listed: typed superblocks, then spoiled ones.
#include <catch2/catch.hpp>

#include "fat_support.h"
#include "support/hexfile.h"

namespace platter::test {
namespace {

std::uint64_t number(const Claim& claim, std::string_view name) {
  return claim.facts.number(name, 12345678901);
}
std::int64_t seconds(const Claim& claim, std::string_view name) {
  const FactValue* value = claim.facts.find(name);
  return value == nullptr ? 0 : std::get<Timestamp>(*value).seconds;
}
std::vector<std::byte> fixture(const std::string& name) {
  return hex_fixture("filesystem/" + name + ".hex");
}

Claim only_claim(std::string_view format, const std::vector<std::byte>& bytes) {
  auto found = claims_of(format, bytes);
  REQUIRE(found.size() == 1);
  CHECK(found[0].findings.empty());
  CHECK(found[0].strength >= Strength::sane);
  CHECK_FALSE(found[0].records.empty());
  const bool listed = format == "hfs" || format == "hfsplus" || format == "xfs";
  CHECK((find_format(format)->open != nullptr) == listed);
  return found.front();
}

TEST_CASE("XFS: the verified example", "[identified]") {
  const Claim claim = only_claim("xfs", fixture("xfs/good"));
  CHECK(claim.bytes == 335544320);
  CHECK(claim.facts.words("byte_order") == "big");
  CHECK(claim.facts.words("volume_name") == "GANNET");
  CHECK(claim.facts.words("uuid") == "00112233-4455-6677-8899-aabbccddeeff");
  CHECK(number(claim, "version") == 4);
  CHECK(number(claim, "block_bytes") == 4096);
  CHECK(number(claim, "groups") == 4);
  CHECK(number(claim, "used_bytes") == 16400ULL * 4096);
  CHECK(number(claim, "free_bytes") == 65520ULL * 4096);
}

TEST_CASE("HFS+: plain, by case, and wrapped", "[identified]") {
  auto bytes = fixture("hfsplus/good");
  const Claim claim = only_claim("hfsplus", bytes);
  CHECK(claim.bytes == 1048576);
  CHECK(claim.facts.words("volume_name") == "Gannet");
  CHECK(claim.facts.words("variant") == "plain");
  CHECK(claim.facts.words("clean") == "clean");
  CHECK(number(claim, "free_bytes") == 248 * 4096);
  CHECK(number(claim, "files") == 1);
  CHECK(seconds(claim, "created") == 0xB8000000LL - 2082844800);
  auto by_case = bytes;
  by_case[1025] = std::byte{'X'};
  CHECK(claims_of("hfsplus", by_case).empty());  // the version must be 5 then
  by_case[1027] = std::byte{5};
  CHECK(only_claim("hfsplus", by_case).facts.words("variant") == "case-sensitive");

  // An HFS volume around it: header, and the other one from 2048 + 2 * 2048 on.
  std::vector<std::byte> wrapper = fixture("hfs/hybrid");
  const std::size_t start = 2048 + 2 * 2048;
  std::copy(bytes.begin(), bytes.end(), wrapper.begin() + static_cast<std::ptrdiff_t>(start));
  wrapper[1024 + 124] = std::byte{0x48};
  wrapper[1024 + 125] = std::byte{0x2B};
  wrapper[1024 + 127] = std::byte{2};
  wrapper[1024 + 128] = std::byte{2};  // 512 blocks
  const Claim inner = only_claim("hfsplus", wrapper);
  CHECK(inner.start == start);
  CHECK(inner.facts.words("wrapped_in") == "hfs");
  CHECK(inner.facts.words("volume_name") == "Gannet");
  CHECK(only_claim("hfs", wrapper).facts.words("wraps") == "hfsplus");
  const Survey survey = survey_bytes(wrapper);
  CHECK(layer(survey, "hfs") != nullptr);
  CHECK(layer(survey, "hfsplus") != nullptr);
  CHECK_FALSE(has_finding(survey, FindingCode::ambiguous));
}

TEST_CASE("ODS-2: two checksums prove it", "[identified]") {
  auto bytes = fixture("ods2/good");
  const Claim claim = only_claim("ods2", bytes);
  CHECK(claim.strength == Strength::proven);
  CHECK(claim.facts.words("volume_name") == "GANNET");
  CHECK(claim.facts.words("owner") == "MUSEUM");
  CHECK(seconds(claim, "created") == 640486800);
  CHECK(number(claim, "block_bytes") == 1536);
  bytes[512 + 28] ^= std::byte{1};
  const auto found = claims_of("ods2", bytes);
  REQUIRE(found.size() == 1);
  CHECK(found[0].strength == Strength::magic);
  CHECK(found[0].findings.size() == 2);
}

TEST_CASE("JFS: both generations", "[identified]") {
  const Claim first = only_claim("jfs", fixture("jfs/good-first"));
  CHECK(number(first, "generation") == 1);
  CHECK(first.facts.words("byte_order") == "big");
  CHECK(first.bytes == 32 << 20);
  CHECK(number(first, "fragment_bytes") == 512);
  CHECK(first.facts.words("volume_name") == "gannet");
  CHECK(first.facts.words("filesystem_name") == "/home");
  CHECK(seconds(first, "modified") == 0x2FFFFF00);
  const Claim second = only_claim("jfs", fixture("jfs/good-second"));
  CHECK(number(second, "generation") == 2);
  CHECK(second.facts.words("byte_order") == "little");
  CHECK(second.bytes == 16 << 20);
  CHECK(number(second, "block_bytes") == 4096);
  CHECK(second.facts.words("volume_name") == "gannet");
  CHECK(second.facts.words("uuid") == "00112233-4455-6677-8899-aabbccddeeff");
}

TEST_CASE("AdvFS: the magic, a metadata page, the attributes in it", "[identified]") {
  auto bytes = fixture("advfs/good");
  const Claim claim = only_claim("advfs", bytes);
  CHECK(claim.bytes == 131072 * 512);
  CHECK(number(claim, "version") == 4);
  CHECK(seconds(claim, "created") == 0x34E00000);
  CHECK(claim.records.size() == 3);
  auto other = bytes;
  other[16384 + 16 + 4 * 292 + 24 + 2] = std::byte{0};  // the attributes are gone
  const auto found = claims_of("advfs", other);
  REQUIRE(found.size() == 1);
  CHECK(found[0].strength == Strength::magic);
  other = bytes;
  other[16384 + 12] = std::byte{1};  // not the first page
  CHECK(claims_of("advfs", other).empty());
  other = bytes;
  other[16384 + 15] = std::byte{0x28};  // version 5 was never shipped
  CHECK(claims_of("advfs", other).empty());
}

TEST_CASE("VxFS: both orders", "[identified]") {
  for (const std::string order : {"little", "big"}) {
    CAPTURE(order);
    const Claim claim = only_claim("vxfs", fixture("vxfs/good-" + order));
    CHECK(claim.facts.words("byte_order") == order);
    CHECK(claim.bytes == 20000 * 1024);
    CHECK(number(claim, "version") == 2);
    CHECK(number(claim, "used_bytes") == 5000 * 1024);
    CHECK(claim.facts.words("volume_name") == "gannet");
    CHECK(claim.facts.words("filesystem_name") == "usr");
    CHECK(seconds(claim, "created") == 0x34F00000);
  }
}

TEST_CASE("a magic alone identifies nothing", "[identified]") {
  struct Magic {
    const char* format;
    std::size_t at;
    std::string bytes;
  };
  using namespace std::string_literals;
  const Magic all[] = {{"xfs", 0, "XFSB"},
                       {"hfsplus", 1024, "H+\0\4"s},
                       {"hfs", 1024, "BD"},
                       {"ods2", 1008, "DECFILE11B  "},
                       {"jfs", 4096, "\x43\x21\x87\x65"},
                       {"jfs", 4096, "\x65\x87\x21\x43"},
                       {"jfs", 32768, "JFS1"},
                       {"advfs", 9564, "\x53\x19\x08\x11"},
                       {"vxfs", 1024, "\xF5\xFC\x01\xA5"},
                       {"vxfs", 8192, "\xA5\x01\xFC\xF5"}};
  for (const Magic& magic : all) {
    CAPTURE(magic.format);
    for (const std::byte filler : {std::byte{0}, std::byte{0xFF}, std::byte{0x5A}}) {
      std::vector<std::byte> bytes(64 * 1024, filler);
      for (std::size_t i = 0; i < magic.bytes.size(); ++i)
        bytes[magic.at + i] = static_cast<std::byte>(magic.bytes[i]);
      CHECK(claims_of(magic.format, bytes).empty());
      bytes.resize(magic.at + magic.bytes.size());
      CHECK(claims_of(magic.format, bytes).empty());
    }
  }
}

TEST_CASE("a field that contradicts the others is named", "[identified]") {
  struct Spoiled {
    const char* format;
    const char* fixture;
    std::size_t at;
    int value;
    const char* message;
  };
  const Spoiled all[] = {
      {"xfs", "xfs/good", 120, 13, "block_bytes of the XFS superblock is 4096, expected 8192"},
      {"xfs", "xfs/good", 10, 0xFF, "data_blocks of the XFS superblock"},
      {"xfs", "xfs/good", 126, 1, "in_progress"},
      {"hfsplus", "hfsplus/good", 1072, 1, "free_blocks of the HFS+ volume header"},
      {"hfsplus", "hfsplus/good", 1296 + 16, 1, "the catalog has 16384 bytes from block 16777219"},
      {"jfs", "jfs/good-first", 4116, 0x20, "block_bytes of the JFS superblock"},
      {"jfs", "jfs/good-second", 32788, 13, "block_bytes of the JFS superblock"},
      {"vxfs", "vxfs/good-big", 8192 + 183, 0, "offset_mask of the VxFS superblock"}};
  for (const Spoiled& spoiled : all) {
    CAPTURE(spoiled.fixture, spoiled.at);
    auto bytes = fixture(spoiled.fixture);
    bytes[spoiled.at] = static_cast<std::byte>(spoiled.value);
    const auto found = claims_of(spoiled.format, bytes);
    REQUIRE(found.size() == 1);
    CHECK(found[0].strength == Strength::magic);
    REQUIRE_FALSE(found[0].findings.empty());
    CHECK(found[0].findings[0].message.find(spoiled.message) != std::string::npos);
  }
}

}  // namespace
}  // namespace platter::test
