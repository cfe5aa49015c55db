// Archives that platter writes, as libarchive's readers (used directly here, not through platter)
// and the tar of this system see them.
#include <filesystem>
#include <map>
#include <string>

#include <archive.h>
#include <archive_entry.h>
#include <catch2/catch.hpp>

#include "files/sink.h"
#include "support/memory_volume.h"
#include "support/survey.h"

namespace platter::test {
namespace {

struct Member {
  unsigned type = 0;
  std::int64_t bytes = 0;
  unsigned mode = 0;
  std::int64_t modified = 0;
  std::int64_t uid = 0;
  std::int64_t gid = 0;
  std::string link;  // of symbolic links, and "= path" for further names
  std::string content;
  std::pair<std::uint64_t, std::uint64_t> device;
};

std::map<std::string, Member> members_of(const std::string& path) {
  std::map<std::string, Member> members;
  archive* reader = archive_read_new();
  archive_read_support_filter_all(reader);
  archive_read_support_format_all(reader);
  REQUIRE(archive_read_open_filename(reader, path.c_str(), 65536) == ARCHIVE_OK);
  archive_entry* entry = nullptr;
  while (archive_read_next_header(reader, &entry) == ARCHIVE_OK) {
    std::string name = archive_entry_pathname(entry);
    if (name.ends_with('/')) name.pop_back();
    Member& member = members[name];
    member.type = archive_entry_filetype(entry);
    member.bytes = archive_entry_size(entry);
    member.mode = archive_entry_perm(entry);
    member.modified = archive_entry_mtime(entry);
    member.uid = archive_entry_uid(entry);
    member.gid = archive_entry_gid(entry);
    if (archive_entry_symlink(entry) != nullptr) member.link = archive_entry_symlink(entry);
    if (archive_entry_hardlink(entry) != nullptr) {
      member.link = std::string("= ") + archive_entry_hardlink(entry);
    }
    member.device = {archive_entry_rdevmajor(entry), archive_entry_rdevminor(entry)};
    std::string buffer(65536, '\0');
    for (la_ssize_t got = 0; (got = archive_read_data(reader, buffer.data(), buffer.size())) > 0;) {
      member.content.append(buffer, 0, static_cast<std::size_t>(got));
    }
  }
  CHECK(std::string(archive_error_string(reader) == nullptr ? "" : archive_error_string(reader))
            .empty());
  archive_read_free(reader);
  return members;
}

void fill(MemoryVolume& volume) {
  const NodeId sub = volume.add_directory(1, "sub");
  const NodeId file = volume.add_file(sub, "file", "content");
  volume.link(1, "other name", file);
  volume.add_symlink(1, "link", "sub/file");
  volume.add_file(1,
                  "gr\xC3\xBC\xC3\x9F"
                  "e",
                  std::string(100'000, 'u'));
  volume.add_file(1, std::string(200, 'n'), "long");
  const NodeId holes = volume.add_file(1, "holes", std::string(512, 'x'));
  volume.node(holes).attributes.bytes = 3'000'000;
  volume.node(holes).extents[0].offset = 1'000'000;
  Attributes device;
  device.type = NodeType::block_device;
  device.mode = 0600;
  device.device = DeviceNumber{7, 130};
  volume.add(1, "disk", device);
  const NodeId old = volume.add_file(1, "old", "before 1970");
  volume.node(old).attributes.modified = Timestamp{-86400};
}

std::vector<Finding> write_archive(const std::string& path, MemoryVolume& volume) {
  const View view = volume.view();
  std::vector<Finding> findings;
  const auto sink = archive_sink(path, "", {});
  sink->begin_volume("");
  walk(
      volume, 1, "",
      [&](const FileVisit& file) {
        sink->add(file, volume, view, findings);
        return Step::go_on;
      },
      findings, sink->order());
  CHECK_FALSE(std::filesystem::exists(path));  // under its name only when it is complete
  sink->finish(findings);
  return findings;
}

std::vector<Finding> write_archive(const std::string& path) {
  MemoryVolume volume;
  fill(volume);
  return write_archive(path, volume);
}

TEST_CASE("archives hold what the volume holds, as libarchive reads them") {
  // Names in UTF-8, whatever the locale of the tests is.
  setlocale(LC_CTYPE, "C.UTF-8");
  const TemporaryDirectory directory;
  for (const std::string ending :
       {".tar", ".tar.gz", ".tgz", ".tar.bz2", ".tar.xz", ".tar.zst", ".zip", ".cpio"}) {
    CAPTURE(ending);
    const std::string path = directory.file("out" + ending);
    const std::vector<Finding> findings = write_archive(path);
    const auto members = members_of(path);
    // A zip archive has no way to hold a device node.
    CHECK(members.size() == (ending == ".zip" ? 8 : 9));
    // Neither zip nor cpio hold a time before 1970 that every reader takes for one.
    CHECK(findings.size() == (ending == ".zip" ? 2U : ending == ".cpio" ? 1U : 0U));
    CHECK(members.at("old").modified == (ending.starts_with(".t") ? -86400 : 0));
    REQUIRE(members.contains("sub/file"));
    CHECK(members.at("sub").type == AE_IFDIR);
    CHECK(members.at("sub").mode == 0750);
    const Member& link = members.at("link");
    CHECK(link.type == AE_IFLNK);
    CHECK(link.link == "sub/file");
    const std::string umlaut =
        "gr\xC3\xBC\xC3\x9F"
        "e";
    REQUIRE(members.contains(umlaut));
    const Member& file = members.at(umlaut);
    CHECK(file.content == std::string(100'000, 'u'));
    CHECK(file.mode == 0640);
    CHECK(file.uid == 7);
    CHECK(file.gid == 8);
    CHECK(file.modified == 700'000'000);
    CHECK(members.at(std::string(200, 'n')).content == "long");
    const Member& holes = members.at("holes");
    CHECK(holes.bytes == 3'000'000);
    CHECK(holes.content.size() == 3'000'000);
    CHECK(holes.content.substr(1'000'000, 512) == std::string(512, 'x'));
    CHECK(holes.content.find_first_not_of('\0') == 1'000'000);
    CHECK(holes.content.find_last_not_of('\0') == 1'000'511);
    const std::string one = members.at("sub/file").content;
    const std::string other = members.at("other name").content;
    // The first name in the order of the walk has the content in a tar archive.
    CHECK((one == "content" || members.at("sub/file").link == "= other name"));
    CHECK((other == "content" || members.at("other name").link == "= sub/file"));
    CHECK((one == "content" || other == "content"));
    if (ending == ".zip") continue;  // has no fields for what follows
    CHECK(members.at("disk").type == AE_IFBLK);
    CHECK(members.at("disk").device == std::pair<std::uint64_t, std::uint64_t>{7, 130});
  }
}

TEST_CASE("a tar archive keeps holes, as the tar of this system unpacks it") {
  const TemporaryDirectory directory;
  const std::string path = directory.file("out.tar");
  CHECK(write_archive(path).empty());
  CHECK(std::filesystem::file_size(path) < 200'000);
  const RunResult unpacked = run("cd " + shell_word(directory.path()) +
                                 " && tar --no-same-owner --exclude=disk -xf out.tar && stat -c "
                                 "'%s %b %h' holes 'other name'");
  CAPTURE(unpacked.err);
  REQUIRE(unpacked.status == 0);
  long size = 0;
  long blocks = 0;
  REQUIRE(sscanf(unpacked.out.c_str(), "%ld %ld", &size, &blocks) == 2);
  CHECK(size == 3'000'000);
  CHECK(blocks < 1000);
  CHECK(unpacked.out.find("\n7 8 2\n") != std::string::npos);
}

// tar(1) gives a directory its mode and time when the first file follows that is not inside: what
// is inside must follow at once, or it cannot be made any more, and the time is lost.
TEST_CASE(
    "a tar archive keeps modes and times of directories, as the tar of this system unpacks it") {
  MemoryVolume volume;
  const NodeId outer = volume.add_directory(1, "outer");
  const NodeId inner = volume.add_directory(outer, "inner");
  volume.node(inner).attributes.mode = 0555;
  volume.add_file(1, "beside", "x");
  volume.add_file(outer, "in outer", "x");
  const NodeId other = volume.add_directory(1, "other");
  volume.add_file(other, "in other", "x");
  volume.add_file(inner, "in inner", "x");
  const TemporaryDirectory directory;
  CHECK(write_archive(directory.file("out.tar"), volume).empty());
  const RunResult unpacked =
      run("cd " + shell_word(directory.path()) +
          " && tar --no-same-owner -xpf out.tar && stat -c '%a %Y' outer outer/inner other && "
          "cat 'outer/inner/in inner'");
  CAPTURE(unpacked.err);
  CHECK(unpacked.out == "750 600000000\n555 600000000\n750 600000000\nx");
}

TEST_CASE("names that are no text keep their bytes in tar and cpio, and are escaped in zip") {
  setlocale(LC_CTYPE, "C.UTF-8");
  MemoryVolume volume;
  const NodeId directory = volume.add_directory(1, "d\xFF");
  volume.add_file(directory, "f\xFE", "content");
  volume.add_file(directory, "a/b", "slash");
  const TemporaryDirectory scratch;
  for (const std::string ending : {".tar", ".cpio", ".zip"}) {
    CAPTURE(ending);
    const std::string path = scratch.file("out" + ending);
    CHECK(write_archive(path, volume).empty());
    const auto members = members_of(path);
    const bool bytes = ending != ".zip";
    REQUIRE(members.contains(bytes ? "d\xFF" : "d%FF"));
    REQUIRE(members.contains(bytes ? "d\xFF/f\xFE" : "d%FF/f%FE"));
    CHECK(members.at(bytes ? "d\xFF/f\xFE" : "d%FF/f%FE").content == "content");
    CHECK(members.at(bytes ? "d\xFF/a%2Fb" : "d%FF/a%2Fb").content == "slash");
  }
}

TEST_CASE("a file that is too large for its kind of archive is a fault") {
  MemoryVolume volume;
  const NodeId large = volume.add_file(1, "large", "x");
  volume.node(large).attributes.bytes = std::uint64_t{5} << 30U;
  const TemporaryDirectory directory;
  const auto findings = write_archive(directory.file("out.cpio"), volume);
  REQUIRE(findings.size() == 1);
  CHECK(findings[0].code == FindingCode::file_left_out);
  CHECK(findings[0].severity == Severity::fault);
}

TEST_CASE("archives of an unknown ending are refused") {
  CHECK_THROWS_AS(archive_sink("/nowhere/out.rar", "", {}), std::invalid_argument);
}

}  // namespace
}  // namespace platter::test
