// Minix volumes and the boot filesystem against their makers in util-linux, its checker fsck.minix,
// and libblkid. The makers take no tree of files, so filled volumes come from our own writers; the
// checker then says whether they are sound.
#include <filesystem>

#include <catch2/catch.hpp>

#include "filesystem/minix_structures.h"
#include "formats.h"
#include "reference/blkid_probe.h"
#include "support/survey.h"
#include "support/tree.h"
#include "writers/bfs_writer.h"
#include "writers/minix_writer.h"

namespace platter::test {
namespace {

Claim only_claim(const char* format, const std::string& path) {
  const View view(map_file(path));
  auto found = find_format(format)->claims(view, {.image = view});
  REQUIRE(found.size() == 1);
  return std::move(found.front());
}

// The number behind a word in what a maker prints: "Firstdatazone=19 (19)", "480 inodes".
std::uint64_t number_behind(const std::string& text, const std::string& word) {
  const std::size_t at = text.find(word);
  REQUIRE(at != std::string::npos);
  return std::stoull(text.substr(at + word.size()));
}
std::uint64_t number_before(const std::string& text, const std::string& word) {
  const std::size_t at = text.find(word);
  REQUIRE(at != std::string::npos);
  const std::size_t line = text.rfind('\n', at);
  return std::stoull(text.substr(line == std::string::npos ? 0 : line + 1));
}

TEST_CASE("minix: empty volumes of mkfs.minix", "[minix]") {
  struct Made {
    const char* options;
    const char* size;
    unsigned version;
    unsigned name_bytes;
  };
  const Made all[] = {{"-1 -n 14", "1440K", 1, 14},  {"-1 -n 30", "1440K", 1, 30},
                      {"-1 -n 30", "63M", 1, 30},    {"-2 -n 14", "10M", 2, 14},
                      {"-2 -n 30", "100M", 2, 30},   {"-3", "40M", 3, 60},
                      {"-3 -i 5000", "300M", 3, 60}, {"-1 -i 32", "360K", 1, 30}};
  const TemporaryDirectory directory;
  for (const Made& made : all) {
    const std::string path = directory.file("volume.img");
    std::filesystem::remove(path);
    REQUIRE(run("truncate -s " + std::string(made.size) + " " + shell_word(path)).status == 0);
    const RunResult maker =
        run("LC_ALL=C mkfs.minix " + std::string(made.options) + " " + shell_word(path) + " 2>&1");
    CAPTURE(made.options, made.size, maker.out);
    REQUIRE(maker.status == 0);
    const Claim claim = only_claim("minix", path);
    CHECK(claim.strength == Strength::sane);
    for (const Finding& finding : claim.findings)
      FAIL_CHECK(finding.message);
    CHECK(claim.facts.words("byte_order") == "little");
    CHECK(claim.facts.number("version") == made.version);
    CHECK(std::to_string(made.version) == blkid_value(path, "VERSION"));
    CHECK(blkid_value(path, "TYPE") == "minix");
    CHECK(claim.facts.number("name_bytes") == made.name_bytes);
    CHECK(claim.facts.number("inodes") == number_before(maker.out, " inodes"));
    CHECK(claim.bytes == 1024 * number_before(maker.out, " blocks"));
    CHECK(claim.facts.number("zone_bytes") == number_behind(maker.out, "Zonesize="));
    // The root directory has one zone, and one inode is in use.
    CHECK(claim.facts.number("used_bytes") ==
          1024 * (number_behind(maker.out, "Firstdatazone=") + 1));
    CHECK(claim.facts.number("files") == 1);
    if (made.version != 3) CHECK(claim.facts.words("clean") == "clean");
    const View view(map_file(path));
    const auto volume = open_volume("minix", view);
    CHECK(tree_of_volume(*volume, view).empty());
    const Attributes root = volume->attributes(volume->root());
    CHECK(root.type == NodeType::directory);
    CHECK(root.mode == 0755U);
    CHECK(root.links == 2U);
    volume->check_records();
    for (const Finding& finding : volume->take_findings())
      FAIL_CHECK(finding.message);
  }
}

// fsck.minix reads every inode, pointer and map bit; it knows little-endian volumes of this
// machine.
TEST_CASE("minix: fsck.minix finds nothing wrong with the writer's volumes", "[minix]") {
  const TemporaryDirectory directory;
  for (unsigned version = 1; version <= 3; ++version) {
    for (const bool long_names : {false, true}) {
      fixtures::MinixWriter writer({.version = version, .long_names = long_names, .zones = 3000});
      std::string content(900 * 1024 + 5, 'c');
      for (std::size_t i = 0; i < content.size(); i += 1000)
        content[i] = static_cast<char>(i / 1000);
      writer.add_file("large", content, {.uid = 100, .gid = 50, .modified = 700000000});
      writer.add_file("usr/lib/libc.a", std::string(20000, 'l')).add_file("empty", "");
      writer.add_symlink("usr/link", "lib/libc.a").add_link("again", "large");
      writer.add_device("dev/console", 0020000, 5, 1).add_device("dev/hd1", 0060000, 3, 1);
      for (int i = 0; i < 90; ++i)
        writer.add_file("tmp/file." + std::to_string(i), "x");
      const auto bytes = writer.build();
      const std::string path = directory.file("volume.img");
      write_file(path, bytes);
      const RunResult checker = run("LC_ALL=C fsck.minix -f -l -v " + shell_word(path) + " 2>&1");
      CAPTURE(version, long_names, checker.out);
      CHECK(checker.status == 0);
      const View view(map_file(path));
      const auto volume = open_volume("minix", view);
      const Tree tree = tree_of_volume(*volume, view);
      for (const auto& [name, file] : tree) {
        CAPTURE(name);
        CHECK(checker.out.find("/" + name.substr(name.rfind('/') + 1)) != std::string::npos);
      }
      std::uint64_t directories = 1;
      for (const auto& [name, file] : tree)
        directories += file.type == "directory" ? 1 : 0;
      CHECK(number_before(checker.out, " directories") == directories);
      CHECK(number_before(checker.out, " symbolic links") == 1);
      CHECK(number_before(checker.out, " character device files") == 1);
      CHECK(number_before(checker.out, " block device files") == 1);
      const Claim claim = only_claim("minix", path);
      CHECK(number_before(checker.out, " inodes used") == claim.facts.number("files"));
      CHECK(number_before(checker.out, " zones used") == claim.facts.number("used_bytes") / 1024);
    }
  }
}

TEST_CASE("bfs: empty volumes of mkfs.bfs", "[bfs]") {
  const TemporaryDirectory directory;
  for (const char* inodes : {"48", "64", "504"}) {
    for (const char* size : {"1M", "10M"}) {
      const std::string path = directory.file("volume.img");
      std::filesystem::remove(path);
      REQUIRE(run("truncate -s " + std::string(size) + " " + shell_word(path)).status == 0);
      const RunResult maker = run("LC_ALL=C mkfs.bfs -v -N " + std::string(inodes) +
                                  " -V museum -F stand " + shell_word(path) + " 2>&1");
      CAPTURE(inodes, size, maker.out);
      REQUIRE(maker.status == 0);
      const Claim claim = only_claim("bfs", path);
      CHECK(claim.strength == Strength::sane);
      CHECK(claim.findings.empty());
      CHECK(claim.bytes == std::filesystem::file_size(path));
      CHECK(claim.facts.words("volume_name") == "museum");
      CHECK(claim.facts.words("filesystem_name") == "stand");
      CHECK(claim.facts.words("byte_order") == "little");
      CHECK(claim.facts.words("clean") == "clean");
      CHECK(std::to_string(claim.facts.number("inodes")) == inodes);
      CHECK(claim.facts.number("inodes") == number_behind(maker.out, "Inodes: "));
      CHECK(blkid_value(path, "TYPE") == "bfs");
      const View view(map_file(path));
      const auto volume = open_volume("bfs", view);
      CHECK(tree_of_volume(*volume, view).empty());
      CHECK(volume->attributes(volume->root()).type == NodeType::directory);
      CHECK(volume->attributes(volume->root()).mode == 0755U);
      volume->check_records();
      CHECK(volume->take_findings().empty());
      // What the maker writes, our writer writes too, but for times and the directory's links.
      fixtures::BfsWriter writer({.volume_bytes = claim.bytes,
                                  .inodes = std::stoull(inodes),
                                  .name = "stand",
                                  .volume = "museum"});
      const auto ours = writer.build();
      const auto theirs = read_file(path);
      CHECK(std::equal(ours.begin(), ours.begin() + 512, theirs.begin()));
      const std::size_t start = 512 + std::stoull(inodes) * 64;
      CHECK(std::equal(ours.begin() + static_cast<std::ptrdiff_t>(start), ours.end(),
                       theirs.begin() + static_cast<std::ptrdiff_t>(start)));
    }
  }
}

}  // namespace
}  // namespace platter::test
