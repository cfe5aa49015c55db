// What is no disk image at all must not be taken for one.
#include <random>

#include <catch2/catch.hpp>

#include "support/survey.h"

namespace platter::test {
namespace {

void check_nothing(std::vector<std::byte> bytes) {
  const Survey found = survey_bytes(std::move(bytes));
  CHECK(found.layers.empty());
  CHECK(found.findings.empty());
}

std::vector<std::byte> random_bytes(std::mt19937_64& random, std::size_t size) {
  std::vector<std::byte> bytes(size);
  for (std::size_t i = 0; i < size; i += 8) {
    const std::uint64_t word = random();
    for (std::size_t j = 0; j < 8 && i + j < size; ++j) {
      bytes[i + j] = static_cast<std::byte>(word >> (8 * j));
    }
  }
  return bytes;
}

TEST_CASE("empty, tiny, all-zero and all-one files hold nothing") {
  check_nothing({});
  check_nothing({std::byte{0x55}});
  for (const std::byte value : {std::byte{0}, std::byte{0xFF}, std::byte{0x20}}) {
    check_nothing(std::vector<std::byte>(1U << 20U, value));
  }
}

TEST_CASE("random bytes hold nothing") {
  std::mt19937_64 random(19850612);  // fixed, so that a failure can be seen again
  for (int i = 0; i < 400; ++i)
    check_nothing(random_bytes(random, 96 * 1024));
}

TEST_CASE("random bytes under a planted magic hold nothing") {
  struct Magic {
    std::size_t at;
    std::string bytes;
  };
  using namespace std::string_literals;
  const std::vector<Magic> magics = {{508, "\xDA\xBE"s},
                                     {0, "\x0B\xE5\xA9\x41"s},
                                     {0, "dlV3"s},
                                     {7680, "dlV2"s},
                                     {64, "\x57\x45\x56\x82"s},
                                     {510, "\x55\xAA"s},
                                     {9564, "\x00\x01\x19\x54"s},
                                     {1080, "\x53\xEF"s},
                                     {32768,
                                      "\x01"
                                      "CD001\x01"s},
                                     {4086, "SWAPSPACE2"s}};
  std::mt19937_64 random(4);
  for (const Magic& magic : magics) {
    CAPTURE(magic.at);
    for (int i = 0; i < 100; ++i) {
      auto bytes = random_bytes(random, 96 * 1024);
      for (std::size_t j = 0; j < magic.bytes.size(); ++j) {
        bytes[magic.at + j] = static_cast<std::byte>(magic.bytes[j]);
      }
      check_nothing(std::move(bytes));
    }
  }
}

}  // namespace
}  // namespace platter::test
