// Volumes of stock makers are sound: going through their files, maps and records must find nothing.
// The makers: makefs, mke2fs, mkfs.fat with mtools, genisoimage, xorriso, hfsutils, mkfs.minix,
// mkfs.bfs (packages in tools/packages.sh).
#include <string>
#include <vector>

#include <catch2/catch.hpp>

#include "files/check.h"
#include "files/walk.h"
#include "job/volumes.h"
#include "support/survey.h"
#include "support/tree.h"

namespace platter::test {
namespace {

struct Maker {
  std::string name;
  std::string command;  ///< makes `image` from `tree`
  std::string layer;    ///< of the volume
  bool upper_case = false;
};

std::vector<Maker> makers() {
  return {
      {"makefs ffs big-endian", "makefs -t ffs -B big -o version=1 image tree", "ffs"},
      {"makefs ffs little-endian",
       "makefs -t ffs -B little -o version=1,bsize=4096,fsize=512 image tree", "ffs"},
      {"makefs ufs2", "makefs -t ffs -B little -o version=2 image tree", "ufs2"},
      {"makefs ufs2, large blocks",
       "makefs -t ffs -B little -o version=2,bsize=32768,fsize=4096 image tree", "ufs2"},
      {"makefs ffs, blocks without fragments",
       "makefs -t ffs -B big -o version=1,bsize=8192,fsize=8192 image tree", "ffs"},
      {"makefs cd9660", "makefs -t cd9660 -o rockridge image tree", "iso9660"},
      {"genisoimage", "genisoimage -quiet -R -J -o image tree", "iso9660"},
      {"genisoimage with a boot catalog",
       "genisoimage -quiet -R -J -b one -no-emul-boot -c catalog -o image tree", "iso9660"},
      {"xorriso", "xorriso -as mkisofs -quiet -R -J -o image tree", "iso9660"},
      {"mke2fs 1024", "mke2fs -q -t ext2 -b 1024 -d tree image 24M", "ext2"},
      {"mke2fs revision 0", "mke2fs -q -t ext2 -r 0 -b 1024 -d tree image 24M", "ext2"},
      {"mke2fs 4096", "mke2fs -q -t ext2 -b 4096 -d tree image 24M", "ext2"},
      {"mke2fs ext4", "mke2fs -q -t ext4 -d tree image 24M", "ext2"},
      {"mkfs.fat 12", "truncate -s 3M image && mkfs.fat -F 12 image && mcopy -s -i image tree/* ::",
       "fat12", true},
      {"mkfs.fat 16",
       "truncate -s 24M image && mkfs.fat -F 16 image && mcopy -s -i image tree/* ::", "fat16",
       true},
      {"mkfs.fat 16 with bad blocks and reserved sectors",
       "truncate -s 24M image && printf '100\\n101\\n9000\\n' > bad && "
       "mkfs.fat -F 16 -R 16 -f 1 -l bad image && mcopy -s -i image tree/* ::",
       "fat16", true},
      {"mkfs.fat 32",
       "truncate -s 48M image && mkfs.fat -F 32 image && mcopy -s -i image tree/* ::", "fat32",
       true},
      {"hformat",
       "truncate -s 24M image && HOME=$PWD hformat -l Check image && HOME=$PWD hcopy -r tree/*.DAT "
       ":",
       "hfs", true},
      {"hformat, larger blocks",
       "truncate -s 120M image && HOME=$PWD hformat -l Check image && HOME=$PWD hcopy -r "
       "tree/*.DAT :",
       "hfs", true},
      {"mkfs.minix", "truncate -s 4M image && mkfs.minix -3 image", "minix"},
      {"mkfs.minix with bad blocks",
       "truncate -s 4M image && printf '100\\n101\\n900\\n' > bad && "
       "mkfs.minix -2 -l bad image",
       "minix"},
      {"mkfs.bfs", "truncate -s 1M image && mkfs.bfs image", "bfs"},
  };
}

TEST_CASE("volumes of stock makers have no finding when everything is compared") {
  for (const Maker& maker : makers()) {
    CAPTURE(maker.name);
    const TemporaryDirectory scratch;
    TreeRecipe recipe;
    recipe.upper_case = maker.upper_case;
    recipe.symlinks = recipe.hard_links = !maker.upper_case;
    make_tree(scratch.file("tree"), recipe);
    const RunResult made =
        run("cd " + shell_word(scratch.path()) +
            " && export PATH=$PATH:/usr/sbin:/sbin TZ=UTC MTOOLS_SKIP_CHECK=1 && ( " +
            maker.command + " )");
    CAPTURE(made.out, made.err);
    REQUIRE(made.status == 0);
    const StraightSurvey straight = survey_straight(open_image(scratch.file("image")));
    CHECK_FALSE(any_fault(straight.survey.findings));
    Volumes volumes = open_volumes(straight, "", {});
    REQUIRE(volumes.open.size() == 1);
    OpenVolume& open = volumes.open.front();
    CHECK(open.layer->id == maker.layer);
    const VolumeCheck check = check_volume(*open.volume, open.view);
    std::string said;
    for (const Finding& finding : check.findings) {
      if (finding.severity == Severity::note) continue;
      said += std::string(finding_kind(finding.code).code) + ": " + finding.message + "\n";
    }
    CHECK(said == "");
    if (maker.name.find("mkfs.minix") == std::string::npos && maker.name != "mkfs.bfs")
      CHECK(check.files > 10);
  }
}

// A file that has a second name outside the part of the tree that is mastered: the disc states two
// names and has one, and nothing is wrong with it.
TEST_CASE("a disc of part of a tree is sound although its counts of names are of the whole") {
  const TemporaryDirectory scratch;
  const RunResult made = run("cd " + shell_word(scratch.path()) +
                             " && mkdir -p tree/part && echo text > tree/a && ln tree/a tree/part/b"
                             " && genisoimage -quiet -R -o image tree/part");
  CAPTURE(made.err);
  REQUIRE(made.status == 0);
  const StraightSurvey straight = survey_straight(open_image(scratch.file("image")));
  Volumes volumes = open_volumes(straight, "", {});
  REQUIRE(volumes.open.size() == 1);
  OpenVolume& open = volumes.open.front();
  const auto found = find_path(*open.volume, "b");
  REQUIRE(found);
  CHECK(open.volume->attributes(found->node).links == 2U);
  CHECK(check_volume(*open.volume, open.view).findings.empty());
}

}  // namespace
}  // namespace platter::test
