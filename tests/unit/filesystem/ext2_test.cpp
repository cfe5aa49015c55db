// ext2 by its superblock: the bytes of a verified example, then spoiled.
#include <random>

#include <catch2/catch.hpp>

#include "core/claim.h"
#include "core/record.h"
#include "support/hexfile.h"
#include "support/survey.h"

namespace platter::filesystem {
extern const Format ext2_format;
}

namespace platter::test {
namespace {

constexpr std::uint64_t kPlace = 1024;

std::vector<Claim> claims_of(const std::vector<std::byte>& bytes) {
  const View view = view_of(bytes);
  return filesystem::ext2_format.claims(view, {.image = view});
}
std::uint64_t number(const Claim& claim, std::string_view name) {
  return claim.facts.number(name, 12345678901);
}
std::int64_t seconds(const Claim& claim, std::string_view name) {
  const FactValue* value = claim.facts.find(name);
  return value == nullptr ? 0 : std::get<Timestamp>(*value).seconds;
}
void put(std::vector<std::byte>& bytes, std::uint64_t at, std::uint64_t value, unsigned width) {
  encode_unsigned(std::span(bytes).subspan(kPlace + at, width), value, ByteOrder::little);
}

TEST_CASE("ext2: the verified example is read", "[ext2]") {
  const auto found = claims_of(hex_fixture("filesystem/ext2/rev1.hex"));
  REQUIRE(found.size() == 1);
  const Claim& claim = found.front();
  CHECK(claim.strength == Strength::sane);
  CHECK(claim.findings.empty());
  CHECK(claim.start == 0);
  CHECK(claim.bytes == 4194304);
  CHECK(claim.title == "ext2 filesystem");
  CHECK(claim.facts.words("byte_order") == "little");
  CHECK(claim.facts.words("variant") == "ext2");
  CHECK(number(claim, "block_bytes") == 1024);
  CHECK(number(claim, "volume_bytes") == 4194304);
  CHECK(claim.facts.words("volume_name") == "TESTVOL");
  CHECK(number(claim, "used_bytes") == 296 * 1024);
  CHECK(seconds(claim, "created") == 0x34F00000);
  CHECK(seconds(claim, "modified") == 0x35000000);
  CHECK(claim.facts.find("mounted") == nullptr);
  CHECK(claim.facts.words("last_mount") == "/mnt/disk");
  CHECK(claim.facts.words("uuid") == "00112233-4455-6677-8899-aabbccddeeff");
  CHECK(claim.facts.words("clean") == "clean");
  CHECK(number(claim, "revision") == 1);
  CHECK(number(claim, "groups") == 1);
  CHECK(number(claim, "inodes") == 1024);
  CHECK(number(claim, "free_inodes") == 1000);
  CHECK(number(claim, "features_incompatible") == 2);
  CHECK(number(claim, "features_read_only") == 1);
  CHECK(claim.facts.words("creator") == "Linux");
}

TEST_CASE("ext2: revision 0 in big-endian order", "[ext2]") {
  const auto found = claims_of(hex_fixture("filesystem/ext2/rev0-be.hex"));
  REQUIRE(found.size() == 1);
  const Claim& claim = found.front();
  CHECK(claim.findings.empty());
  CHECK(claim.facts.words("byte_order") == "big");
  CHECK(claim.bytes == 10000 * 1024);
  CHECK(number(claim, "groups") == 2);
  CHECK(number(claim, "revision") == 0);
  CHECK(claim.facts.words("clean") == "not clean");
  CHECK(claim.facts.find("volume_name") == nullptr);
  CHECK(claim.facts.find("uuid") == nullptr);
  CHECK(seconds(claim, "mounted") == 0x2E000100);
}

TEST_CASE("ext2: features decide the variant", "[ext2]") {
  auto bytes = hex_fixture("filesystem/ext2/rev1.hex");
  put(bytes, 92, 4, 4);  // a journal
  CHECK(claims_of(bytes).at(0).facts.words("variant") == "ext3");
  put(bytes, 96, 6, 4);  // that is to be replayed
  CHECK(claims_of(bytes).at(0).facts.words("variant") == "ext3");
  CHECK(claims_of(bytes).at(0).facts.words("clean") == "not clean");
  put(bytes, 96, 0x42, 4);  // extents
  CHECK(claims_of(bytes).at(0).title == "ext4 filesystem");
  put(bytes, 96, 2, 4);
  put(bytes, 100, 0x11, 4);  // descriptor checksums
  CHECK(claims_of(bytes).at(0).facts.words("variant") == "ext4");
}

TEST_CASE("ext2: a journal device is no filesystem", "[ext2]") {
  auto bytes = hex_fixture("filesystem/ext2/rev1.hex");
  put(bytes, 96, 8, 4);
  CHECK(claims_of(bytes).empty());
}

TEST_CASE("ext2: 64-bit counts", "[ext2]") {
  auto bytes = hex_fixture("filesystem/ext2/rev1.hex");
  put(bytes, 336, 1, 4);
  CHECK(claims_of(bytes).at(0).bytes == 4194304);  // not without the feature
  put(bytes, 96, 0x82, 4);
  const std::uint64_t blocks = (1ULL << 32U) + 4096;
  const std::uint64_t groups = (blocks - 1 + 8191) / 8192;
  put(bytes, 40, 8, 4);
  put(bytes, 0, groups * 8, 4);
  const auto found = claims_of(bytes);
  REQUIRE(found.size() == 1);
  CHECK(found[0].findings.empty());
  CHECK(found[0].bytes == blocks * 1024);
}

TEST_CASE("ext2: every field that contradicts the others is named", "[ext2]") {
  struct Spoiled {
    std::uint64_t offset;
    std::uint64_t value;
    unsigned width;
    const char* message;
  };
  const Spoiled all[] = {
      {0, 1025, 4,
       "the superblock's inodes_count is 1025, expected (groups times inodes_per_group) 1024"},
      {8, 4097, 4, "the superblock's r_blocks_count is 4097, expected at most blocks_count, 4096"},
      {12, 4097, 4,
       "the superblock's free_blocks_count is 4097, expected at most blocks_count, 4096"},
      {16, 1025, 4,
       "the superblock's free_inodes_count is 1025, expected at most inodes_count, 1024"},
      {20, 0, 4, "the superblock's first_data_block is 0, expected 1"},
      {28, 1, 4, "the superblock's log_cluster_size is 1, expected as log_block_size, 0"},
      {36, 8191, 4,
       "the superblock's clusters_per_group is 8191, expected as blocks_per_group, 8192"},
      {76, 7, 4, "the superblock's rev_level is 7, expected at most 1"},
      {84, 1025, 4, "the superblock's first_ino is 1025, expected at most inodes_count, 1024"},
      {88, 100, 2, "the superblock's inode_size is 100, expected a power of two from 128 to 1024"},
      {90, 3, 2, "the superblock's block_group_nr is 3, expected 0"}};
  for (const Spoiled& spoiled : all) {
    CAPTURE(spoiled.offset);
    auto bytes = hex_fixture("filesystem/ext2/rev1.hex");
    put(bytes, spoiled.offset, spoiled.value, spoiled.width);
    const auto found = claims_of(bytes);
    REQUIRE(found.size() == 1);
    CHECK(found[0].strength == Strength::magic);
    REQUIRE(found[0].findings.size() == 1);
    CHECK(found[0].findings[0].message == spoiled.message);
    CHECK(found[0].findings[0].start == kPlace + spoiled.offset);
    CHECK(found[0].findings[0].bytes == spoiled.width);
  }
  for (const auto& [offset, value] : {std::pair<std::uint64_t, std::uint64_t>{24, 7},
                                      {24, 0xFFFFFFFF},
                                      {32, 0},
                                      {4, 0},
                                      {4, 1},
                                      {20, 4096}}) {
    auto bytes = hex_fixture("filesystem/ext2/rev1.hex");
    put(bytes, offset, value, 4);
    CAPTURE(offset, value);
    CHECK(claims_of(bytes).empty());
  }
}

TEST_CASE("ext2: flips and cuts", "[ext2]") {
  const auto good = hex_fixture("filesystem/ext2/rev1.hex");
  auto bytes = good;
  for (std::size_t i = kPlace; i < kPlace + 1024; ++i) {
    for (const unsigned flip : {0x01U, 0x80U, 0xFFU}) {
      bytes[i] ^= static_cast<std::byte>(flip);
      CHECK(claims_of(bytes).size() <= 1);
      bytes[i] ^= static_cast<std::byte>(flip);
    }
  }
  for (std::size_t length = 0; length < good.size(); ++length) {
    const std::vector<std::byte> cut(good.begin(),
                                     good.begin() + static_cast<std::ptrdiff_t>(length));
    if (!claims_of(cut).empty()) FAIL("claimed at " << length);
  }
}

TEST_CASE("ext2: the magic in random bytes is no filesystem", "[ext2]") {
  std::mt19937 random(19930101);
  std::vector<std::byte> bytes(16384);
  for (int round = 0; round < 10000; ++round) {
    for (auto& value : bytes)
      value = static_cast<std::byte>(random());
    put(bytes, 56, round % 2 == 0 ? 0xEF53 : 0x53EF, 2);
    if (!claims_of(bytes).empty()) FAIL("random bytes of round " << round << " were claimed");
  }
}

}  // namespace
}  // namespace platter::test
