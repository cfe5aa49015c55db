// The walk over a volume, and what a person may ask for, on trees that stand in memory.
#include "files/walk.h"

#include <algorithm>

#include <catch2/catch.hpp>

#include "files/selection.h"
#include "support/memory_volume.h"

namespace platter::test {
namespace {

std::vector<std::string> paths_of(Volume& volume, Selection& selection, WalkOrder order,
                                  std::vector<Finding>& findings) {
  std::vector<std::string> paths;
  selection.walk(
      volume,
      [&](const FileVisit& file) {
        paths.emplace_back(file.path);
        return Step::go_on;
      },
      findings, order);
  return paths;
}

std::vector<std::string> selected(Volume& volume, const std::vector<std::string>& wanted,
                                  bool ignore_case = false) {
  Selection selection(wanted, ignore_case);
  std::vector<Finding> findings;
  std::vector<std::string> paths = paths_of(volume, selection, WalkOrder::by_directory, findings);
  CHECK(findings.empty());
  return paths;
}

using Paths = std::vector<std::string>;

// b/ (x, sub/ (y)), a, c/ (z)
void fill(MemoryVolume& volume) {
  const NodeId b = volume.add_directory(1, "b");
  volume.add_file(b, "x.c", "1");
  const NodeId sub = volume.add_directory(b, "sub");
  volume.add_file(sub, "y.c", "2");
  volume.add_file(1, "a", "3");
  const NodeId c = volume.add_directory(1, "c");
  volume.add_file(c, "z.C", "4");
}

TEST_CASE("walk: both orders keep the order of the disk") {
  MemoryVolume volume;
  fill(volume);
  Selection all;
  std::vector<Finding> findings;
  CHECK(paths_of(volume, all, WalkOrder::by_directory, findings) ==
        Paths{"b", "a", "c", "b/x.c", "b/sub", "b/sub/y.c", "c/z.C"});
  CHECK(paths_of(volume, all, WalkOrder::nested, findings) ==
        Paths{"b", "b/x.c", "b/sub", "b/sub/y.c", "a", "c", "c/z.C"});
  CHECK(findings.empty());
}

TEST_CASE("walk: a directory below itself is entered once and is a fault") {
  for (const WalkOrder order : {WalkOrder::by_directory, WalkOrder::nested}) {
    MemoryVolume volume;
    const NodeId d = volume.add_directory(1, "d");
    const NodeId e = volume.add_directory(d, "e");
    volume.link(e, "again", d);
    volume.link(e, "root", 1);
    volume.add_file(e, "f", "");
    Selection all;
    std::vector<Finding> findings;
    const Paths paths = paths_of(volume, all, order, findings);
    CHECK(std::ranges::count(paths, "d/e/f") == 1);
    CHECK(std::ranges::count(paths, "d/e/again") == 1);
    CHECK(paths.size() == 5);
    REQUIRE(findings.size() == 2);
    CHECK(findings[0].code == FindingCode::directory_loop);
    CHECK(findings[0].severity == Severity::fault);
  }
}

// Reports something whenever it is listed.
class Complaining final : public MemoryVolume {
 public:
  void each_entry(NodeId directory, FunctionRef<bool(const Entry&)> visit) override {
    find(Severity::caution, FindingCode::filesystem_damaged, directory, 1, "not quite right");
    MemoryVolume::each_entry(directory, visit);
  }
};

TEST_CASE("walk: many names behind a directory are visited once, in nested order too") {
  Complaining volume;
  Paths expected;
  const auto add_file = [&](NodeId directory, const std::string& path) {
    volume.add_file(directory, path.substr(path.rfind('/') + 1), "");
    expected.push_back(path);
  };
  add_file(1, "first");
  const NodeId below = volume.add_directory(1, "below");
  expected.emplace_back("below");
  add_file(below, "below/file");
  for (int i = 0; i < 70'000; ++i)
    add_file(1, "f" + std::to_string(i));
  const NodeId last = volume.add_directory(1, "last");
  expected.emplace_back("last");
  add_file(last, "last/file");
  Selection all;
  std::vector<Finding> findings;
  CHECK((paths_of(volume, all, WalkOrder::nested, findings) == expected));
  CHECK(findings.size() == 3);  // one for each directory
}

TEST_CASE("walk: a chain of directories without end is cut") {
  MemoryVolume volume;
  NodeId at = 1;
  for (int i = 0; i < 1500; ++i)
    at = volume.add_directory(at, "d");
  Selection all;
  std::vector<Finding> findings;
  CHECK(paths_of(volume, all, WalkOrder::by_directory, findings).size() == 1024);
  REQUIRE(findings.size() == 1);
  CHECK(findings[0].code == FindingCode::filesystem_damaged);
}

TEST_CASE("walk: names that would make another path are escaped, and the bytes are kept") {
  MemoryVolume volume;
  const std::string nul("a\0b", 3);
  const NodeId up = volume.add_directory(1, "..");
  volume.add_file(up, "passwd", "x");
  volume.add_file(1, "etc/passwd", "x");
  volume.add_file(1, nul, "x");
  volume.add_file(1, "", "x");
  volume.add_file(1, "caf\xE9", "x");
  std::vector<Finding> findings;
  std::vector<std::pair<std::string, std::string>> seen;
  walk(
      volume, 1, "",
      [&](const FileVisit& file) {
        CHECK_FALSE(file.exact);
        seen.emplace_back(file.path, file.raw_path);
        return Step::go_on;
      },
      findings);
  CHECK(seen == std::vector<std::pair<std::string, std::string>>{{"%2E%2E", ".."},
                                                                 {"etc%2Fpasswd", "etc/passwd"},
                                                                 {"a%00b", nul},
                                                                 {"%", ""},
                                                                 {"caf%E9", "caf\xE9"},
                                                                 {"%2E%2E/passwd", "../passwd"}});
}

TEST_CASE("selection: plain paths, patterns, and what is below a directory") {
  MemoryVolume volume;
  fill(volume);
  CHECK(selected(volume, {"b/sub"}) == Paths{"b/sub", "b/sub/y.c"});
  CHECK(selected(volume, {"/a/"}) == Paths{"a"});
  CHECK(selected(volume, {"/"}).size() == 7);
  CHECK(selected(volume, {"*"}).size() == 7);
  CHECK(selected(volume, {"**/*.c"}) == Paths{"b/x.c", "b/sub/y.c"});
  CHECK(selected(volume, {"**/*.c"}, true) == Paths{"b/x.c", "b/sub/y.c", "c/z.C"});
  CHECK(selected(volume, {"b/*.c"}) == Paths{"b/x.c"});
  CHECK(selected(volume, {"[!ab]/z.?"}) == Paths{"c/z.C"});
  CHECK(selected(volume, {"B/SUB"}, true) == Paths{"b/sub", "b/sub/y.c"});
  Selection missing({"a", "nowhere", "b/*.h"}, false);
  std::vector<Finding> findings;
  CHECK(paths_of(volume, missing, WalkOrder::by_directory, findings) == Paths{"a"});
  CHECK(missing.unanswered() == Paths{"nowhere", "b/*.h"});
}

TEST_CASE("walk: files first, then each directory with what it holds") {
  MemoryVolume volume;
  const NodeId a = volume.add_directory(1, "a");
  volume.add_file(1, "file", "x");
  const NodeId below = volume.add_directory(a, "below");
  volume.add_file(below, "deep", "x");
  volume.add_file(a, "in a", "x");
  volume.add_directory(1, "empty");
  std::vector<Finding> findings;
  Selection everything;
  CHECK(paths_of(volume, everything, WalkOrder::files_first, findings) ==
        Paths{"file", "a", "a/in a", "a/below", "a/below/deep", "empty"});
}

TEST_CASE("selection: what several paths mean is visited once") {
  MemoryVolume volume;
  const NodeId b = volume.add_directory(1, "b");
  volume.add_file(b, "x", "x");
  volume.add_file(1, "bx", "x");
  CHECK(selected(volume, {"b", "b/x", "b", "bx"}) == Paths{"b", "b/x", "bx"});
  CHECK(selected(volume, {"b/x", "b"}) == Paths{"b", "b/x"});
  CHECK(selected(volume, {"b/x", "b*"}) == Paths{"b", "bx", "b/x"});
}

TEST_CASE("selection: './' in front means nothing") {
  MemoryVolume volume;
  const NodeId b = volume.add_directory(1, "b");
  volume.add_file(b, "x", "x");
  volume.add_file(1, "bx", "x");
  CHECK(selected(volume, {"./b/x"}) == Paths{"b/x"});
  CHECK(selected(volume, {".//b/"}) == Paths{"b", "b/x"});
  CHECK(selected(volume, {"."}) == Paths{"b", "bx", "b/x"});
}

TEST_CASE("selection: names that hold signs of patterns can be given as they are shown") {
  MemoryVolume volume;
  for (const char* name : {"a[1]b", "a1b", "back\\slash", "q?", "qx"})
    volume.add_file(1, name, "x");
  CHECK(selected(volume, {"a[1]b"}) == Paths{"a[1]b", "a1b"});
  CHECK(selected(volume, {"a\\[1]b"}) == Paths{"a[1]b"});
  CHECK(selected(volume, {"back\\slash"}) == Paths{"back\\slash"});
  CHECK(selected(volume, {"q\\?"}) == Paths{"q?"});
}

TEST_CASE("selection: the bytes of a path that was asked for alone are kept") {
  MemoryVolume volume;
  const NodeId directory = volume.add_directory(1, "d\xFF");
  volume.add_file(directory, "f\xFE", "x");
  std::vector<std::string> raw;
  Selection selection({"d%FF"}, false);
  std::vector<Finding> findings;
  selection.walk(
      volume,
      [&](const FileVisit& file) {
        CHECK_FALSE(file.exact);
        raw.emplace_back(file.raw_path);
        return Step::go_on;
      },
      findings);
  CHECK(raw == Paths{"d\xFF", "d\xFF/f\xFE"});
}

TEST_CASE("pattern: the notation of POSIX XCU 2.14, and '**'") {
  const auto matches = [](std::string_view pattern, std::string_view path) {
    return Pattern(pattern).matches(path);
  };
  CHECK(matches("a*b*c", "aXbYbZc"));
  CHECK_FALSE(matches("a*b*c", "aXbYbZ"));
  CHECK_FALSE(matches("*", "a/b"));
  CHECK(matches("?", "\xC3\xA9"));
  CHECK(matches("[a-c]x", "bx"));
  CHECK_FALSE(matches("[!a-c]x", "bx"));
  CHECK(matches("[]]", "]"));
  CHECK(matches("[x", "[x"));
  CHECK(matches("\\*", "*"));
  CHECK_FALSE(matches("\\*", "x"));
  CHECK(matches("**", "a/b/c"));
  CHECK(matches("**/c", "c"));
  CHECK(matches("a/**/c", "a/c"));
  CHECK(matches("a/**/c", "a/b/b/c"));
  CHECK_FALSE(matches("a/**/c", "a/b/d"));
  // Sets match whole characters, and know the classes of XBD 7.3.1.
  CHECK(matches("[\xC3\xA9-\xC3\xAB]t", "\xC3\xAAt"));
  CHECK_FALSE(matches("[\xC3\xA9]", "\xC3\xA8"));
  CHECK(matches("[!a]t", "\xC3\xA9t"));
  CHECK(matches("[[:upper:]_]x", "Ax"));
  CHECK(matches("[[:upper:]_]x", "_x"));
  CHECK_FALSE(matches("[[:upper:]]x", "ax"));
  CHECK_FALSE(matches("[![:digit:]]", "7"));
  CHECK(Pattern("[[:upper:]]", true).matches("a"));
  CHECK_FALSE(matches("[[:nonsense:]]", "n"));
  CHECK(matches("[\\]]", "]"));
  // Many stars against a name that almost fits: the time must not multiply.
  CHECK_FALSE(matches("*a*a*a*a*a*a*a*a*a*a*a*a*b", std::string(2000, 'a')));
}

}  // namespace
}  // namespace platter::test
