// The files of FFS and UFS2 volumes against the trees that makefs made them from: every path, type,
// size, mode, owner, time, link and content.
#include <fcntl.h>
#include <sys/stat.h>

#include <array>
#include <filesystem>
#include <fstream>

#include <catch2/catch.hpp>

#include "files/walk.h"
#include "support/survey.h"
#include "support/tree.h"

namespace platter::test {
namespace {

struct Told {
  const char* order;
  int version;
  unsigned block;
  unsigned fragment;
  unsigned sector = 512;
  unsigned bytes = 32U << 20U;
};

std::vector<std::byte> made_volume(const TemporaryDirectory& directory, const Told& told) {
  const std::string path = directory.file("volume.img");
  const std::string command =
      "makefs -t ffs -B " + std::string(told.order) + " -S " + std::to_string(told.sector) +
      " -s " + std::to_string(told.bytes) + " -o version=" + std::to_string(told.version) +
      ",bsize=" + std::to_string(told.block) + ",fsize=" + std::to_string(told.fragment) +
      ",maxbpcg=1000 " + shell_word(path) + " " + shell_word(directory.file("tree"));
  const RunResult result = run(command);
  CAPTURE(command, result.out, result.err);
  REQUIRE(result.status == 0);
  return read_file(path);
}

// Everything that platter says of a sound volume besides its files: no finding, and a map that has
// no gap and counts as many free bytes as the superblock.
void check_records_and_map(Volume& volume, const std::vector<std::byte>& image,
                           const Survey& survey, const char* format) {
  volume.check_records();
  for (const Finding& finding : volume.take_findings())
    FAIL_CHECK(finding.message);
  std::uint64_t next = 0;
  std::uint64_t free = 0;
  std::uint64_t used = 0;
  volume.each_run([&](const BlockRun& run) {
    CHECK(run.start == next);
    next = run.start + run.bytes;
    if (run.use == BlockUse::free) free += run.bytes;
    if (run.use == BlockUse::used) used += run.bytes;
    return true;
  });
  CHECK(next == image.size());
  const Layer* found = layer(survey, format);
  REQUIRE(found != nullptr);
  CHECK(found->facts.number("free_bytes") == free);
  CHECK(found->facts.number("used_bytes") == used);
}

void check(const TemporaryDirectory& directory, const Told& told) {
  CAPTURE(told.order, told.version, told.block, told.fragment, told.sector);
  const auto image = made_volume(directory, told);
  const View view = view_of(image);
  const char* format = told.version == 1 ? "ffs" : "ufs2";
  const auto volume = open_volume(format, view);
  const Tree ours = tree_of_volume(*volume, view);
  const Tree theirs = tree_of_directory(directory.file("tree"));
  CHECK(differences(ours, theirs) == "");
  const Survey survey = survey_bytes(image);
  CHECK(survey.findings.empty());
  check_records_and_map(*volume, image, survey, format);
  const Layer* found = layer(survey, format);
  REQUIRE(found != nullptr);
  CHECK(found->facts.words("directory_entries") == "typed");
  std::uint64_t directories = 1;  // the root
  std::uint64_t names = 0;
  for (const auto& [path, file] : theirs) {
    directories += file.type == "directory" ? 1 : 0;
    names += file.type == "directory" ? 0 : 1;
  }
  CHECK(found->facts.number("directories") == directories);
  CHECK(found->facts.number("files") == names - 1);  // one file has two names
}

void make_source(const TemporaryDirectory& directory, std::uint64_t unit) {
  TreeRecipe recipe;
  recipe.unit = unit;
  recipe.largest = 5U << 20U;  // two levels of addresses with blocks of 4096 bytes
  recipe.entries = 1200;
  make_tree(directory.file("tree"), recipe);
  REQUIRE(mkfifo(directory.file("tree/pipe").c_str(), 0640) == 0);
  const std::array<timespec, 2> old{timespec{-86400, 0}, timespec{-86400, 0}};
  utimensat(AT_FDCWD, directory.file("tree/one").c_str(), old.data(), 0);
}

TEST_CASE("FFS: every file of a makefs volume is as in its source tree", "[ffs][files]") {
  const TemporaryDirectory directory;
  make_source(directory, 1024);
  for (const char* order : {"be", "le"}) {
    for (const int version : {1, 2}) {
      check(directory, {order, version, 4096, 512});
      check(directory, {order, version, 8192, 1024});
      check(directory, {order, version, 16384, 2048, 2048});
      check(directory, {order, version, 65536, 8192});
    }
  }
}

TEST_CASE("UFS2: times beyond 32 bits are those of the source", "[ffs][files]") {
  const TemporaryDirectory directory;
  std::filesystem::create_directories(directory.file("tree"));
  const std::pair<const char*, std::int64_t> times[] = {
      {"far", 7'000'000'000}, {"late", 4'102'444'800}, {"early", -1'000'000'000}};
  for (const auto& [name, seconds] : times) {
    const std::string path = directory.file("tree/" + std::string(name));
    write_file(path, {});
    const std::array<timespec, 2> both{timespec{seconds, 0}, timespec{seconds, 0}};
    REQUIRE(utimensat(AT_FDCWD, path.c_str(), both.data(), 0) == 0);
  }
  for (const char* order : {"be", "le"}) {
    const auto image = made_volume(directory, {order, 2, 8192, 1024, 512, 1U << 20U});
    const View view = view_of(image);
    const auto volume = open_volume("ufs2", view);
    CHECK(differences(tree_of_volume(*volume, view), tree_of_directory(directory.file("tree"))) ==
          "");
  }
}

TEST_CASE("FFS: devices of a makefs volume", "[ffs][files]") {
  const TemporaryDirectory directory;
  std::filesystem::create_directories(directory.file("tree/dev"));
  const std::string words =
      "#mtree\n. type=dir mode=0755 uid=0 gid=0\n./dev type=dir mode=0755 uid=0 gid=0\n"
      "./dev/disk type=block mode=0640 uid=3 gid=5 device=netbsd,16,130\n"
      "./dev/tape type=char mode=0600 uid=70000 gid=80000 device=netbsd,300,70000\n";
  std::ofstream(directory.file("spec")) << words;
  const std::string command = "makefs -t ffs -B be -F " + shell_word(directory.file("spec")) +
                              " -s 1m -o version=1 " + shell_word(directory.file("volume.img")) +
                              " " + shell_word(directory.file("tree"));
  const RunResult result = run(command);
  CAPTURE(result.out, result.err);
  REQUIRE(result.status == 0);
  const View view = view_of(read_file(directory.file("volume.img")));
  const auto volume = open_volume("ffs", view);
  const auto at = [&](std::string_view path) {
    const auto place = find_path(*volume, path);
    REQUIRE(place);
    return volume->attributes(place->node);
  };
  const Attributes disk = at("dev/disk");
  CHECK(disk.type == NodeType::block_device);
  CHECK(disk.mode == 0640U);
  CHECK(disk.device == DeviceNumber{16, 130});
  const Attributes tape = at("dev/tape");
  CHECK(tape.type == NodeType::char_device);
  CHECK(tape.uid == 70000U);
  CHECK(tape.gid == 80000U);
  CHECK(tape.device == DeviceNumber{300, 70000});
}

}  // namespace
}  // namespace platter::test
