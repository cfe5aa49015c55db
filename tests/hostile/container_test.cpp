// Containers that are none, or that end early: refused with a reason, and nothing is left behind.
// The leak check of AddressSanitizer looks when the program ends.
#include <algorithm>
#include <optional>
#include <string>
#include <vector>

#include <catch2/catch.hpp>

#include "core/packed.h"

namespace platter::test {
namespace {

using namespace std::string_literals;

TEST_CASE("damaged containers are refused") {
  // A bare beginning of each kind that container_kind() tells.
  const std::vector<std::string> heads = {"\x1F\x8B\x08"s,
                                          "BZh91AY&SY"s,
                                          "\xFD"
                                          "7zXZ\0"s,
                                          "\x28\xB5\x2F\xFD"s,
                                          "\x1F\x9D\x90"s,
                                          "PK\x03\x04"s,
                                          "7z\xBC\xAF\x27\x1C"s,
                                          "070701"s};
  for (const std::string& head : heads) {
    CAPTURE(head);
    for (const std::size_t size : {head.size(), std::size_t{64}, std::size_t{4096}}) {
      for (const char filler : {'\0', '\xFF', '7'}) {
        std::vector<std::byte> bytes(size, static_cast<std::byte>(filler));
        std::ranges::transform(head, bytes.begin(), [](char c) { return std::byte(c); });
        try {
          const Unpacked unpacked = unpack(MemorySource(bytes), "damaged", std::nullopt, 1U << 20U);
          CHECK((unpacked.source == nullptr || unpacked.source->size() <= 1U << 20U));
        } catch (const IoError& error) {
          CHECK_FALSE(error.reason().empty());
        }
        CHECK_THROWS_AS(unpack(MemorySource(bytes), "damaged", "no such member", 1U << 20U),
                        IoError);
      }
    }
  }
}

TEST_CASE("nothing but the compressions that are announced is undone") {
  const std::vector<std::string> others = {
      "\x5D\x00\x00\x00\x08\xFF\xFF\xFF\xFF\xFF\xFF\xFF\xFF\x00"s,  // claims 128 MiB of memory
      "begin 644 a\n#:&5L\n`\nend\n"s, "LZIP\x01\x0C"s, "LRZI\x00\x06"s, "\x89LZO\x00\r\n\x1A\n"s};
  for (std::string other : others) {
    CAPTURE(other);
    other.resize(200);
    std::vector<std::byte> bytes(other.size());
    std::ranges::transform(other, bytes.begin(), [](char c) { return std::byte(c); });
    const Unpacked unpacked = unpack(MemorySource(bytes), "other", std::nullopt, 1U << 20U);
    CHECK(unpacked.container.empty());
    REQUIRE(unpacked.source != nullptr);
    CHECK(unpacked.source->size() == bytes.size());
  }
}

}  // namespace
}  // namespace platter::test
