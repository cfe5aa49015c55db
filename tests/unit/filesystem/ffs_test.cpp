// FFS and UFS2 by their superblocks: bytes typed from headers and a worked example, then spoiled.
#include <random>

#include <catch2/catch.hpp>

#include "core/claim.h"
#include "core/record.h"
#include "filesystem/ffs_group.h"
#include "support/hexfile.h"
#include "support/survey.h"
#include "writers/ffs_writer.h"

namespace platter::filesystem {
extern const Format ffs_format;
extern const Format ufs2_format;
}  // namespace platter::filesystem

namespace platter::test {
namespace {

using filesystem::ffs_format;
using filesystem::ufs2_format;

constexpr std::uint64_t kPrimary = 8192;
constexpr std::uint64_t kCopy = 16384;

std::vector<Claim> claims_of(const std::vector<std::byte>& bytes,
                             const Format& format = ffs_format) {
  const View view = view_of(bytes);
  return format.claims(view, {.image = view});
}

std::string word(const Claim& claim, std::string_view name) {
  return claim.facts.words(name);
}
std::uint64_t number(const Claim& claim, std::string_view name) {
  return claim.facts.number(name, 12345678901);
}
std::int64_t seconds(const Claim& claim, std::string_view name) {
  const FactValue* value = claim.facts.find(name);
  return value == nullptr ? 0 : std::get<Timestamp>(*value).seconds;
}

void put32(std::vector<std::byte>& bytes, std::uint64_t at, std::uint32_t value,
           ByteOrder order = ByteOrder::big) {
  encode_unsigned(std::span(bytes).subspan(at, 4), value, order);
}

TEST_CASE("FFS: the worked example is read", "[ffs]") {
  const auto found = claims_of(hex_fixture("filesystem/ffs/bsd44-be.hex"));
  REQUIRE(found.size() == 1);
  const Claim& claim = found.front();
  CHECK(claim.strength == Strength::proven);
  CHECK(claim.findings.empty());
  CHECK(claim.start == 0);
  CHECK(claim.bytes == 4194304);
  CHECK(word(claim, "byte_order") == "big");
  CHECK(word(claim, "dialect") == "4.4BSD");
  CHECK(number(claim, "block_bytes") == 8192);
  CHECK(number(claim, "fragment_bytes") == 1024);
  CHECK(number(claim, "volume_bytes") == 4194304);
  CHECK(number(claim, "used_bytes") == (4055 - 490 * 8 - 2) * 1024);
  CHECK(word(claim, "last_mount") == "/mnt");
  CHECK(word(claim, "volume_name") == "GANNET");
  CHECK(word(claim, "clean") == "clean");
  CHECK(number(claim, "groups") == 1);
  CHECK(number(claim, "inodes") == 64);
  CHECK(seconds(claim, "modified") == 1000000000);
  CHECK(seconds(claim, "created") == 0x3B9AC000);
  REQUIRE(claim.records.size() == 1);
  CHECK(claim.records[0].structure == &filesystem::kFfsWide);
  CHECK(claims_of(hex_fixture("filesystem/ffs/bsd44-be.hex"), ufs2_format).empty());
}

struct Expected {
  const char* fixture;
  const char* order;
  const char* dialect;
  const char* clean;
  const char* mounted;
  const Structure* record;
};

TEST_CASE("FFS: the dialects are told apart", "[ffs]") {
  const Expected all[] = {
      {"bsd43-le", "little", "4.2BSD", "unknown", "/usr", &filesystem::kFfsClassic},
      {"svr4-be", "big", "SVR4", "clean", "/export", &filesystem::kFfsSvr4Big},
      {"svr4-le", "little", "SVR4", "not clean", "/export", &filesystem::kFfsSvr4Little},
      {"dialect-v", "big", "dialect V", "clean", "/users", &filesystem::kFfsDialectV}};
  for (const Expected& expected : all) {
    CAPTURE(expected.fixture);
    const auto found =
        claims_of(hex_fixture(std::string("filesystem/ffs/") + expected.fixture + ".hex"));
    REQUIRE(found.size() == 1);
    const Claim& claim = found.front();
    CHECK(claim.strength == Strength::sane);
    CHECK(claim.findings.empty());
    CHECK(claim.bytes == 6144 * 1024);
    CHECK(word(claim, "byte_order") == expected.order);
    CHECK(word(claim, "dialect") == expected.dialect);
    CHECK(word(claim, "clean") == expected.clean);
    CHECK(word(claim, "last_mount") == expected.mounted);
    CHECK(number(claim, "groups") == 3);
    CHECK(number(claim, "inodes") == 1536);
    REQUIRE(claim.records.size() == 1);
    CHECK(claim.records[0].structure == expected.record);
  }
}

TEST_CASE("FFS: dialect V has names and other magics", "[ffs]") {
  auto bytes = hex_fixture("filesystem/ffs/dialect-v.hex");
  CHECK(word(claims_of(bytes).at(0), "volume_name") == "rook");
  CHECK(word(claims_of(bytes).at(0), "pack_name") == "disk1");
  for (const std::uint32_t magic : {0x00195612U, 0x05231994U, 0x00612195U, 0x00011954U}) {
    put32(bytes, kPrimary + 1372, magic);
    CHECK(word(claims_of(bytes).at(0), "dialect") == "dialect V");
  }
  bytes[kPrimary + 209] = std::byte{0x53};
  CHECK(word(claims_of(bytes).at(0), "clean") == "not clean");
}

TEST_CASE("FFS: the state word vouches for the clean byte", "[ffs]") {
  auto bytes = hex_fixture("filesystem/ffs/svr4-be.hex");
  const std::pair<int, const char*> states[] = {{0, "not clean"},    {1, "clean"},
                                                {2, "clean"},        {0xFF, "not clean"},
                                                {0xFC, "not clean"}, {0xFD, "unknown"}};
  for (const auto& [value, expected] : states) {
    bytes[kPrimary + 209] = static_cast<std::byte>(value);
    CHECK(word(claims_of(bytes).at(0), "clean") == expected);
  }
  bytes[kPrimary + 7] = std::byte{1};  // the log is rolled
  bytes[kPrimary + 209] = std::byte{0xFD};
  CHECK(word(claims_of(bytes).at(0), "clean") == "clean");
  put32(bytes, kPrimary + 1336, 0x12345678);
  CHECK(word(claims_of(bytes).at(0), "clean") == "unknown");
}

TEST_CASE("UFS2: read at its own place", "[ffs]") {
  const auto bytes = hex_fixture("filesystem/ffs/ufs2-le.hex");
  CHECK(claims_of(bytes).empty());
  const auto found = claims_of(bytes, ufs2_format);
  REQUIRE(found.size() == 1);
  const Claim& claim = found.front();
  CHECK(claim.findings.empty());
  CHECK(claim.strength == Strength::sane);
  CHECK(claim.bytes == 4194304);
  CHECK(word(claim, "dialect") == "UFS2");
  CHECK(word(claim, "byte_order") == "little");
  CHECK(word(claim, "volume_name") == "CORMORANT");
  CHECK(number(claim, "used_bytes") == (3999 - 480 * 8 - 4) * 1024);
  CHECK(number(claim, "inodes") == 32);
  CHECK(number(claim, "superblock") == 65536);
  CHECK(seconds(claim, "modified") == 1000000000);
}

// Without the copy, so that only the superblock itself can speak.
std::vector<std::byte> lone_example() {
  auto bytes = hex_fixture("filesystem/ffs/bsd44-be.hex");
  bytes.resize(kPrimary + 2048);
  return bytes;
}

struct Spoiled {
  const char* name;
  std::uint64_t offset;
  std::uint32_t value;
};
constexpr Spoiled kSpoiled[] = {{"sblkno", 8, 17},
                                {"cblkno", 12, 12},
                                {"iblkno", 16, 20},
                                {"dblkno", 20, 39},
                                {"dblkno", 20, 4097},
                                {"size", 36, 4097},
                                {"size", 36, 0},
                                {"dsize", 40, 4096},
                                {"ncg", 44, 0},
                                {"ncg", 44, 2},
                                {"bsize", 48, 4096},
                                {"bsize", 48, 0},
                                {"fsize", 52, 512},
                                {"fsize", 52, 0},
                                {"frag", 56, 0},
                                {"frag", 56, 4},
                                {"minfree", 60, 100},
                                {"bmask", 72, 0},
                                {"fmask", 76, 0xFFFFFFFF},
                                {"bshift", 80, 99},
                                {"fshift", 84, 11},
                                {"fragshift", 96, 2},
                                {"fsbtodb", 100, 2},
                                {"sbsize", 104, 512},
                                {"sbsize", 104, 9000},
                                {"nindir", 116, 0},
                                {"inopb", 120, 0},
                                {"csaddr", 152, 4096},
                                {"cssize", 156, 15},
                                {"cgsize", 160, 8193},
                                {"cgsize", 160, 100},
                                {"ipg", 184, 0},
                                {"ipg", 184, 0x80000001},
                                {"fpg", 188, 0},
                                {"fpg", 188, 4095},
                                {"free blocks", 196, 507},
                                {"free blocks", 196, 0x80000000},
                                {"free inodes", 200, 65},
                                {"directories", 192, 65},
                                {"free fragments", 204, 4056},
                                {"sblockloc", 1004, 0},
                                {"wide size", 1084, 4095},
                                {"wide dsize", 1092, 4054},
                                {"wide csaddr", 1100, 4096}};

TEST_CASE("FFS: every field that contradicts the others is named", "[ffs]") {
  for (const Spoiled& spoiled : kSpoiled) {
    CAPTURE(spoiled.name, spoiled.value);
    auto bytes = lone_example();
    put32(bytes, kPrimary + spoiled.offset, spoiled.value);
    const auto found = claims_of(bytes);
    REQUIRE(found.size() == 1);
    CHECK(found[0].strength == Strength::magic);
    REQUIRE_FALSE(found[0].findings.empty());
    for (const Finding& finding : found[0].findings) {
      CHECK(finding.severity == Severity::fault);
      CHECK(finding.code == FindingCode::filesystem_damaged);
      CHECK(finding.start >= kPrimary);
      CHECK(finding.start + finding.bytes <= kPrimary + 1376);
    }
  }
}

TEST_CASE("FFS: a spoiled field is settled by the copy", "[ffs]") {
  for (const Spoiled& spoiled : kSpoiled) {
    CAPTURE(spoiled.name, spoiled.value);
    auto bytes = hex_fixture("filesystem/ffs/bsd44-be.hex");
    put32(bytes, kPrimary + spoiled.offset, spoiled.value);
    const auto found = claims_of(bytes);
    REQUIRE(found.size() == 1);
    CHECK(found[0].strength == Strength::sane);
    CHECK(found[0].bytes == 4194304);
    CHECK(number(found[0], "block_bytes") == 8192);
    CHECK(found[0].findings.size() >= 2);
    CHECK(found[0].findings.back().start == kCopy);
    CHECK(found[0].records.size() == 2);
  }
}

TEST_CASE("FFS: the finding tells what stands there and what should", "[ffs]") {
  auto bytes = lone_example();
  put32(bytes, kPrimary + 56, 4);
  const auto found = claims_of(bytes);
  REQUIRE(found.at(0).findings.size() == 1);
  CHECK(found[0].findings[0].message == "the superblock's frag is 4, expected 8");
  CHECK(found[0].findings[0].start == kPrimary + 56);
  CHECK(found[0].findings[0].bytes == 4);
}

TEST_CASE("FFS: a handful of contradictions, and too many", "[ffs]") {
  auto bytes = lone_example();
  const std::uint64_t fields[] = {8, 60, 96, 104, 56, 160, 152};
  for (std::size_t i = 0; i < std::size(fields); ++i) {
    put32(bytes, kPrimary + fields[i], 77777);
    const auto found = claims_of(bytes);
    CAPTURE(i);
    if (i < 5) {
      REQUIRE(found.size() == 1);
      CHECK(found[0].findings.size() == i + 1);
    } else {
      CHECK(found.empty());
    }
  }
}

TEST_CASE("FFS: a lost superblock is found by its copy", "[ffs]") {
  auto bytes = hex_fixture("filesystem/ffs/bsd44-be.hex");
  SECTION("only the magic is gone") {
    put32(bytes, kPrimary + 1372, 0);
    const auto found = claims_of(bytes);
    REQUIRE(found.size() == 1);
    CHECK(found[0].strength == Strength::magic);
    CHECK(found[0].bytes == 4194304);
    REQUIRE(found[0].findings.size() == 1);
    CHECK(found[0].findings[0].start == kPrimary + 1372);
    CHECK(number(found[0], "used_bytes") == (4055 - 490 * 8 - 2) * 1024);
  }
  SECTION("all of it is gone") {
    std::fill(bytes.begin() + kPrimary, bytes.begin() + kCopy, std::byte{0});
    const auto found = claims_of(bytes);
    REQUIRE(found.size() == 1);
    CHECK(found[0].strength == Strength::shape);
    CHECK(found[0].bytes == 4194304);
    CHECK(number(found[0], "superblock") == kCopy);
    CHECK(found[0].facts.find("used_bytes") == nullptr);
    REQUIRE(found[0].findings.size() == 1);
    CHECK(found[0].findings[0].severity == Severity::fault);
    SECTION("and the group block too: nothing tells where it starts") {
      put32(bytes, 24576 + 4, 0);
      CHECK(claims_of(bytes).empty());
    }
  }
}

TEST_CASE("FFS: an interrupted creation is reported", "[ffs]") {
  auto bytes = hex_fixture("filesystem/ffs/bsd44-be.hex");
  put32(bytes, kPrimary + 1372, 0x19960408);
  const auto found = claims_of(bytes);
  REQUIRE(found.size() == 1);
  REQUIRE(found[0].findings.size() == 1);
  CHECK(found[0].findings[0].severity == Severity::fault);
  CHECK(found[0].findings[0].start == kPrimary + 1372);
  CHECK(claims_of(bytes, ufs2_format).empty());
  auto wide = hex_fixture("filesystem/ffs/ufs2-le.hex");
  put32(wide, 65536 + 1372, 0x19960408, ByteOrder::little);
  CHECK(claims_of(wide, ufs2_format).size() == 1);
  CHECK(claims_of(wide).empty());
}

// Reversed groups of four bytes keep 32-bit numbers, in the other order.
TEST_CASE("FFS: an image swapped in groups of four is not taken at its word", "[ffs]") {
  for (const char* name : {"bsd44-be", "svr4-be", "svr4-le", "bsd43-le", "dialect-v"}) {
    CAPTURE(name);
    auto bytes = hex_fixture(std::string("filesystem/ffs/") + name + ".hex");
    for (std::size_t i = 0; i + 4 <= bytes.size(); i += 4) {
      std::reverse(bytes.begin() + static_cast<std::ptrdiff_t>(i),
                   bytes.begin() + static_cast<std::ptrdiff_t>(i) + 4);
    }
    const auto found = claims_of(bytes);
    REQUIRE(found.size() == 1);
    CHECK(found[0].strength == Strength::magic);
    CHECK_FALSE(found[0].findings.empty());
  }
}

TEST_CASE("FFS: behind a front porch of a bare image only", "[ffs]") {
  const auto volume = fixtures::FfsWriter().add_file("README", "text").build();
  for (const std::uint64_t porch : {8192U, 16384U, 131072U, 262144U}) {
    CAPTURE(porch);
    std::vector<std::byte> bytes(porch);
    bytes.insert(bytes.end(), volume.begin(), volume.end());
    const auto found = claims_of(bytes);
    REQUIRE(found.size() == 1);
    CHECK(found[0].start == porch);
    CHECK(found[0].strength == Strength::proven);
    CHECK(found[0].findings.empty());
    const View view = view_of(bytes);
    const Slice slice;
    CHECK(ffs_format.claims(view, {.image = view, .slice = &slice}).empty());
  }
  std::vector<std::byte> far(270336);
  far.insert(far.end(), volume.begin(), volume.end());
  CHECK(claims_of(far).empty());
}

TEST_CASE("FFS: the writer's volumes are claimed in full", "[ffs]") {
  using fixtures::FfsStyle;
  const std::pair<FfsStyle, const char*> styles[] = {
      {FfsStyle::bsd42, "4.2BSD"}, {FfsStyle::svr4, "SVR4"}, {FfsStyle::bsd44, "4.4BSD"}};
  for (const auto& [style, dialect] : styles) {
    for (const ByteOrder order : {ByteOrder::big, ByteOrder::little}) {
      fixtures::FfsOptions options;
      options.order = order;
      options.style = style;
      options.time = 700000000;
      options.last_mount = "/usr";
      const auto bytes = fixtures::FfsWriter(options).add_file("a", "b").build();
      const auto found = claims_of(bytes);
      CAPTURE(dialect);
      REQUIRE(found.size() == 1);
      CHECK(found[0].strength == Strength::proven);
      CHECK(found[0].findings.empty());
      CHECK(word(found[0], "dialect") == dialect);
      CHECK(word(found[0], "clean") == "clean");
      CHECK(word(found[0], "last_mount") == "/usr");
      CHECK(found[0].bytes == 4 << 20);
      CHECK(number(found[0], "used_bytes") == 2048);  // the root directory and the file
      CHECK(seconds(found[0], "modified") == 700000000);
    }
  }
}

TEST_CASE("FFS: every flipped byte gives a claim or none, never a wrong size", "[ffs]") {
  for (const char* name : {"bsd44-be", "svr4-le", "dialect-v"}) {
    const auto good = hex_fixture(std::string("filesystem/ffs/") + name + ".hex");
    const std::uint64_t bytes_claimed = claims_of(good).at(0).bytes;
    auto bytes = good;
    bytes.resize(kPrimary + 2048);
    for (std::size_t i = kPrimary; i < kPrimary + 1376; ++i) {
      for (const unsigned flip : {0x01U, 0x80U, 0xFFU}) {
        bytes[i] ^= static_cast<std::byte>(flip);
        const auto found = claims_of(bytes);
        if (i >= kPrimary + 1372) {
          CHECK(found.empty());
        } else {
          REQUIRE(found.size() == 1);
          // Only a finding excuses another size, except where the field itself was changed.
          const bool size_field = i >= kPrimary + 36 && i < kPrimary + 40;
          if (found[0].bytes != bytes_claimed && !size_field) {
            CHECK_FALSE(found[0].findings.empty());
          }
        }
        bytes[i] ^= static_cast<std::byte>(flip);
      }
    }
  }
}

TEST_CASE("FFS: every cut before the superblock's end gives nothing", "[ffs]") {
  const auto good = hex_fixture("filesystem/ffs/bsd44-be.hex");
  for (std::size_t length = 0; length < kPrimary + 1376; length += length < kPrimary ? 509 : 1) {
    const std::vector<std::byte> cut(good.begin(),
                                     good.begin() + static_cast<std::ptrdiff_t>(length));
    if (!claims_of(cut).empty()) FAIL("claimed at " << length);
  }
  for (const std::size_t length : {kPrimary + 1376, kCopy + 10, kCopy + 1376}) {
    const std::vector<std::byte> cut(good.begin(),
                                     good.begin() + static_cast<std::ptrdiff_t>(length));
    CHECK(claims_of(cut).size() == 1);
  }
}

TEST_CASE("FFS: the magic in random bytes is no filesystem", "[ffs]") {
  std::mt19937 random(19830801);
  std::vector<std::byte> bytes(16384);
  const std::uint32_t magics[] = {0x00011954, 0x19540119, 0x00095014, 0x19960408, 0x05231994};
  for (int round = 0; round < 10000; ++round) {
    for (std::size_t i = 0; i < bytes.size(); i += 4) {
      put32(bytes, i, static_cast<std::uint32_t>(random()));
    }
    const ByteOrder order = round % 2 == 0 ? ByteOrder::big : ByteOrder::little;
    for (const std::uint64_t place : {0U, 8192U}) {
      put32(bytes, place + 1372, magics[round % 5], order);
    }
    if (!claims_of(bytes).empty() || !claims_of(bytes, ufs2_format).empty()) {
      FAIL("random bytes of round " << round << " were claimed");
    }
  }
}

}  // namespace
}  // namespace platter::test
