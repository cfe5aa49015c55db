// FAT against what shares no code with platter: volumes made by mkfs.fat (dosfstools), filled by
// mcopy (mtools), named by libblkid.
#include <filesystem>
#include <fstream>

#include <catch2/catch.hpp>

#include "reference/blkid_probe.h"
#include "unit/filesystem/fat_support.h"

namespace platter::test {
namespace {

// FAT keeps neither modes nor owners, and mcopy does not carry the times of directories over.
Tree comparable(Tree tree) {
  tree = seen_as(std::move(tree), {.modes = false, .ids = false, .links = false, .time_step = 2});
  for (auto& [path, file] : tree) {
    if (file.type == "directory") file.modified.reset();
  }
  return tree;
}

struct Recipe {
  const char* width;
  const char* options;  ///< of mkfs.fat
  std::uint64_t kib;
  std::uint64_t cluster;
  bool upper_case;
};

constexpr Recipe kRecipes[] = {{"12", "", 1440, 512, true},
                               {"12", "-s 8", 8192, 4096, false},
                               {"12", "-f 1 -r 512 -s 16", 16384, 8192, false},
                               {"16", "", 16384, 2048, true},
                               {"16", "-s 1 -r 64", 16384, 512, false},
                               {"16", "-S 2048 -s 2", 65536, 4096, false},
                               {"32", "-s 1", 40960, 512, true},
                               {"32", "-s 2 -f 1", 81920, 1024, false}};

TEST_CASE("FAT: volumes of mkfs.fat filled by mcopy hold the tree they were made from", "[fat]") {
  for (const Recipe& recipe : kRecipes) {
    CAPTURE(recipe.width, recipe.options);
    const TemporaryDirectory directory;
    const std::string image = directory.file("volume.img");
    const std::string source = directory.file("tree");
    make_tree(source, {.unit = recipe.cluster,
                       .largest = recipe.kib < 2000 ? 100'000U : 1'000'000U,
                       .entries = recipe.kib < 2000 ? 60U : 300U,
                       .longest_name = 200,
                       .symlinks = false,
                       .hard_links = false,
                       .holes = true,
                       .upper_case = recipe.upper_case});
    must_run("mkfs.fat -C -i CAFE1234 -n 'BLUE GANNET' -F " + std::string(recipe.width) + " " +
             recipe.options + " " + shell_word(image) + " " + std::to_string(recipe.kib));
    must_run("cd " + shell_word(source) + " && TZ=UTC MTOOLS_SKIP_CHECK=1 mcopy -s -m -i " +
             shell_word(image) + " * ::");
    const std::string id = "fat" + std::string(recipe.width);
    const auto bytes = read_file(image);
    const auto found = claims_of(id, bytes);
    REQUIRE(found.size() == 1);
    const Claim& claim = found.front();
    CHECK(claim.strength == Strength::sane);
    CHECK(claim.findings.empty());
    CHECK(claim.bytes == recipe.kib * 1024);
    CHECK(claim.facts.number("block_bytes") == recipe.cluster);
    CHECK(claim.facts.words("clean") == "clean");
    CHECK(blkid_value(image, "TYPE") == "vfat");
    CHECK(blkid_value(image, "VERSION") == "FAT" + std::string(recipe.width));
    CHECK(blkid_value(image, "LABEL") == claim.facts.words("volume_name"));
    CHECK(blkid_value(image, "UUID") == claim.facts.words("serial"));

    const View view = view_of(bytes);
    const auto volume = open_volume(id, view);
    const Tree ours = comparable(tree_of_volume(*volume, view));
    CHECK(differences(ours, comparable(tree_of_directory(source))) == "");
    volume->check_records();
    for (const Finding& finding : volume->take_findings())
      FAIL_CHECK(finding.message);

    // What the table calls used is what the files and directories hold, no more and no less.
    const Runs runs = runs_of(*volume);
    CHECK(runs.without_gap);
    CHECK(runs.end == bytes.size());
    std::uint64_t owned = recipe.width == std::string("32") ? recipe.cluster : 0;
    std::vector<Finding> findings;
    if (owned != 0) owned = volume->attributes(volume->root()).bytes;
    walk(
        *volume, volume->root(), "",
        [&](const FileVisit& visit) {
          owned += divide_up(visit.attributes.bytes, recipe.cluster) * recipe.cluster;
          return Step::go_on;
        },
        findings);
    CHECK(runs.used == owned);
    // The count of FAT32 is mcopy's to keep, the table's otherwise.
    CHECK(claim.facts.number("used_bytes") == runs.used);

    const Survey survey = survey_bytes(bytes);
    // The volume, and the code with which its boot sector says that it starts nothing.
    REQUIRE(survey.layers.size() == 2);
    CHECK(survey.layers[0].kind == LayerKind::filesystem);
    CHECK(survey.layers[1].format == "pc-boot-code");
    CHECK(findings_of(survey) == "");
  }
}

TEST_CASE("FAT: names beyond ASCII and times to the second of mtools", "[fat]") {
  const TemporaryDirectory directory;
  const std::string image = directory.file("volume.img");
  const std::string source = directory.file("tree");
  std::filesystem::create_directories(source);
  const std::vector<std::string> names = {
      "Übergröße.txt", "naïve café", "ВЕЩЬ",      "中文 name.data", "a.b.c.d",
      "lower.txt",     "UPPER.txt",  "Mixed.Txt", " leading",       "x+y=z,[1].c",
      "grüße.txt",     "ÄÖÜ.TXT"};  // in short names, one of them with case flags
  for (const std::string& name : names)
    std::ofstream(source + "/" + name) << name;
  must_run("mkfs.fat -C -F 12 " + shell_word(image) + " 1440");
  must_run("cd " + shell_word(source) +
           " && TZ=UTC LC_ALL=C.UTF-8 MTOOLS_SKIP_CHECK=1 mcopy -m -i " + shell_word(image) +
           " * ::");
  const View view = view_of(read_file(image));
  const auto volume = open_volume("fat12", view);
  CHECK(differences(comparable(tree_of_volume(*volume, view)),
                    comparable(tree_of_directory(source))) == "");
}

TEST_CASE("FAT: deleted and fragmented files of mtools", "[fat]") {
  const TemporaryDirectory directory;
  const std::string image = directory.file("volume.img");
  const std::string source = directory.file("tree");
  std::filesystem::create_directories(source);
  must_run("mkfs.fat -C -F 12 " + shell_word(image) + " 1440");
  const std::string prefix =
      "cd " + shell_word(source) + " && export TZ=UTC MTOOLS_SKIP_CHECK=1 && ";
  const std::string at = " -i " + shell_word(image);
  for (int i = 0; i < 20; ++i) {
    write_file(source + "/a long name number " + std::to_string(i),
               std::vector<std::byte>(20'000, static_cast<std::byte>(i)));
  }
  must_run(prefix + "mcopy -m" + at + " * ::");
  for (int i = 0; i < 20; i += 2) {
    const std::string name = "a long name number " + std::to_string(i);
    must_run(prefix + "mdel" + at + " " + shell_word("::" + name));
    std::filesystem::remove(source + "/" + name);
  }
  write_file(source + "/in pieces", std::vector<std::byte>(1'200'000, std::byte{'p'}));
  must_run(prefix + "mcopy -m" + at + " 'in pieces' ::");
  const View view = view_of(read_file(image));
  const auto volume = open_volume("fat12", view);
  CHECK(differences(comparable(tree_of_volume(*volume, view)),
                    comparable(tree_of_directory(source))) == "");
  std::size_t extents = 0;
  volume->each_extent(find_path(*volume, "in pieces")->node, [&](const Extent&) {
    ++extents;
    return true;
  });
  CHECK(extents > 5);
}

}  // namespace
}  // namespace platter::test
