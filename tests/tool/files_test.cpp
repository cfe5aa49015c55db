// files, extract and boot as a person runs them.
#include <filesystem>
#include <fstream>
#include <iterator>
#include <map>
#include <sstream>

#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>

#include "tool/program.h"

namespace platter::test {
namespace {

using Json = nlohmann::json;
namespace fs = std::filesystem;

std::vector<Json> json_lines(const std::string& text) {
  std::vector<Json> lines;
  std::istringstream in(text);
  for (std::string line; std::getline(in, line);)
    lines.push_back(Json::parse(line));
  return lines;
}

std::string content_of(const std::string& path) {
  std::ifstream file(path, std::ios::binary);
  return {std::istreambuf_iterator<char>(file), {}};
}

TEST_CASE("files lists a disc: paths, details, a tree, JSON Lines") {
  const RunResult paths = platter("files " + disc());
  CHECK(paths.status == 0);
  CHECK(paths.err.empty());
  CHECK(paths.out.find("RELEASE.NOTES\n") != std::string::npos);
  CHECK(paths.out.find("kernels/corvid340\n") != std::string::npos);
  CHECK(paths.out.find("kernels/\n") != std::string::npos);

  const RunResult details = platter("files --long " + disc() + " kernels");
  CHECK(details.status == 0);
  CHECK(details.out.find("-rwxr-xr-x") != std::string::npos);
  CHECK(details.out.find("1995-03-02T00:00:00Z") != std::string::npos);
  CHECK(details.out.find("RELEASE") == std::string::npos);

  const RunResult tree = platter("files --tree " + disc());
  CHECK(tree.out.find("kernels/\n  corvid340\n") != std::string::npos);

  std::map<std::string, Json> by_path;
  for (const Json& line : json_lines(platter("files --json " + disc()).out)) {
    by_path[line.at("path").get<std::string>()] = line;
  }
  const Json& kernel = by_path.at("kernels/corvid340");
  CHECK(kernel.at("type") == "file");
  CHECK(kernel.at("mode") == "0755");
  CHECK(kernel.at("layer") == "iso9660");
  CHECK(kernel.at("modified") == "1995-03-02T00:00:00Z");
  REQUIRE(kernel.at("extents").size() == 1);
  // The extent is where the content lies in the image.
  const std::string image = content_of(disc());
  CHECK(image.substr(kernel.at("extents").at(0).at(0), kernel.at("extents").at(0).at(1)) ==
        platter("extract " + disc() + " kernels/corvid340 --show").out);
}

TEST_CASE("files heads each volume when there are several, and takes one with --in") {
  const RunResult both = platter("files " + disk());
  CHECK(both.status == 0);
  CHECK(both.out.find("sun/a/ffs: FFS filesystem\n") != std::string::npos);
  CHECK(both.out.find("sun/g/ffs: FFS filesystem\n") != std::string::npos);
  const RunResult one = platter("files --in sun/g " + disk());
  CHECK(one.out.find("bin/make\n") != std::string::npos);
  CHECK(one.out.find("etc/motd") == std::string::npos);
  CHECK(one.out.find("FFS") == std::string::npos);
  const RunResult link = platter("files --long --in sun/a " + disk() + " bin");
  CHECK(link.out.find("bin -> usr/bin\n") != std::string::npos);
  const RunResult pattern = platter("files " + disk() + " '**/[ef]*'");
  CHECK(pattern.out.find("etc/hosts") != std::string::npos);
  CHECK(pattern.out.find("sbin/init") == std::string::npos);
}

TEST_CASE("files and extract say what is not there") {
  CHECK(platter("files " + disc() + " nowhere").status == 1);
  CHECK(platter("files " + disc() + " nowhere").err == "platter: no file is called 'nowhere'\n");
  CHECK(platter("files " + disc() + " 'nowhere/*'").err == "platter: no file fits 'nowhere/*'\n");
  const RunResult no_layer = platter("files --in sun/z " + disk());
  CHECK(no_layer.status == 2);
  CHECK(no_layer.err.find("these have files: sun/a/ffs, sun/g/ffs") != std::string::npos);
  const RunResult none = platter("files /bin/sh");
  CHECK(none.status == 1);
  CHECK(none.err.find("nothing is recognised") != std::string::npos);
  const TemporaryDirectory scratch;
  const std::string archive = scratch.file("two.tar");
  std::ofstream(scratch.file("one")) << "1";
  std::ofstream(scratch.file("two")) << "2";
  REQUIRE(run("tar -cf " + archive + " -C " + scratch.path() + " one two").status == 0);
  const RunResult several = platter("files " + archive);
  CHECK(several.status == 1);
  CHECK(several.err.find("name one: '" + archive + "::one'") != std::string::npos);
  CHECK(platter("extract " + disc()).status == 2);
  CHECK(platter("files /nowhere/at/all").status == 3);
}

TEST_CASE("files --check goes through every volume") {
  const RunResult sound = platter("files --check " + disk());
  CAPTURE(sound.out, sound.err);
  CHECK(sound.status == 0);
  CHECK(sound.err.empty());
  CHECK(sound.out.find("sun/a/ffs: ") != std::string::npos);
  CHECK(sound.out.find(", 0 findings\n") != std::string::npos);
  CHECK(platter("files --check --json " + disk()).status == 2);
  CHECK(platter("files --check " + disk() + " etc").status == 2);
}

TEST_CASE("extract puts files into a directory and into archives") {
  const TemporaryDirectory scratch;
  const std::string out = scratch.file("out");
  const RunResult all = platter("extract " + disc() + " --to " + out);
  CAPTURE(all.err);
  CHECK(all.status == 0);
  CHECK(all.out.find("5 files, 2 directories") != std::string::npos);
  CHECK(fs::file_size(out + "/kernels/corvid340") > 100'000);
  CHECK((fs::status(out + "/kernels/corvid340").permissions() & fs::perms::owner_exec) !=
        fs::perms::none);
  // Once more: nothing that is there is replaced.
  CHECK(platter("extract " + disc() + " --to " + out).status == 3);
  CHECK(platter("extract " + disc() + " --to " + out + " --force").status == 0);

  const std::string archive = scratch.file("files.tar.gz");
  CHECK(platter("extract --in sun/a/ffs " + disk() + " etc --archive " + archive).status == 0);
  const RunResult listed = run("tar -tzf " + archive);
  CHECK(listed.out.find("etc/motd\n") != std::string::npos);
  CHECK(listed.out.find("sbin") == std::string::npos);
  CHECK(platter("extract " + disc() + " --archive " + scratch.file("files.rar")).status == 2);
  CHECK(platter("extract " + disc() + " --archive " + disc() + " --force").status == 2);

  // Two volumes: a directory for each.
  const std::string both = scratch.file("both");
  CHECK(platter("extract " + disk() + " --to " + both).status == 0);
  CHECK(fs::exists(both + "/sun.a.ffs/etc/motd"));
  CHECK(fs::exists(both + "/sun.g.ffs/bin/make"));
  CHECK(fs::read_symlink(both + "/sun.a.ffs/bin") == "usr/bin");
}

TEST_CASE("extract takes a damaged file out as far as it goes") {
  const TemporaryDirectory scratch;
  const RunResult cut = platter("extract " + cut_disc() + " --to " + scratch.file("out"));
  CHECK(cut.status == 1);
  CHECK(cut.err.find("content-missing") != std::string::npos);
  CHECK(fs::exists(scratch.file("out/README")));
  const RunResult strict =
      platter("extract --strict " + cut_disc() + " --to " + scratch.file("strict"));
  CHECK(strict.status == 1);
  CHECK(strict.out.find("left out") != std::string::npos);
}

TEST_CASE("extract --show prints one file, and says why not") {
  CHECK(platter("extract " + disc() + " 'READ*' --show").out ==
        platter("extract " + disc() + " README --show").out);
  CHECK(platter("extract " + disc() + " readme --ignore-case --show").status == 0);
  const RunResult many = platter("extract " + disc() + " 'R*' --show");
  CHECK(many.status == 2);
  CHECK(many.out.empty());
  CHECK(many.err.find("'README' in iso9660 and 'RELEASE.NOTES' in iso9660") != std::string::npos);
  const RunResult directory = platter("extract " + disc() + " kernels --show");
  CHECK(directory.status == 1);
  CHECK(directory.err.find("'kernels' is a directory") != std::string::npos);
  const RunResult link = platter("extract --in sun/a " + disk() + " bin --show");
  CHECK(link.status == 1);
  CHECK(link.err.find("'bin' is a symlink to 'usr/bin'") != std::string::npos);
  CHECK(platter("extract " + disc() + " nowhere --show").status == 1);
  CHECK(platter("extract " + disc() + " README kernels --show").status == 2);
}

TEST_CASE("a standard output that takes no more is named with the system's reason") {
  const RunResult full = platter("extract " + disc() + " sets/base.tar --show > /dev/full");
  CHECK(full.status == 3);
  CHECK(full.err == "platter: standard output: byte 0: No space left on device\n");
  // The shell's own status is that of the reader, so the program's is printed.
  const std::string show =
      std::string(PLATTER_PROGRAM) + " extract " + disc() + " sets/base.tar --show";
  const RunResult closed = run("{ " + show + "; echo status $? >&2; } | head -c 1");
  CHECK(closed.err.find("Broken pipe\nstatus 3\n") != std::string::npos);
  CHECK(closed.err.starts_with("platter: standard output: byte "));
}

TEST_CASE("what several paths mean is taken out once") {
  const TemporaryDirectory scratch;
  const std::string out = scratch.file("out");
  const RunResult both =
      platter("extract " + disc() + " kernels kernels/corvid340 kernels/ --to " + out);
  CHECK(both.status == 0);
  CHECK(both.err.empty());
  CHECK(both.out.find("1 file, 1 directory") != std::string::npos);
  CHECK_FALSE(fs::exists(out + "/kernels/corvid340~2"));
}

TEST_CASE("files reads a compressed image that begins with zeros") {
  const TemporaryDirectory scratch;
  const std::string slice = scratch.file("slice.img");
  // The filesystem of the demo disk's second slice: its first block is empty.
  REQUIRE(run("dd if=" + disk() + " of=" + slice + " bs=512 skip=40960 count=89600 2>&1").status ==
          0);
  REQUIRE(run("gzip " + slice).status == 0);
  const RunResult listed = platter("files " + slice + ".gz");
  CHECK(listed.status == 0);
  CHECK(listed.out.find("bin/make\n") != std::string::npos);
}

// A volume of mke2fs: one group, so that its directories and the records of most files lie behind
// the first half megabyte.
TEST_CASE("a listing that lacks files because the image is cut short says so") {
  const TemporaryDirectory scratch;
  fs::create_directories(scratch.file("tree/many"));
  for (int i = 0; i < 3000; ++i)
    std::ofstream(scratch.file("tree/many/" + std::string(100, 'n') + std::to_string(i)));
  std::ofstream(scratch.file("tree/near")) << "x";
  const std::string image = scratch.file("volume.img");
  REQUIRE(run("mke2fs -q -F -t ext2 -b 1024 -N 4000 -d " + scratch.file("tree") + " " + image +
              " 8M 2>&1")
              .status == 0);
  CHECK(platter("files " + image).err.empty());
  fs::resize_file(image, 512 * 1024);
  const RunResult listed = platter("files " + image);
  CAPTURE(listed.err);
  CHECK(listed.status == 1);
  CHECK(listed.err.find("content-missing: ext2: ") != std::string::npos);
  CHECK(listed.err.find("bytes of this directory; what they name is not listed") !=
        std::string::npos);
  CHECK(platter("extract " + image + " --to " + scratch.file("out")).status == 1);
}

TEST_CASE("boot judges every machine, and the asked one decides the status") {
  const RunResult all = platter("boot --json " + disk());
  REQUIRE(all.status == 0);
  const Json document = Json::parse(all.out);
  CHECK(document.at("schema") == "platter.boot/1");
  CHECK(document.at("boot") == Json::parse(platter("inspect --json " + disk()).out).at("boot"));
  CHECK(document.at("boot").size() == 28);

  // The demo disk has a boot block, the demo disc only a label.
  const RunResult ready = platter("boot --machine sparc --as disk " + disk());
  CHECK(ready.status == 0);
  CHECK(ready.out.find("sparc (disk) ready") != std::string::npos);
  CHECK(ready.out.find("MISSING") == std::string::npos);
  const RunResult sparc = platter("boot --machine sparc --as optical " + disc());
  CHECK(sparc.status == 1);
  CHECK(sparc.out.find("incomplete") != std::string::npos);
  CHECK(sparc.out.find("MISSING") != std::string::npos);
  CHECK(sparc.out.find("What to do") != std::string::npos);
  const Json rows = Json::parse(platter("boot --json --machine sparc --as optical " + disc()).out);
  REQUIRE(rows.at("boot").size() == 1);
  CHECK(rows.at("boot").at(0).at("verdict") == "incomplete");
  CHECK(rows.at("findings").at(0).at("severity") == "fault");
  CHECK(platter("boot --machine hppa " + disk()).status == 1);

  const RunResult unknown = platter("boot --machine pdp11 " + disk());
  CHECK(unknown.status == 2);
  CHECK(unknown.err.find("sparc64") != std::string::npos);
}

}  // namespace
}  // namespace platter::test
