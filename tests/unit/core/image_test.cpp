// Opening files, compressed streams and archives; containers made by stock tools.
#include "core/image.h"

#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <fstream>
#include <random>

#include <catch2/catch.hpp>

#include "core/packed.h"
#include "core/view.h"
#include "support/survey.h"

namespace platter {
namespace {

std::vector<std::byte> sample_content() {
  std::mt19937 random(7);
  std::vector<std::byte> bytes(300'000);
  for (std::size_t i = 0; i < 100'000; ++i)
    bytes[i] = static_cast<std::byte>(random());
  bytes[250'000] = std::byte{1};  // long runs of zeros before and behind it
  return bytes;
}

std::vector<std::byte> content_of(const Image& image) {
  return View(image.source).read_vector(0, kLargest);
}

TEST_CASE("a plain file is opened as it is") {
  const test::TemporaryDirectory scratch;
  const auto content = sample_content();
  test::write_file(scratch.file("plain.img"), content);
  const Image image = open_image(scratch.file("plain.img"));
  CHECK(image.bytes == content.size());
  CHECK(image.stored_bytes == content.size());
  CHECK(image.container.empty());
  CHECK(content_of(image) == content);
}

TEST_CASE("an empty file is an image of no bytes") {
  const test::TemporaryDirectory scratch;
  test::write_file(scratch.file("empty"), {});
  CHECK(open_image(scratch.file("empty")).bytes == 0);
}

TEST_CASE("compressed streams are told by their first bytes and unpacked") {
  const test::TemporaryDirectory scratch;
  const auto content = sample_content();
  test::write_file(scratch.file("plain"), content);
  struct Case {
    const char* tool;
    const char* name;
  };
  // gzip, bzip2 and xz are required packages of tests/check; the witness is each format's own tool.
  for (const Case one : {Case{"gzip", "gzip"}, Case{"bzip2", "bzip2"}, Case{"xz", "xz"}}) {
    CAPTURE(one.tool);
    const std::string packed = scratch.file("no-telling-name");
    REQUIRE(
        test::run(std::string(one.tool) + " -c " + scratch.file("plain") + " > " + packed).status ==
        0);
    const Image image = open_image(packed);
    CHECK(image.container == std::vector<std::string>{one.name});
    CHECK(image.bytes == content.size());
    CHECK(image.stored_bytes == test::read_file(packed).size());
    CHECK(content_of(image) == content);
  }
}

// Most Unix volumes and discs begin with an empty block, which is what a tar archive ends with.
TEST_CASE("a compressed image that begins with zeros is no empty archive") {
  const test::TemporaryDirectory scratch;
  std::vector<std::byte> content(100'000);
  content[40'000] = std::byte{'x'};
  test::write_file(scratch.file("plain"), content);
  for (const char* tool : {"gzip", "bzip2", "xz"}) {
    CAPTURE(tool);
    const std::string packed = scratch.file("packed");
    REQUIRE(test::run(std::string(tool) + " -c " + scratch.file("plain") + " > " + packed).status ==
            0);
    const Image image = open_image(packed);
    CHECK(image.container == std::vector<std::string>{tool});
    CHECK(content_of(image) == content);
    CHECK_THROWS_AS(open_image(packed + "::member"), IoError);
  }
}

TEST_CASE("a pipe with a name is read like standard input") {
  const test::TemporaryDirectory scratch;
  const auto content = sample_content();
  test::write_file(scratch.file("plain"), content);
  const std::string pipe = scratch.file("pipe");
  REQUIRE(mkfifo(pipe.c_str(), 0600) == 0);
  REQUIRE(test::run("sh -c 'cat " + scratch.file("plain") + " > " + pipe + " &'").status == 0);
  CHECK(content_of(open_image(pipe)) == content);
}

TEST_CASE("an archive with one file needs no member name, one with several does") {
  const test::TemporaryDirectory scratch;
  const auto content = sample_content();
  test::write_file(scratch.file("disc.iso"), content);
  test::write_file(scratch.file("notes.txt"), std::vector<std::byte>(10, std::byte{'x'}));
  const std::string in = "cd " + scratch.path() + " && ";
  REQUIRE(test::run(in + "tar cf one.tar disc.iso && tar czf two.tgz disc.iso notes.txt").status ==
          0);

  const Image one = open_image(scratch.file("one.tar"));
  CHECK(one.member == "disc.iso");
  CHECK(one.container == std::vector<std::string>{"tar"});
  CHECK(content_of(one) == content);

  const Image two = open_image(scratch.file("two.tgz"));
  CHECK(two.container.empty());
  CHECK(two.archive_members == std::vector<std::string>{"disc.iso", "notes.txt"});

  const Image named = open_image(scratch.file("two.tgz") + "::disc.iso");
  CHECK(named.container == std::vector<std::string>{"gzip", "tar"});
  CHECK(content_of(named) == content);

  CHECK_THROWS_AS(open_image(scratch.file("two.tgz") + "::absent"), IoError);
  CHECK_THROWS_AS(open_image(scratch.file("disc.iso") + "::disc.iso"), IoError);
}

TEST_CASE("the spool limit is kept, and said") {
  const test::TemporaryDirectory scratch;
  test::write_file(scratch.file("plain"), sample_content());
  REQUIRE(test::run("gzip -k " + scratch.file("plain")).status == 0);
  CHECK_NOTHROW(open_image(scratch.file("plain.gz"), {.spool_limit = 300'000}));
  CHECK_THROWS_WITH(open_image(scratch.file("plain.gz"), {.spool_limit = 299'999}),
                    Catch::Contains("spool-limit"));
}

TEST_CASE("a container that is cut or damaged is an error with its place, not a guess") {
  const test::TemporaryDirectory scratch;
  test::write_file(scratch.file("plain"), sample_content());
  REQUIRE(test::run("gzip -k " + scratch.file("plain")).status == 0);
  auto packed = test::read_file(scratch.file("plain.gz"));
  packed.resize(packed.size() / 2);
  test::write_file(scratch.file("cut.gz"), packed);
  CHECK_THROWS_AS(open_image(scratch.file("cut.gz")), IoError);
  for (std::size_t length = 0; length < 64; ++length) {
    auto head = packed;
    head.resize(length);
    test::write_file(scratch.file("head.gz"), head);
    try {
      (void)open_image(scratch.file("head.gz"));
    } catch (const IoError& error) {
      CHECK_FALSE(error.reason().empty());
    }
  }
}

TEST_CASE("a file that shrinks while it is mapped is an error, not the end of the process") {
  const test::TemporaryDirectory scratch;
  const std::string path = scratch.file("shrinks");
  test::write_file(path, std::vector<std::byte>(1U << 20U, std::byte{5}));
  const auto source = map_file(path);
  std::vector<std::byte> out(4096);
  REQUIRE(source->read(900'000, out) == 4096);
  REQUIRE(truncate(path.c_str(), 8192) == 0);
  CHECK(source->read(0, out) == 4096);
  CHECK_THROWS_AS(source->read(500'000, out), IoError);
  CHECK(source->read(4096, out) == 4096);  // and it can be used on
}

TEST_CASE("bytes in place are the file's, and zeros once the file has lost them") {
  const test::TemporaryDirectory scratch;
  const std::string path = scratch.file("shrinks");
  const std::vector<std::byte> content = sample_content();
  test::write_file(path, content);
  const View whole(map_file(path));
  const View view = whole.sub(1000, kLargest);
  const auto start = view.in_place(0, 4096);
  const auto far_off = view.in_place(180'000, 90'000);
  REQUIRE(start.size() == 4096);
  REQUIRE(far_off.size() == 90'000);
  CHECK(std::ranges::equal(start, std::span(content).subspan(1000, 4096)));
  CHECK(std::ranges::equal(far_off, std::span(content).subspan(181'000, 90'000)));
  CHECK(view.in_place(299'000, 1).empty());
  CHECK(view.in_place(298'999, 2).empty());
  CHECK(view.in_place(kLargest, 1).empty());
  CHECK_FALSE(view.lost_in_place());

  REQUIRE(truncate(path.c_str(), 100'000) == 0);
  CHECK(std::ranges::count(far_off, std::byte{0}) == 90'000);
  CHECK(view.lost_in_place());
  CHECK(view.in_place(0, 4096).empty());  // from now on everything is read
  std::vector<std::byte> out(4096);
  CHECK_THROWS_AS(view.read(200'000, out), IoError);
  CHECK(view.read(0, out) == 4096);
  CHECK(std::ranges::equal(out, std::span(content).subspan(1000, 4096)));
}

TEST_CASE("bytes in place that are lost before anybody looks are not given") {
  const test::TemporaryDirectory scratch;
  const std::string path = scratch.file("shrinks");
  test::write_file(path, sample_content());
  const View view(map_file(path));
  REQUIRE(truncate(path.c_str(), 100'000) == 0);
  CHECK(view.in_place(200'000, 4096).empty());
  CHECK_FALSE(view.lost_in_place());
  CHECK(view.in_place(0, 4096).size() == 4096);
}

TEST_CASE("errors of opening name the path and the system's reason") {
  CHECK_THROWS_WITH(open_image("/no/such/image"), Catch::Contains("/no/such/image"));
  CHECK_THROWS_WITH(open_image("/"), Catch::Contains("directory"));
}

TEST_CASE("container kinds are told by magic alone when the bytes are there") {
  const auto kind = [](std::string text) {
    text.resize(512);
    return container_kind(std::as_bytes(std::span(text)));
  };
  CHECK(kind("PK\x03\x04") == "zip");
  CHECK(kind("070701") == "cpio");
  CHECK(kind("\x1F\x9D") == "compress");
  CHECK(kind("BZh9 no bzip2 stream") == "");
  CHECK(container_kind({}) == "");
}

}  // namespace
}  // namespace platter
