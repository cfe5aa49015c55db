// What a run of bytes belongs to.
#include "survey/owners.h"

#include <algorithm>

#include <catch2/catch.hpp>

#include "support/survey.h"
#include "writers/demo_images.h"

namespace platter::test {
namespace {

std::vector<std::string> words_for(const Survey& survey, std::uint64_t start, std::uint64_t bytes) {
  std::vector<std::string> words;
  for (const Owner& owner : owners_of(survey.layers, start, bytes)) {
    words.push_back(owner_words(owner));
  }
  return words;
}

bool any_has(const std::vector<std::string>& all, std::string_view part) {
  return std::ranges::any_of(
      all, [&](const std::string& words) { return words.find(part) != std::string::npos; });
}

TEST_CASE("a structure owns its bytes rather than its volume, a volume rather than its slice") {
  const Survey disk = survey_bytes(fixtures::demo_system_disk());
  const auto label = words_for(disk, 0, 512);
  CHECK(any_has(label, "Sun disk label of sun"));
  const Layer* root = layer(disk, "sun/a/ffs");
  REQUIRE(root != nullptr);
  CHECK(words_for(disk, root->start + root->bytes / 2, 512) ==
        std::vector<std::string>{"volume sun/a/ffs"});
  const auto superblock = words_for(disk, root->start + 8192, 1);
  CHECK(any_has(superblock, " of sun/a/ffs"));
  CHECK_FALSE(any_has(superblock, "volume sun/a/ffs"));
  const Layer* swap = layer(disk, "sun/b");
  REQUIRE(swap != nullptr);
  CHECK(words_for(disk, swap->start + 4096, 512) == std::vector<std::string>{"slice sun/b"});
}

TEST_CASE("what lies on a border belongs to both sides, what lies nowhere to nobody") {
  const Survey disk = survey_bytes(fixtures::demo_system_disk());
  const Layer* swap = layer(disk, "sun/b");
  REQUIRE(swap != nullptr);
  CHECK(words_for(disk, swap->start - 512, 1024).size() == 2);
  CHECK(owners_of(disk.layers, kLargest - 10, 5).empty());
  CHECK(owners_of({}, 0, 512).empty());
}

}  // namespace
}  // namespace platter::test
