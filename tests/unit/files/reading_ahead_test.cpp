// A walk with a second thread says the same as one without, whatever the second thread meets.
#include "files/reading_ahead.h"

#include <atomic>
#include <thread>

#include <catch2/catch.hpp>
#include <fmt/format.h>

#include "core/source.h"
#include "support/memory_volume.h"

namespace platter::test {
namespace {

// What happens in a directory, besides that it is listed.
enum class Event { none, finding, error };

// Sixty directories with files, a directory in each third, and names that are no text.
class ManyDirectories final : public MemoryVolume {
 public:
  ManyDirectories() {
    for (int i = 0; i < 60; ++i) {
      const NodeId directory =
          add_directory(1, fmt::format("directory {:02}{}", i, i % 7 == 0 ? "\xE9" : ""));
      for (int k = 0; k < 10; ++k)
        add_file(directory, fmt::format("file {}", k), "x");
      if (i % 3 == 0) add_file(add_directory(directory, "below"), "deep", "y");
      if (i == 40) in_the_middle = directory;
    }
  }
  void each_entry(NodeId directory, FunctionRef<bool(const Entry&)> visit) override {
    if (directory == in_the_middle && event == Event::error) throw IoError("medium", 7, 1, "bad");
    MemoryVolume::each_entry(directory, visit);
    if (directory == in_the_middle && event == Event::finding) {
      find(Severity::fault, FindingCode::filesystem_damaged, 40, 1, "this directory is damaged");
    }
  }

  NodeId in_the_middle = 0;
  Event event = Event::none;
};

std::string line_of(const FileVisit& file) {
  return fmt::format("{} {} {} {}\n", file.path, file.raw_path, file.depth,
                     node_type_name(file.attributes.type));
}

struct Said {
  std::string text;
  std::vector<std::string> findings;
  WalkResult result;

  void add(const std::vector<Finding>& all) {
    for (const Finding& finding : all)
      findings.push_back(finding.message);
  }
};

Said alone(ManyDirectories& volume) {
  Said said;
  std::vector<Finding> findings;
  said.result = walk(
      volume, 1, "",
      [&](const FileVisit& file) {
        said.text += line_of(file);
        return Step::go_on;
      },
      findings);
  said.add(findings);
  return said;
}

class Lines final : public SecondReader {
 public:
  Lines(ManyDirectories& volume, std::atomic<int>& added, std::size_t padding)
      : volume_(volume), added_(added), padding_(padding) {}
  [[nodiscard]] Volume& volume() override { return volume_; }
  std::size_t add(const FileVisit& file) override {
    ++added_;
    text_ += line_of(file);
    return text_.size() + padding_;
  }
  [[nodiscard]] std::string take_text(std::string spare) override {
    return std::exchange(text_, std::move(spare));
  }

 private:
  ManyDirectories& volume_;
  std::atomic<int>& added_;
  std::size_t padding_;
  std::string text_;
};

struct Pair {
  ManyDirectories first;
  ManyDirectories second;
  std::size_t padding = 0;  // bytes that the second reader claims to hold besides
  std::uint64_t stop_at_puts = ~0ULL;
  std::atomic<int> added = 0;  // files that the second thread saw
  std::uint64_t puts = 0;      // directories that were taken over

  Said walk_both() {
    Said said;
    std::vector<Finding> findings;
    bool waited = false;
    said.result = walk_to_text(
        first,
        [&](const FileVisit& file) {
          said.text += line_of(file);
          // The first thread is in its own run of directories: let the second begin with its own.
          if (file.depth == 1 && !waited && file.path.starts_with("directory 02")) {
            waited = true;
            while (added == 0)
              std::this_thread::yield();
          }
          return Step::go_on;
        },
        [&](std::string_view text) {
          said.text += text;
          return ++puts < stop_at_puts ? Step::go_on : Step::stop;
        },
        [&] { return std::make_unique<Lines>(second, added, padding); }, findings, 10);
    said.add(findings);
    return said;
  }
};

TEST_CASE("reading ahead: the text is that of one thread") {
  Pair pair;
  const Said both = pair.walk_both();
  const Said expected = alone(pair.second);
  CHECK(pair.puts > 0);
  CHECK(both.text == expected.text);
  CHECK(both.findings.empty());
  CHECK(both.result.files == expected.result.files);
  CHECK(both.result.directories == expected.result.directories);
}

TEST_CASE("reading ahead: what the second volume has to report, the first one says") {
  Pair pair;
  pair.first.event = pair.second.event = Event::finding;
  const Said both = pair.walk_both();
  CHECK(pair.puts > 0);
  const Said expected = alone(pair.first);
  CHECK(both.text == expected.text);
  CHECK(both.findings == std::vector<std::string>{"this directory is damaged"});
}

TEST_CASE("reading ahead: a medium that fails fails in the walk's own thread") {
  Pair pair;
  pair.second.event = Event::error;
  CHECK(pair.walk_both().text == alone(pair.first).text);
  Pair both;
  both.first.event = both.second.event = Event::error;
  CHECK_THROWS_AS(both.walk_both(), IoError);
}

TEST_CASE("reading ahead: a directory with too much text is left to the walk") {
  Pair pair;
  pair.padding = std::size_t{1} << 30U;
  CHECK(pair.walk_both().text == alone(pair.first).text);
  CHECK(pair.puts == 0);
}

TEST_CASE("reading ahead: whoever takes the text may end the walk") {
  Pair pair;
  pair.stop_at_puts = 1;
  const Said both = pair.walk_both();
  CHECK(both.result.stopped);
  CHECK(pair.puts == 1);
  CHECK(alone(pair.first).text.starts_with(both.text));
}

TEST_CASE("reading ahead: a directory that was offered and is a loop is entered once") {
  Pair pair;
  for (ManyDirectories* volume : {&pair.first, &pair.second}) {
    for (int i = 0; i < 20; ++i)
      volume->link(1, fmt::format("again {:02}", i), volume->in_the_middle);
  }
  const Said both = pair.walk_both();
  const Said expected = alone(pair.first);
  CHECK(both.text == expected.text);
  CHECK(both.findings == expected.findings);
  CHECK(both.findings.size() == 20);
}

TEST_CASE("reading ahead: without a second volume the walk goes on alone") {
  ManyDirectories volume;
  std::string text;
  std::vector<Finding> findings;
  walk_to_text(
      volume,
      [&](const FileVisit& file) {
        text += line_of(file);
        return Step::go_on;
      },
      [](std::string_view) { return Step::stop; }, [] { return nullptr; }, findings, 10);
  CHECK(text == alone(volume).text);
}

}  // namespace
}  // namespace platter::test
