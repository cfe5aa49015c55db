// S5 volumes against libblkid, which knows their magic and name; and volumes of stock makers of
// other filesystems, which must not be taken for one without a magic. Directories, extents and free
// lists are compared with an independent reading in unit/filesystem/old_unix_writer_test.cpp,
// because no library reads them. (libblkid looks for Xenix at byte 2048, where no superblock ends,
// and for neither EFS nor the others.)

#include <catch2/catch.hpp>

#include "core/claim.h"
#include "formats.h"
#include "reference/blkid_probe.h"
#include "support/survey.h"
#include "writers/s5_writer.h"

namespace platter::test {
namespace {

TEST_CASE("s5: magic and name as libblkid sees them", "[s5]") {
  const TemporaryDirectory directory;
  const std::string path = directory.file("volume.img");
  for (const ByteOrder order : {ByteOrder::little, ByteOrder::big}) {
    for (const std::size_t base : {0U, 9216U, 15360U, 18432U}) {
      CAPTURE(base, byte_order_name(order));
      fixtures::S5Writer writer({.order = order, .name = "museum"});
      writer.add_file("a", "content");
      std::vector<std::byte> image(base);
      const auto volume = writer.build();
      image.insert(image.end(), volume.begin(), volume.end());
      write_file(path, image);
      const View view = view_of(image);
      const auto found = find_format("s5")->claims(view, {.image = view});
      REQUIRE(found.size() == 1);
      CHECK(found.front().start == base);
      CHECK(blkid_value(path, "TYPE") == "sysv");
      CHECK(blkid_value(path, "LABEL") == found.front().facts.words("volume_name"));
      const RecordData& record = found.front().records.front();
      CHECK(blkid_value(path, "SBMAGIC_OFFSET") ==
            std::to_string(record.start + record.structure->find("magic")->offset));
    }
  }
}

TEST_CASE("old unix: volumes of stock makers of other filesystems are none", "[s5][v7][v6]") {
  const TemporaryDirectory directory;
  const std::string tree = shell_word(directory.file("tree"));
  REQUIRE(run("mkdir -p " + tree + "/d && echo hello > " + tree + "/d/hello").status == 0);
  const std::string path = directory.file("volume.img");
  const std::string out = shell_word(path);
  const std::string commands[] = {"mke2fs -q -F -t ext2 -b 1024 -d " + tree + " " + out + " 4M",
                                  "mke2fs -q -F -t ext2 -b 4096 -d " + tree + " " + out + " 4M",
                                  "makefs -t ffs -B be -s 4m " + out + " " + tree,
                                  "makefs -t ffs -B le -s 4m " + out + " " + tree,
                                  "makefs -t cd9660 -o rockridge " + out + " " + tree,
                                  "truncate -s 2M " + out + " && mkfs.fat -F 12 " + out,
                                  "truncate -s 40M " + out + " && mkfs.fat -F 32 " + out};
  for (const std::string& command : commands) {
    std::remove(path.c_str());
    const RunResult made = run(command + " 2>&1");
    CAPTURE(command, made.out);
    REQUIRE(made.status == 0);
    const View view = view_of(read_file(path));
    for (const char* format : {"efs", "s5", "xenix", "coherent", "v7", "v6"}) {
      CAPTURE(format);
      CHECK(find_format(format)->claims(view, {.image = view}).empty());
    }
  }
}

}  // namespace
}  // namespace platter::test
