// Volumes of makers that share no code with platter (tools/packages.sh), from one tree.
#include <stdexcept>

#include <fmt/format.h>

#include "kernel/driver_habits.h"
#include "kernel/images.h"
#include "support/survey.h"
#include "support/xfs_prototype.h"

namespace platter::test {
namespace {

constexpr TreeView kNamesAndTimes = {.modes = false, .ids = false, .links = false};

struct Maker {
  const char* name;
  const char* made_by;
  const char* command;  ///< makes `image` from `tree`
  const char* format;
  const char* type;
  const char* options;
  NameView names = NameView::best;
  bool plain = false;  ///< from a tree of upper-case 8.3 names without links
  bool moves = false;  ///< moves directories that lie too deep
};

// The ext2 driver of this kernel is ext4's. tz, iocharset: Linux
// Documentation/filesystems/vfat.rst.
constexpr Maker kMakers[] = {
    {"mke2fs-1024", "mke2fs -b 1024 -d", "mke2fs -q -t ext2 -b 1024 -d tree image 6M", "ext2",
     "ext2", ""},
    {"mke2fs-4096", "mke2fs -b 4096 -d", "mke2fs -q -t ext2 -b 4096 -d tree image 8M", "ext2",
     "ext2", ""},
    {"mke2fs-revision-0", "mke2fs -r 0 -d", "mke2fs -q -t ext2 -r 0 -b 1024 -d tree image 6M",
     "ext2", "ext2", ""},
    {"makefs-big", "makefs -B big",
     "makefs -t ffs -f 100 -B big -o version=1,bsize=4096,fsize=512 image tree", "ffs", "ufs",
     "ufstype=44bsd"},
    {"makefs-little", "makefs -B little", "makefs -t ffs -f 100 -B little -o version=1 image tree",
     "ffs", "ufs", "ufstype=44bsd"},
    {"makefs-cd9660", "makefs -t cd9660", "makefs -t cd9660 -o rockridge image tree", "iso9660",
     "iso9660", "nojoliet", NameView::best, false, true},
    {"genisoimage", "genisoimage -R -J",
     "genisoimage -quiet -R -J -input-charset utf-8 -o image tree", "iso9660", "iso9660",
     "iocharset=utf8", NameView::best, false, true},
    {"genisoimage-joliet", "genisoimage -R -J",
     "genisoimage -quiet -R -J -input-charset utf-8 -o image tree", "iso9660", "iso9660",
     "norock,iocharset=utf8", NameView::joliet},
    {"xorriso", "xorriso -R -J", "xorriso -as mkisofs -quiet -R -J -o image tree", "iso9660",
     "iso9660", "iocharset=utf8"},
    {"mkfs-fat-12", "mkfs.fat -F 12, mcopy",
     "truncate -s 3M image && mkfs.fat -F 12 image && mcopy -s -m -i image tree/* ::", "fat12",
     "vfat", "iocharset=iso8859-1,utf8,tz=UTC", NameView::best, true},
    {"mkfs-fat-16", "mkfs.fat -F 16, mcopy",
     "truncate -s 16M image && mkfs.fat -F 16 image && mcopy -s -m -i image tree/* ::", "fat16",
     "vfat", "iocharset=iso8859-1,utf8,tz=UTC", NameView::best, true},
    {"mkfs-fat-32", "mkfs.fat -F 32, mcopy",
     "truncate -s 36M image && mkfs.fat -F 32 image && mcopy -s -m -i image tree/* ::", "fat32",
     "vfat", "iocharset=iso8859-1,utf8,tz=UTC", NameView::best, true},
    {"mkfs-xfs-512", "mkfs.xfs -m crc=0 -b size=512 -p",
     "truncate -s 20M image && mkfs.xfs --unsupported -q -m crc=0 -b size=512 -n size=4096 -p "
     "prototype image",
     "xfs", "xfs", ""},
    {"mkfs-xfs-4", "mkfs.xfs -m crc=0 -n ftype=0 -p",
     "truncate -s 20M image && mkfs.xfs --unsupported -q -m crc=0 -n ftype=0 -p prototype image",
     "xfs", "xfs", ""},
    {"mkfs-xfs-5", "mkfs.xfs -p",
     "truncate -s 20M image && mkfs.xfs --unsupported -q -p prototype image", "xfs", "xfs", ""},
    {"hformat", "hformat, hcopy",
     "truncate -s 8M image && export HOME=$PWD && hformat -l Check image && hmkdir :MANY && "
     "hcopy -r tree/*.DAT : && hcopy -r tree/MANY/* :MANY: && humount",
     "hfs", "hfs", "", NameView::best, true},
};

// A name outside ASCII.
constexpr const char* kForAll = "echo x > 'Gr\u00f6\u00dfe \u65e5\u672c.txt'";
// Directories deeper than ISO 9660 allows (makers move them), an old time, a fifo; and where the
// test runs as root, owners of more than 16 bits and devices.
constexpr const char* kForUnix =
    "mkdir -p 1/2/3/4/5/6/7/8/9/10 && echo low > 1/2/3/4/5/6/7/8/9/10/file && "
    "touch -d 1999-12-31 1/2/3/4/5/6/7/8/9/10 1/2 && "
    "echo old > old && touch -d '1961-02-03 04:05:06' old && mkfifo pipe && echo wide > wide && "
    "{ chown 70000:1234567 wide; mknod console c 5 1; mknod disk b 31 130; } 2>&1 || true";

void must(const std::string& command) {
  const RunResult result = run(command);
  if (result.status != 0) throw std::runtime_error(command + ": " + result.out + result.err);
}

}  // namespace

std::vector<VolumeImage> maker_images() {
  const TemporaryDirectory scratch;
  TreeRecipe recipe;
  recipe.largest = 300'000;
  for (const bool plain : {false, true}) {
    recipe.upper_case = plain;
    recipe.symlinks = recipe.hard_links = !plain;
    const std::string tree = scratch.file(plain ? "plain/tree" : "links/tree");
    must("mkdir " + scratch.file(plain ? "plain" : "links"));
    make_tree(tree, recipe);
    must("cd " + tree + " && " + kForAll);
    if (!plain) must("cd " + tree + " && " + kForUnix);
    const std::string prototype = xfs_prototype(tree);
    const auto bytes = std::as_bytes(std::span(prototype));
    write_file(tree + "/../prototype", {bytes.begin(), bytes.end()});
  }
  std::vector<VolumeImage> images;
  for (const Maker& maker : kMakers) {
    const std::string place = scratch.file(maker.plain ? "plain" : "links");
    must("cd " + shell_word(place) +
         " && rm -f image && export PATH=$PATH:/usr/sbin:/sbin TZ=UTC LC_ALL=C.UTF-8 "
         "MTOOLS_SKIP_CHECK=1 && ( " +
         maker.command + " )");
    VolumeImage image;
    image.name = maker.name;
    image.made_by = maker.made_by;
    image.format = maker.format;
    image.type = maker.type;
    image.options = maker.options;
    image.image = read_file(place + "/image");
    image.names = maker.names;
    if (maker.moves) image.habits = {moved_shown()};
    if (image.format == "xfs" && image.name != "mkfs-xfs-5") image.habits = {version_warned()};
    if (maker.plain || maker.names == NameView::joliet) image.kept = kNamesAndTimes;
    images.push_back(std::move(image));
  }
  return images;
}

}  // namespace platter::test
