// Volumes of the FFS writer, read again by a second reader that shares nothing with it.
#include "writers/ffs_writer.h"

#include <catch2/catch.hpp>

#include "support/ffs_volume_check.h"

namespace platter::test {
namespace {

using fixtures::FfsOptions;
using fixtures::FfsStyle;
using fixtures::FfsWriter;

std::string filled(std::size_t bytes, unsigned seed) {
  std::string text(bytes, '\0');
  for (std::size_t i = 0; i < bytes; ++i) {
    seed = seed * 1103515245U + 12345U;
    text[i] = static_cast<char>(seed >> 16U);
  }
  return text;
}

// Ends in fragments, ends in a whole block, needs one and two levels of addresses, is empty.
void add_files(FfsWriter& writer, std::map<std::string, std::string>& files) {
  const std::pair<const char*, std::size_t> sizes[] = {{"empty", 0},
                                                       {"one", 1},
                                                       {"fragment", 1024},
                                                       {"etc/motd", 2500},
                                                       {"etc/block", 8192},
                                                       {"bin/twelve", 98304},
                                                       {"bin/thirteen", 98305},
                                                       {"bin/deep/far", 300000},
                                                       {"bin/deep/a", 5000},
                                                       {"bin/deep/b", 7000}};
  unsigned seed = 1;
  for (const auto& [path, bytes] : sizes) {
    files[path] = filled(bytes, ++seed);
    writer.add_file(path, files[path], {.permissions = 0640, .uid = 7, .gid = 8, .modified = 9});
  }
  for (int i = 0; i < 60; ++i) {
    const std::string path = "many/a_rather_long_name_for_a_file_" + std::to_string(i);
    files[path] = "";
    writer.add_file(path, "");
  }
  writer.add_symlink("short", "etc/motd");
  files["short"] = "-> etc/motd";
  const std::string far_away(80, 'x');
  writer.add_symlink("long", far_away);
  files["long"] = "-> " + far_away;
  for (const char* directory : {"", "etc", "bin", "bin/deep", "many"})
    files[directory] = "";
}

void check(FfsOptions options) {
  CAPTURE(static_cast<int>(options.style), byte_order_name(options.order), options.block_bytes,
          options.fragment_bytes, options.volume_bytes);
  FfsWriter writer(options);
  std::map<std::string, std::string> files;
  add_files(writer, files);
  const auto image = writer.build();
  REQUIRE(image.size() == options.volume_bytes);
  const FfsCheck checked =
      check_ffs_volume(image, options.order == ByteOrder::big, options.style == FfsStyle::bsd44);
  for (const std::string& problem : checked.problems)
    FAIL_CHECK(problem);
  CHECK(checked.files == files);
  CHECK(writer.build() == image);
}

TEST_CASE("volumes of the FFS writer are sound", "[ffs][writer]") {
  for (const FfsStyle style :
       {FfsStyle::bsd42, FfsStyle::svr4, FfsStyle::bsd44, FfsStyle::bsd44_old}) {
    for (const ByteOrder order : {ByteOrder::big, ByteOrder::little}) {
      FfsOptions options{.order = order, .style = style, .time = 700000000};
      check(options);
      options.volume_bytes = 7000000;  // ends inside a group, a block and a sector
      check(options);
      options.block_bytes = 4096;
      options.fragment_bytes = 512;
      check(options);
      options.fragment_bytes = 4096;
      check(options);
      options.block_bytes = 16384;
      options.fragment_bytes = 2048;
      options.volume_bytes = 3 << 20;
      check(options);
    }
  }
}

TEST_CASE("the FFS writer reaches the second level of addresses", "[ffs][writer]") {
  FfsOptions options{.style = FfsStyle::bsd42,
                     .volume_bytes = 12 << 20,
                     .block_bytes = 4096,
                     .fragment_bytes = 512};
  const std::string content = filled((12 + 1024 + 5) * 4096 + 17, 3);
  const auto image = FfsWriter(options).add_file("large", content).build();
  const FfsCheck checked = check_ffs_volume(image, true, false);
  for (const std::string& problem : checked.problems)
    FAIL_CHECK(problem);
  CHECK(checked.files.at("large") == content);
}

// The second reader must see faults, or its silence above would say nothing.
TEST_CASE("the second FFS reader sees every kind of fault", "[ffs][writer]") {
  const auto good = FfsWriter().add_file("a/file", filled(20000, 5)).build();
  REQUIRE(check_ffs_volume(good, true, false).problems.empty());
  const std::uint64_t group = 24576;
  const std::uint64_t root = 32768 + 2 * 128;
  const std::uint64_t places[] = {8192 + 196 + 3,
                                  8192 + 204 + 3,
                                  8192 + 200 + 3,
                                  8192 + 192 + 3,  // totals
                                  8192 + 40 + 3,   // data fragments
                                  16384 + 100,     // the copy
                                  group + 27,
                                  group + 31,
                                  group + 55,
                                  group + 168 + 3,       // counts, runs, cylinders
                                  group + 168 + 64 + 1,  // positions
                                  root + 3,
                                  root + 15,
                                  root + 43,
                                  root + 107};  // links, size, address, sectors
  for (const std::uint64_t place : places) {
    auto bad = good;
    bad[place] ^= std::byte{0x08};
    CAPTURE(place);
    CHECK_FALSE(check_ffs_volume(bad, true, false).problems.empty());
  }
}

TEST_CASE("the FFS writer refuses what it cannot write", "[ffs][writer]") {
  CHECK_THROWS_AS(FfsWriter({.order = ByteOrder::little, .style = FfsStyle::dialect_v}).build(),
                  std::invalid_argument);
  CHECK_THROWS_AS(FfsWriter({.style = FfsStyle::dialect_v, .fixed_entries = true})
                      .add_file("fifteen-letters", "")
                      .build(),
                  std::invalid_argument);
  CHECK_THROWS_AS(FfsWriter().add_hard_link("a", "b"), std::invalid_argument);
  CHECK_THROWS_AS(FfsWriter().add_directory("d").add_hard_link("a", "d"), std::invalid_argument);
  CHECK_THROWS_AS(FfsWriter({.block_bytes = 3000}).build(), std::invalid_argument);
  CHECK_THROWS_AS(FfsWriter({.fragment_bytes = 512}).build(), std::invalid_argument);
  CHECK_THROWS_AS(FfsWriter({.volume_bytes = 20000}).build(), std::invalid_argument);
  CHECK_THROWS_AS(FfsWriter({.sectors_per_track = 33}).build(), std::invalid_argument);
  CHECK_THROWS_AS(FfsWriter().add_file("a", "").add_file("a", ""), std::invalid_argument);
  CHECK_THROWS_AS(FfsWriter().add_file("/a", ""), std::invalid_argument);
  CHECK_THROWS_AS(FfsWriter().add_file("a", "").add_file("a/b", ""), std::invalid_argument);
  CHECK_THROWS_AS(FfsWriter().add_file("..", ""), std::invalid_argument);
  CHECK_THROWS_AS(FfsWriter().add_file("a", std::string(5 << 20, 'x')).build(), std::length_error);
}

}  // namespace
}  // namespace platter::test
