// A lone FFS volume whose bytes are reversed in groups of four: its magic is right in the other
// byte order and most numbers with it. Only the root directory and text tell.
#include <algorithm>

#include <catch2/catch.hpp>

#include "support/survey.h"
#include "unit/filesystem/ffs_support.h"

namespace platter::test {
namespace {

std::vector<std::byte> reversed(std::vector<std::byte> bytes) {
  for (std::size_t i = 0; i + 4 <= bytes.size(); i += 4) {
    std::reverse(bytes.begin() + static_cast<std::ptrdiff_t>(i),
                 bytes.begin() + static_cast<std::ptrdiff_t>(i) + 4);
  }
  return bytes;
}

std::vector<std::byte> lone_volume(const FfsCase& its_case, std::string last_mount) {
  fixtures::FfsOptions options = its_case.options;
  options.volume_bytes = 2 << 20;
  options.last_mount = std::move(last_mount);
  return fixtures::FfsWriter(options).add_file("README", "text").build();
}

TEST_CASE("a lone FFS volume with swapped 32-bit words is found behind the swap", "[ffs]") {
  for (const FfsCase& its_case : ffs_cases()) {
    // Without a mount point, nothing in the superblock of the older dialects tells.
    for (const char* mount : {"", "/usr"}) {
      CAPTURE(its_case.name, mount);
      const auto plain = lone_volume(its_case, mount);
      const Survey expected = survey_bytes(plain);
      const Survey found = survey_bytes(reversed(plain));
      CAPTURE(findings_of(found));
      const std::string format = its_case.format();
      REQUIRE(found.layers.size() == 1);
      CHECK(found.layers[0].id == "swap32");
      CHECK(fact(found, "swap32/" + format, "byte_order") == fact(expected, format, "byte_order"));
      CHECK(fact(found, "swap32/" + format, "dialect") == fact(expected, format, "dialect"));
      CHECK(found.findings.size() == 1);
      CHECK(has_finding(found, FindingCode::bytes_swapped));
    }
  }
}

TEST_CASE("a lone FFS volume in the plain is never called swapped", "[ffs]") {
  for (const FfsCase& its_case : ffs_cases()) {
    CAPTURE(its_case.name);
    const Survey found = survey_bytes(lone_volume(its_case, ""));
    REQUIRE(found.layers.size() == 1);
    CHECK(found.layers[0].id == its_case.format());
    CHECK(found.layers[0].strength == Strength::proven);
    CHECK(found.findings.empty());
  }
}

TEST_CASE("where the root directory is missing, its order is not guessed", "[ffs]") {
  // Cut behind the group's records: both readings are left as sure as their superblocks make them.
  const FfsCase its_case = ffs_cases().front();
  auto plain = lone_volume(its_case, "");
  plain.resize(65536);
  const Survey found = survey_bytes(plain);
  REQUIRE(found.layers.size() == 1);
  CHECK(found.layers[0].format == "ffs");
  CHECK(fact(found, "ffs", "directory_entries").empty());
}

}  // namespace
}  // namespace platter::test
