// Taking files out, from trees that stand in memory.
#include "files/sink.h"

#include <fcntl.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

#include <csignal>
#include <filesystem>
#include <fstream>
#include <iterator>

#include <catch2/catch.hpp>

#include "files/selection.h"
#include "support/memory_volume.h"
#include "support/survey.h"
#include "support/tree.h"

namespace platter::test {
namespace {

namespace fs = std::filesystem;

std::vector<Finding> take_out(MemoryVolume& volume, FileSink& sink) {
  std::vector<Finding> findings;
  sink.begin_volume("");
  const View view = volume.view();
  walk(
      volume, volume.root(), "",
      [&](const FileVisit& file) {
        sink.add(file, volume, view, findings);
        return Step::go_on;
      },
      findings);
  sink.finish(findings);
  return findings;
}

std::string content_of(const std::string& path) {
  std::ifstream file(path, std::ios::binary);
  return {std::istreambuf_iterator<char>(file), {}};
}

std::size_t count(const std::vector<Finding>& findings, FindingCode code) {
  return static_cast<std::size_t>(std::ranges::count(findings, code, &Finding::code));
}

TEST_CASE("directory sink: content, modes, times, links, holes") {
  MemoryVolume volume;
  const NodeId sub = volume.add_directory(1, "sub");
  const NodeId file = volume.add_file(sub, "file", "content");
  volume.node(file).attributes.mode = 04711;
  volume.link(1, "other name", file);
  volume.add_symlink(1, "link", "sub/file");
  const NodeId holes = volume.add_file(1, "holes", std::string(1024, 'x'));
  volume.node(holes).attributes.bytes = 10'000'000;
  volume.node(holes).extents[0].offset = 5'000'000;
  const TemporaryDirectory directory;
  const std::string out = directory.file("out");
  const auto sink = directory_sink(out, {});
  CHECK(take_out(volume, *sink).empty());
  CHECK(content_of(out + "/sub/file") == "content");
  CHECK(fs::read_symlink(out + "/link") == "sub/file");
  struct stat one {};
  struct stat other {};
  REQUIRE(lstat((out + "/sub/file").c_str(), &one) == 0);
  REQUIRE(lstat((out + "/other name").c_str(), &other) == 0);
  CHECK(one.st_ino == other.st_ino);
  CHECK((one.st_mode & 07777U) == 04711);
  CHECK(one.st_mtime == 700'000'000);
  REQUIRE(lstat((out + "/sub").c_str(), &one) == 0);
  CHECK((one.st_mode & 07777U) == 0750);
  CHECK(one.st_mtime == 600'000'000);
  REQUIRE(lstat((out + "/holes").c_str(), &one) == 0);
  CHECK(one.st_size == 10'000'000);
  CHECK(one.st_blocks < 1000);
  const std::string holed = content_of(out + "/holes");
  CHECK(holed.substr(5'000'000, 1024) == std::string(1024, 'x'));
  CHECK(holed.find_first_not_of('\0') == 5'000'000);
  CHECK(sink->taken_out().files == 2);
  CHECK(sink->taken_out().links == 2);
  CHECK(sink->taken_out().directories == 1);
}

TEST_CASE("directory sink: nothing on an image leads outside") {
  MemoryVolume volume;
  const TemporaryDirectory directory;
  const std::string outside = directory.file("outside");
  fs::create_directory(outside);
  // A link, and then a directory of the same name with a file in it.
  volume.add_symlink(1, "trap", outside);
  const NodeId trap = volume.add_directory(1, "trap");
  volume.add_file(trap, "escaped", "x");
  const NodeId up = volume.add_directory(1, "..");
  volume.add_file(up, "escaped", "x");
  volume.add_file(1, "/etc/escaped", "x");
  volume.add_file(1, "../escaped", "x");
  volume.add_symlink(1, "absolute", "/etc/passwd");
  const std::string out = directory.file("out");
  const auto findings = take_out(volume, *directory_sink(out, {}));
  CHECK(fs::is_empty(outside));
  CHECK_FALSE(fs::exists(directory.file("escaped")));
  CHECK(content_of(out + "/trap~2/escaped") == "x");
  CHECK(content_of(out + "/%2E%2E/escaped") == "x");
  CHECK(content_of(out + "/%2Fetc%2Fescaped") == "x");
  CHECK(content_of(out + "/..%2Fescaped") == "x");
  CHECK(fs::is_symlink(out + "/absolute"));
  CHECK(count(findings, FindingCode::name_clash) == 1);
}

TEST_CASE("directory sink: equal names, other kinds, absurd sizes and missing bytes are told") {
  MemoryVolume volume;
  volume.add_file(1, "twice", "first");
  volume.add_file(1, "twice", "second");
  Attributes device;
  device.type = NodeType::char_device;
  device.device = DeviceNumber{3, 7};
  volume.add(1, "tty", device);
  Attributes nothing;
  volume.add(1, "unknown", nothing);
  const NodeId huge = volume.add_file(1, "huge", "");
  volume.node(huge).attributes.bytes = 1ULL << 63U;
  const NodeId torn = volume.add_file(1, "torn", std::string(600, 'a'));
  volume.node(torn).attributes.bytes = 2000;
  volume.node(torn).extents.push_back({1000, 1ULL << 40U, 500, false});
  volume.node(torn).extents.push_back({1500, 0, 500, true});
  for (const bool strict : {false, true}) {
    const TemporaryDirectory directory;
    const std::string out = directory.file("out");
    SinkOptions options;
    options.strict = strict;
    const auto sink = directory_sink(out, options);
    const auto findings = take_out(volume, *sink);
    CHECK(content_of(out + "/twice") == "first");
    CHECK(content_of(out + "/twice~2") == "second");
    CHECK(count(findings, FindingCode::name_clash) == 1);
    CHECK(count(findings, FindingCode::file_left_out) == 3);
    CHECK(count(findings, FindingCode::content_missing) == 1);
    CHECK(any_fault(findings));
    CHECK_FALSE(fs::exists(out + "/huge"));
    CHECK(fs::exists(out + "/torn") == !strict);
    if (!strict)
      CHECK(content_of(out + "/torn") == std::string(600, 'a') + std::string(1400, '\0'));
  }
}

TEST_CASE("directory sink: what is there already stays, unless it is to be replaced") {
  MemoryVolume volume;
  volume.add_file(1, "file", "new");
  const TemporaryDirectory directory;
  const std::string out = directory.file("out");
  fs::create_directory(out);
  std::ofstream(out + "/file") << "old";
  CHECK_THROWS_AS(take_out(volume, *directory_sink(out, {})), IoError);
  CHECK(content_of(out + "/file") == "old");
  SinkOptions options;
  options.replace = true;
  CHECK(take_out(volume, *directory_sink(out, options)).empty());
  CHECK(content_of(out + "/file") == "new");
}

TEST_CASE("directory sink: names keep their bytes") {
  MemoryVolume volume;
  volume.add_file(1, "caf\xE9", "x");
  volume.add_file(1, std::string(255, 'n'), "x");
  const TemporaryDirectory directory;
  const std::string out = directory.file("out");
  CHECK(take_out(volume, *directory_sink(out, {})).empty());
  CHECK(content_of(out + "/caf\xE9") == "x");
  CHECK(content_of(out + "/" + std::string(255, 'n')) == "x");
}

TEST_CASE("directory sink: names that are too long here are cut between characters") {
  MemoryVolume volume;
  std::string name;
  for (int i = 0; i < 120; ++i)
    name += "\xE3\x81\x82";  // 360 bytes
  volume.add_file(1, name + "1", "first");
  volume.add_file(1, name + "2", "second");
  volume.add_file(1, name + "3", "third");
  const TemporaryDirectory directory;
  const std::string out = directory.file("out");
  const auto findings = take_out(volume, *directory_sink(out, {}));
  const std::string cut = name.substr(0, 198);
  CHECK(content_of(out + "/" + cut) == "first");
  CHECK(content_of(out + "/" + cut + "~2") == "second");
  CHECK(content_of(out + "/" + cut + "~3") == "third");
  CHECK(count(findings, FindingCode::name_clash) == 3);
}

TEST_CASE("directory sink: one name ten thousand times does not try every twin each time") {
  MemoryVolume volume;
  for (int i = 0; i < 10'000; ++i)
    volume.add_file(1, "same", std::to_string(i));
  const TemporaryDirectory directory;
  const std::string out = directory.file("out");
  const auto findings = take_out(volume, *directory_sink(out, {}));
  CHECK(count(findings, FindingCode::name_clash) == 9'999);
  CHECK(content_of(out + "/same~10000") == "9999");
}

TEST_CASE("directory sink: paths may be longer than the system takes at once") {
  MemoryVolume volume;
  const std::string name(250, 'd');
  NodeId at = 1;
  for (int i = 0; i < 40; ++i)
    at = volume.add_directory(at, name);
  const NodeId file = volume.add_file(at, "bottom", "deep");
  volume.node(file).attributes.mode = 0640;
  volume.link(1, "near", file);
  volume.link(at, "beside", file);
  volume.add_symlink(at, "link", "bottom");
  const TemporaryDirectory directory;
  const std::string out = directory.file("out");
  const auto sink = directory_sink(out, {});
  CHECK(take_out(volume, *sink).empty());
  CHECK(sink->taken_out().directories == 40);
  // Looked at step by step, for the same reason.
  int here = open(out.c_str(), O_RDONLY | O_DIRECTORY);
  for (int i = 0; i < 40; ++i) {
    const int next = openat(here, name.c_str(), O_RDONLY | O_DIRECTORY);
    close(here);
    here = next;
    REQUIRE(here >= 0);
  }
  struct stat status {};
  REQUIRE(fstatat(here, "beside", &status, 0) == 0);
  CHECK(status.st_nlink == 3);
  CHECK((status.st_mode & 07777U) == 0640);
  CHECK(status.st_size == 4);
  REQUIRE(fstatat(here, "link", &status, AT_SYMLINK_NOFOLLOW) == 0);
  REQUIRE(fstat(here, &status) == 0);
  CHECK((status.st_mode & 07777U) == 0750);
  CHECK(status.st_mtime == 600'000'000);
  close(here);
  CHECK(run("rm -rf " + out).status == 0);  // nothing else here takes such paths
}

TEST_CASE("directory sink: a directory that cannot be written is an error, not a file left out") {
  MemoryVolume volume;
  volume.add_file(1, "file", "x");
  const TemporaryDirectory directory;
  const std::string out = directory.file("out");
  const auto sink = directory_sink(out, {});
  fs::remove(out);  // nothing can be made in it any more
  CHECK_THROWS_AS(take_out(volume, *sink), IoError);
}

TEST_CASE(
    "directory sink: a file that cannot be had is a fault, a device that is not wanted none") {
  MemoryVolume volume;
  const NodeId huge = volume.add_file(1, "huge", "");
  volume.node(huge).attributes.bytes = 1ULL << 63U;
  const TemporaryDirectory directory;
  CHECK(any_fault(take_out(volume, *directory_sink(directory.file("a"), {}))));
  MemoryVolume devices;
  Attributes device;
  device.type = NodeType::char_device;
  device.device = DeviceNumber{3, 7};
  for (const char* name : {"tty", "tty0", "tty1", "tty2"})
    devices.add(1, name, device);
  const auto sink = directory_sink(directory.file("b"), {});
  const auto findings = take_out(devices, *sink);
  // Told once: a disk of a system has hundreds.
  REQUIRE(findings.size() == 1);
  CHECK(findings[0].message ==
        "left out 4 device nodes, pipes or sockets (tty, tty0, tty1, ...): --devices makes them");
  CHECK(sink->taken_out().left_out == 4);
  CHECK_FALSE(any_fault(findings));
}

TEST_CASE("directory sink: the names of directories keep their bytes, asked for alone as well") {
  MemoryVolume volume;
  const NodeId outer = volume.add_directory(1, "d\xFF");
  const NodeId inner = volume.add_directory(outer, "e\xFE");
  volume.add_file(inner, "f\xFD", "x");
  volume.add_file(inner, "a/b", "y");
  for (const char* path : {"", "d%FF/e%FE/f%FD", "d%FF/e%FE"}) {
    CAPTURE(path);
    const TemporaryDirectory directory;
    const std::string out = directory.file("out");
    const auto sink = directory_sink(out, {});
    sink->begin_volume("");
    const View view = volume.view();
    std::vector<Finding> findings;
    Selection selection(*path == '\0' ? std::vector<std::string>() : std::vector<std::string>{path},
                        false);
    selection.walk(
        volume,
        [&](const FileVisit& file) {
          sink->add(file, volume, view, findings);
          return Step::go_on;
        },
        findings, sink->order());
    sink->finish(findings);
    CHECK(findings.empty());
    CHECK(content_of(out + "/d\xFF/e\xFE/f\xFD") == "x");
  }
}

TEST_CASE("directory sink: an interruption leaves no part of a file behind") {
  MemoryVolume volume;
  for (int i = 0; i < 20; ++i) {
    volume.add_file(1, "file" + std::to_string(i), std::string(20'000'000, 'x'));
  }
  const TemporaryDirectory directory;
  const std::string out = directory.file("out");
  SinkOptions options;
  options.on_progress = [](const TakenOut& taken) { return taken.files < 3; };
  CHECK_THROWS_AS(take_out(volume, *directory_sink(out, options)), Interrupted);
  std::size_t files = 0;
  for (const auto& entry : fs::directory_iterator(out)) {
    CHECK(entry.file_size() == 20'000'000);
    CHECK(content_of(entry.path()).find('\0') == std::string::npos);
    ++files;
  }
  CHECK(files < 20);
}

TEST_CASE("directory sink: thousands of files on two threads come out whole") {
  MemoryVolume volume;
  for (int i = 0; i < 3000; ++i) {
    volume.add_file(
        1, "f" + std::to_string(i),
        std::string(static_cast<std::size_t>(i * 7 % 9000), static_cast<char>('a' + i % 26)));
  }
  const TemporaryDirectory directory;
  const std::string out = directory.file("out");
  const auto sink = directory_sink(out, {});
  CHECK(take_out(volume, *sink).empty());
  CHECK(sink->taken_out().files == 3000);
  std::size_t wrong = 0;
  for (int i = 0; i < 3000; ++i) {
    const std::string wanted(static_cast<std::size_t>(i * 7 % 9000),
                             static_cast<char>('a' + i % 26));
    wrong += content_of(out + "/f" + std::to_string(i)) == wanted ? 0U : 1U;
  }
  CHECK(wrong == 0);
}

TEST_CASE(
    "directory sink: a full device is an error that names the file, and leaves no part of it") {
  // /dev/full cannot hold a directory; a file size limit of the process has the same effect.
  MemoryVolume volume;
  volume.add_file(1, "large", std::string(3'000'000, 'x'));
  const TemporaryDirectory directory;
  const std::string out = directory.file("out");
  const pid_t child = fork();
  if (child == 0) {
    std::signal(SIGXFSZ, SIG_IGN);
    const rlimit limit{1'000'000, 1'000'000};
    setrlimit(RLIMIT_FSIZE, &limit);
    int status = 1;
    try {
      take_out(volume, *directory_sink(out, {}));
    } catch (const IoError& error) {
      status = std::string(error.what()).find("large") == std::string::npos ? 2 : 0;
    }
    _exit(status);
  }
  int status = -1;
  REQUIRE(waitpid(child, &status, 0) == child);
  CHECK(WEXITSTATUS(status) == 0);
  CHECK(fs::is_empty(out));
}

}  // namespace
}  // namespace platter::test
