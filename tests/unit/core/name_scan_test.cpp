// Names looked through eight bytes at a time, against one byte at a time.
#include "core/name_scan.h"

#include <algorithm>
#include <string>

#include <catch2/catch.hpp>

namespace platter::test {
namespace {

bool slowly_plain(std::string_view name) {
  return !name.empty() && name.front() != '.' && std::ranges::all_of(name, [](char c) {
    return c >= ' ' && c <= '~' && c != '/' && c != '"' && c != '\\' && c != ';';
  });
}

TEST_CASE("every byte at every place of names of every short length", "[name-scan]") {
  // Neighbours at both ends of what is plain, so that a carry between bytes would show.
  for (const char neighbour : {' ', 'n', '~'}) {
    for (std::size_t length = 1; length <= 20; ++length) {
      std::string name(length, neighbour);
      REQUIRE(is_plain_name(name));
      REQUIRE_FALSE(has_slash_or_nul(name));
      for (std::size_t at = 0; at < length; ++at) {
        for (unsigned byte = 0; byte < 256; ++byte) {
          name[at] = static_cast<char>(byte);
          const bool cuts = name[at] == '/' || name[at] == '\0';
          if (is_plain_name(name) == slowly_plain(name) && has_slash_or_nul(name) == cuts) continue;
          CAPTURE(neighbour, length, at, byte);
          FAIL("a name is judged by its words otherwise than by its bytes");
        }
        name[at] = neighbour;
      }
    }
  }
  CHECK_FALSE(is_plain_name(""));
  CHECK_FALSE(has_slash_or_nul(""));
  CHECK_FALSE(is_plain_name(".profile"));
  CHECK(is_plain_name("README"));
}

}  // namespace
}  // namespace platter::test
