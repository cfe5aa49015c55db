// Linux swap areas: headers typed from the kernel's structure, then spoiled.
#include <random>

#include <catch2/catch.hpp>

#include "core/claim.h"
#include "core/record.h"
#include "support/hexfile.h"
#include "support/survey.h"

namespace platter::filesystem {
extern const Format swap_format;
}

namespace platter::test {
namespace {

std::vector<Claim> claims_of(const std::vector<std::byte>& bytes) {
  const View view = view_of(bytes);
  return filesystem::swap_format.claims(view, {.image = view});
}
std::uint64_t number(const Claim& claim, std::string_view name) {
  return claim.facts.number(name, 12345678901);
}
void put32(std::vector<std::byte>& bytes, std::uint64_t at, std::uint32_t value) {
  encode_unsigned(std::span(bytes).subspan(at, 4), value, ByteOrder::little);
}
void put_text(std::vector<std::byte>& bytes, std::uint64_t at, std::string_view text) {
  for (std::size_t i = 0; i < text.size(); ++i)
    bytes[at + i] = static_cast<std::byte>(text[i]);
}

TEST_CASE("swap: version 1", "[swap]") {
  const auto found = claims_of(hex_fixture("filesystem/swap/version1.hex"));
  REQUIRE(found.size() == 1);
  const Claim& claim = found.front();
  CHECK(claim.strength == Strength::sane);
  CHECK(claim.findings.empty());
  CHECK(claim.bytes == 1024 * 4096);
  CHECK(claim.facts.words("byte_order") == "little");
  CHECK(number(claim, "block_bytes") == 4096);
  CHECK(number(claim, "version") == 1);
  CHECK(number(claim, "last_page") == 1023);
  CHECK(number(claim, "bad_pages") == 2);
  CHECK(claim.facts.words("volume_name") == "swap-one");
  CHECK(claim.facts.words("uuid") == "00112233-4455-6677-8899-aabbccddeeff");
}

TEST_CASE("swap: version 1 of a big-endian machine", "[swap]") {
  const auto found = claims_of(hex_fixture("filesystem/swap/version1-be.hex"));
  REQUIRE(found.size() == 1);
  CHECK(found[0].facts.words("byte_order") == "big");
  CHECK(number(found[0], "block_bytes") == 8192);
  CHECK(found[0].bytes == 4096 * 8192);
}

TEST_CASE("swap: version 0", "[swap]") {
  const auto found = claims_of(hex_fixture("filesystem/swap/version0.hex"));
  REQUIRE(found.size() == 1);
  CHECK(number(found[0], "version") == 0);
  CHECK(number(found[0], "usable_pages") == 1023);
  CHECK(found[0].bytes == 1024 * 4096);
}

TEST_CASE("swap: every page size", "[swap]") {
  for (const std::size_t page : {4096U, 8192U, 16384U, 32768U, 65536U}) {
    std::vector<std::byte> bytes(page);
    put32(bytes, 1024, 1);
    put32(bytes, 1028, 99);
    put_text(bytes, page - 10, "SWAPSPACE2");
    const auto found = claims_of(bytes);
    CAPTURE(page);
    REQUIRE(found.size() == 1);
    CHECK(found[0].bytes == 100 * page);
    CHECK(number(found[0], "block_bytes") == page);
  }
}

TEST_CASE("swap: spoiled headers", "[swap]") {
  auto bytes = hex_fixture("filesystem/swap/version1.hex");
  SECTION("too many bad pages for the page") {
    put32(bytes, 1032, 638);
    const auto found = claims_of(bytes);
    REQUIRE(found.size() == 1);
    CHECK(found[0].strength == Strength::magic);
    REQUIRE(found[0].findings.size() == 1);
    CHECK(found[0].findings[0].message ==
          "the swap header counts 638 bad pages, expected at most 637");
    CHECK(found[0].findings[0].start == 1032);
  }
  SECTION("no pages") {
    put32(bytes, 1028, 0);
    CHECK(claims_of(bytes).empty());
  }
  SECTION("another version") {
    put32(bytes, 1024, 2);
    CHECK(claims_of(bytes).empty());
  }
  SECTION("a text about it") {
    std::vector<std::byte> text(4096, std::byte{'t'});
    put_text(text, 4086, "SWAP-SPACE");
    CHECK(claims_of(text).empty());
    put_text(text, 4086, "SWAPSPACE2");
    CHECK(claims_of(text).empty());
  }
}

TEST_CASE("swap: flips and cuts", "[swap]") {
  for (const char* name : {"version0", "version1", "version1-be"}) {
    const auto good = hex_fixture(std::string("filesystem/swap/") + name + ".hex");
    auto bytes = good;
    for (std::size_t i = 0; i < good.size(); ++i) {
      if (i >= 2048 && i + 10 < good.size()) continue;
      bytes[i] ^= std::byte{0xFF};
      const auto found = claims_of(bytes);
      CHECK(found.size() <= 1);
      if (i + 10 >= good.size()) CHECK(found.empty());
      bytes[i] ^= std::byte{0xFF};
    }
    for (std::size_t length = 0; length < good.size(); ++length) {
      const std::vector<std::byte> cut(good.begin(),
                                       good.begin() + static_cast<std::ptrdiff_t>(length));
      if (!claims_of(cut).empty()) FAIL(name << " claimed at " << length);
    }
  }
}

TEST_CASE("swap: the signature in random bytes is no swap area", "[swap]") {
  std::mt19937 random(19910917);
  std::vector<std::byte> bytes(16384);
  for (int round = 0; round < 10000; ++round) {
    for (auto& value : bytes)
      value = static_cast<std::byte>(random());
    put_text(bytes, round % 3 == 0 ? 4086 : 8182, round % 2 == 0 ? "SWAPSPACE2" : "SWAP-SPACE");
    if (!claims_of(bytes).empty()) FAIL("random bytes of round " << round << " were claimed");
  }
}

}  // namespace
}  // namespace platter::test
