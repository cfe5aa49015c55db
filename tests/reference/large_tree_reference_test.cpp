// Lists of many directories, which two threads make, against the trees that stock makers were
// given: genisoimage, mke2fs and makefs (packages in tools/packages.sh).
#include <filesystem>
#include <fstream>
#include <set>
#include <sstream>

#include <catch2/catch.hpp>
#include <fmt/format.h>

#include "job/volumes.h"
#include "report/file_lines.h"
#include "support/survey.h"
#include "support/tree.h"

namespace platter::test {
namespace {

constexpr int kDirectories = 150;
constexpr int kFiles = 20;

// Paths of the tree, parents too.
std::set<std::string> make_large_tree(const std::string& root) {
  namespace fs = std::filesystem;
  std::set<std::string> paths;
  for (int i = 0; i < kDirectories; ++i) {
    std::string directory = fmt::format("part {}", i % 5);
    paths.insert(directory);
    directory += fmt::format("/section {:03}", i);
    paths.insert(directory);
    fs::create_directories(root + "/" + directory);
    for (int k = 0; k < kFiles; ++k) {
      const std::string path = fmt::format("{}/page {:03}-{}", directory, i, k);
      std::ofstream(root + "/" + path) << std::string(static_cast<std::size_t>(i * k), 'p');
      paths.insert(path);
    }
  }
  return paths;
}

std::string listed(const StraightSurvey& straight) {
  Volumes volumes = open_volumes(straight, "", {});
  REQUIRE(volumes.open.size() == 1);
  std::ostringstream out;
  const TextStyle style;
  FileLines lines(out, FileListing::paths, false, style);
  Selection everything;
  std::vector<Finding> findings;
  lines.list(volumes.open.front(), false, everything, findings);
  lines.flush();
  CHECK(findings.empty());
  return out.str();
}

// The order that one thread gives.
std::string listed_alone(const StraightSurvey& straight) {
  Volumes volumes = open_volumes(straight, "", {});
  REQUIRE(volumes.open.size() == 1);
  std::string text;
  std::vector<Finding> findings;
  walk(
      *volumes.open.front().volume, volumes.open.front().volume->root(), "",
      [&](const FileVisit& file) {
        text += file.path;
        text += file.attributes.type == NodeType::directory ? "/\n" : "\n";
        return Step::go_on;
      },
      findings);
  return text;
}

TEST_CASE("a large tree is listed whole and in order by two threads") {
  for (const char* maker :
       {"genisoimage -quiet -R -o image tree", "mke2fs -q -t ext2 -b 1024 -d tree image 24M",
        "mke2fs -q -t ext4 -d tree image 24M", "makefs -t ffs -B big -o version=1 image tree"}) {
    CAPTURE(maker);
    const TemporaryDirectory scratch;
    const std::set<std::string> paths = make_large_tree(scratch.file("tree"));
    const RunResult made =
        run("cd " + shell_word(scratch.path()) + " && PATH=$PATH:/usr/sbin:/sbin " + maker);
    CAPTURE(made.out, made.err);
    REQUIRE(made.status == 0);
    const StraightSurvey straight = survey_straight(open_image(scratch.file("image")));
    const std::string alone = listed_alone(straight);
    for (int round = 0; round < 5; ++round)
      CHECK((listed(straight) == alone));
    std::set<std::string> seen;
    std::istringstream words(alone);
    for (std::string line; std::getline(words, line);) {
      if (line.ends_with('/')) line.pop_back();
      if (line != "lost+found") seen.insert(line);
    }
    CHECK((seen == paths));
  }
}

}  // namespace
}  // namespace platter::test
