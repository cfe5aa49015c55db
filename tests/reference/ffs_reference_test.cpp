// FFS against what shares no code with platter: volumes made by makefs, judged by what it was told
// and printed, by libblkid, and by a block-by-block count with offsets of its own.
#include <cstdio>
#include <filesystem>

#include <catch2/catch.hpp>

#include "core/claim.h"
#include "reference/blkid_probe.h"
#include "support/ffs_volume_check.h"
#include "support/survey.h"
#include "writers/ffs_writer.h"

namespace platter::filesystem {
extern const Format ffs_format;
extern const Format ufs2_format;
}  // namespace platter::filesystem

namespace platter::test {
namespace {

std::vector<Claim> claims_of(const std::vector<std::byte>& bytes, const Format& format) {
  const View view = view_of(bytes);
  return format.claims(view, {.image = view});
}

struct Made {
  std::vector<std::byte> bytes;
  std::string printed;
  std::string path;
};

std::string text(std::size_t bytes) {
  return std::string(bytes, 'x');
}

void put_file(const std::string& path, std::size_t bytes) {
  const std::string content = text(bytes);
  const auto* data = reinterpret_cast<const std::byte*>(content.data());
  write_file(path, {data, data + bytes});
}

constexpr std::size_t kFiles[] = {0, 1, 3000, 20000, 120000, 900000};

void make_tree(const std::string& root) {
  std::filesystem::create_directories(root + "/sub");
  for (std::size_t i = 0; i < std::size(kFiles); ++i) {
    put_file(root + (i % 2 == 0 ? "/f" : "/sub/f") + std::to_string(i), kFiles[i]);
  }
  std::filesystem::create_symlink("f0", root + "/link");
}

struct Told {
  const char* order;
  int version;
  unsigned block;
  unsigned fragment;
  unsigned long long bytes;
};

Made make(const TemporaryDirectory& directory, const Told& told) {
  Made made;
  made.path = directory.file("volume.img");
  // Small groups, so that there are several of them.
  const std::string command =
      "makefs -t ffs -B " + std::string(told.order) + " -s " + std::to_string(told.bytes) +
      " -o version=" + std::to_string(told.version) + ",bsize=" + std::to_string(told.block) +
      ",fsize=" + std::to_string(told.fragment) + ",maxbpcg=2000 " + shell_word(made.path) + " " +
      shell_word(directory.file("tree")) + " 2>&1";
  const RunResult result = run(command);
  CAPTURE(command, result.out, result.err);
  REQUIRE(result.status == 0);
  made.printed = result.out;
  made.bytes = read_file(made.path);
  return made;
}

// Bytes that the tree needs in whole fragments, by the rules of the format: 12 direct blocks, after
// which there are whole blocks only and a block of addresses; two directories of one chunk each.
std::uint64_t bytes_needed(const Told& told) {
  std::uint64_t sum = 2ULL * told.fragment;
  const auto up = [](std::uint64_t value, std::uint64_t unit) {
    return (value + unit - 1) / unit * unit;
  };
  for (const std::size_t bytes : kFiles) {
    const bool indirect = bytes > 12ULL * told.block;
    sum += indirect ? up(bytes, told.block) + told.block : up(bytes, told.fragment);
  }
  return sum;
}

void check(const TemporaryDirectory& directory, const Told& told) {
  CAPTURE(told.order, told.version, told.block, told.fragment);
  const Made made = make(directory, told);
  const Format& format = told.version == 1 ? filesystem::ffs_format : filesystem::ufs2_format;
  const Format& other = told.version == 1 ? filesystem::ufs2_format : filesystem::ffs_format;
  CHECK(claims_of(made.bytes, other).empty());
  const auto found = claims_of(made.bytes, format);
  REQUIRE(found.size() == 1);
  const Claim& claim = found.front();
  CHECK(claim.strength == Strength::proven);
  for (const Finding& finding : claim.findings)
    FAIL_CHECK(finding.message);
  const auto number = [&](const char* name) { return claim.facts.number(name, ~0ULL); };
  CHECK(claim.facts.words("byte_order") == (told.order == std::string("be") ? "big" : "little"));
  CHECK(claim.facts.words("dialect") == (told.version == 1 ? "4.4BSD" : "UFS2"));
  CHECK(number("block_bytes") == told.block);
  CHECK(number("fragment_bytes") == told.fragment);
  CHECK(number("volume_bytes") == told.bytes);
  CHECK(claim.bytes == made.bytes.size());
  CHECK(claim.facts.words("clean") == "clean");
  CHECK(number("used_bytes") == bytes_needed(told));
  // "using 4 cylinder groups of 2.00MB, 256 blks, 512 inodes."
  unsigned groups = 0;
  unsigned inodes = 0;
  const std::size_t line = made.printed.find("using ");
  REQUIRE(line != std::string::npos);
  REQUIRE(std::sscanf(made.printed.c_str() + line,
                      "using %u cylinder groups of %*[^,], %*u blks, %u inodes", &groups,
                      &inodes) == 2);
  CHECK(number("groups") == groups);
  CHECK(number("inodes") == groups * inodes);
  CHECK(blkid_value(made.path, "TYPE") == "ufs");
  CHECK(blkid_value(made.path, "VERSION") == std::to_string(told.version));
  CHECK(blkid_value(made.path, "BLOCK_SIZE") == std::to_string(number("fragment_bytes")));
  if (told.version == 2) return;
  const FfsCheck counted = check_ffs_volume(made.bytes, told.order == std::string("be"), true);
  for (const std::string& problem : counted.problems)
    FAIL_CHECK(problem);
  CHECK(number("used_bytes") == counted.used_bytes);
}

TEST_CASE("FFS: volumes made by makefs", "[ffs]") {
  const TemporaryDirectory directory;
  make_tree(directory.file("tree"));
  for (const char* order : {"be", "le"}) {
    for (const int version : {1, 2}) {
      check(directory, {order, version, 4096, 512, 8 << 20});
      check(directory, {order, version, 8192, 1024, 10 << 20});
      check(directory, {order, version, 8192, 8192, 12 << 20});
      check(directory, {order, version, 16384, 2048, 16 << 20});
      check(directory, {order, version, 32768, 4096, 32 << 20});
      check(directory, {order, version, 65536, 8192, 48 << 20});
    }
  }
}

TEST_CASE("FFS: volumes of our writer as libblkid sees them", "[ffs]") {
  using fixtures::FfsStyle;
  const TemporaryDirectory directory;
  for (const FfsStyle style :
       {FfsStyle::bsd42, FfsStyle::svr4, FfsStyle::bsd44, FfsStyle::bsd44_old, FfsStyle::ufs2}) {
    for (const ByteOrder order : {ByteOrder::big, ByteOrder::little}) {
      fixtures::FfsOptions options;
      options.style = style;
      options.order = order;
      options.time = 700000000;
      options.volume_name = "GANNET";
      const std::string path = directory.file("ours.img");
      write_file(path, fixtures::FfsWriter(options).add_file("a", "b").build());
      CHECK(blkid_value(path, "TYPE") == "ufs");
      const bool ufs2 = style == FfsStyle::ufs2;
      CHECK(blkid_value(path, "VERSION") == (ufs2 ? "2" : "1"));
      CHECK(blkid_value(path, "BLOCK_SIZE") == "1024");
      if (ufs2) CHECK(blkid_value(path, "LABEL") == "GANNET");
    }
  }
}

}  // namespace
}  // namespace platter::test
