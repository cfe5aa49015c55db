// Every block of an ext2 volume has an owner or is the volume's own: judged by libext2fs, on
// volumes that mke2fs makes of a tree with extended attributes, and by e2fsck.
#include <sys/xattr.h>

#include <filesystem>
#include <memory>
#include <vector>

#include <catch2/catch.hpp>
#include <ext2fs/ext2fs.h>

#include "files/check.h"
#include "support/survey.h"
#include "support/tree.h"

namespace platter::test {
namespace {

using Keeper = std::unique_ptr<struct_ext2_filsys, errcode_t (*)(ext2_filsys)>;

Keeper open_with_libext2fs(const std::string& path, int more_flags = 0) {
  ext2_filsys volume = nullptr;
  REQUIRE(ext2fs_open(path.c_str(), EXT2_FLAG_64BITS | more_flags, 0, 0, unix_io_manager,
                      &volume) == 0);
  Keeper keeper(volume, ext2fs_close);
  REQUIRE(ext2fs_read_bitmaps(volume) == 0);
  return keeper;
}

int note_block(ext2_filsys, blk64_t* block, e2_blkcnt_t, blk64_t, int, void* data) {
  static_cast<std::vector<bool>*>(data)->at(static_cast<std::size_t>(*block)) = true;
  return 0;
}

// Blocks of the files that have names: content, and what leads to it.
std::vector<bool> owned_by_files(ext2_filsys volume) {
  std::vector<bool> owned(static_cast<std::size_t>(ext2fs_blocks_count(volume->super)));
  ext2_inode_scan scan = nullptr;
  REQUIRE(ext2fs_open_inode_scan(volume, 0, &scan) == 0);
  ext2_ino_t number = 0;
  ext2_inode inode{};
  while (ext2fs_get_next_inode(scan, &number, &inode) == 0 && number != 0) {
    const bool special = number < EXT2_FIRST_INO(volume->super) && number != EXT2_ROOT_INO;
    const bool unnamed = (inode.i_flags & EXT4_EA_INODE_FL) != 0 ||
                         number == volume->super->s_orphan_file_inum ||
                         number == volume->super->s_prj_quota_inum;
    if (special || unnamed || inode.i_links_count == 0) continue;
    if (!ext2fs_inode_has_valid_blocks2(volume, &inode)) continue;
    if ((inode.i_flags & EXT4_INLINE_DATA_FL) != 0) continue;
    REQUIRE(ext2fs_block_iterate3(volume, number, BLOCK_FLAG_READ_ONLY, nullptr, note_block,
                                  &owned) == 0);
  }
  ext2fs_close_inode_scan(scan);
  return owned;
}

// Of each cluster: in use and no file's, by libext2fs; our metadata and bad blocks are the same.
void compare_uses(ext2_filsys library, Volume& volume) {
  const std::vector<bool> owned = owned_by_files(library);
  const std::uint64_t block_bytes = library->blocksize;
  const auto cluster = static_cast<std::uint64_t>(EXT2FS_CLUSTER_RATIO(library));
  const std::uint64_t first = library->super->s_first_data_block;
  std::vector<bool> ours(owned.size());
  volume.each_run([&](const BlockRun& run) {
    if (run.use != BlockUse::metadata && run.use != BlockUse::bad) return true;
    for (std::uint64_t at = run.start; at < run.start + run.bytes; at += block_bytes)
      ours.at(static_cast<std::size_t>(at / block_bytes)) = true;
    return true;
  });
  const auto any = [&](const std::vector<bool>& all, std::uint64_t from) {
    for (std::uint64_t block = from; block < from + cluster && block < all.size(); ++block) {
      if (all[static_cast<std::size_t>(block)]) return true;
    }
    return false;
  };
  std::uint64_t differing = 0;
  std::uint64_t last = 0;
  for (std::uint64_t block = first; block < owned.size(); block += cluster) {
    const bool used = ext2fs_test_block_bitmap2(library->block_map, block) != 0;
    const bool own = used && !any(owned, block);
    if (own == any(ours, block)) continue;
    ++differing;
    last = block;
  }
  CAPTURE(last);
  CHECK(differing == 0);
}

void add_attribute(const std::string& path, const char* name, std::size_t bytes) {
  const std::string value(bytes, 'x');
  CAPTURE(path);
  REQUIRE(setxattr(path.c_str(), name, value.data(), value.size(), 0) == 0);
}

void check_with_e2fsck(const std::string& path) {
  const RunResult judged = run("e2fsck -fn " + shell_word(path) + " 2>&1");
  CAPTURE(judged.out);
  REQUIRE(judged.status == 0);
}

void check_sound(const std::string& path) {
  const View view(map_file(path));
  const auto volume = open_volume("ext2", view);
  std::string said;
  for (const Finding& finding : check_volume(*volume, view).findings)
    said += finding.message + "\n";
  CHECK(said == "");
  compare_uses(open_with_libext2fs(path).get(), *volume);
}

TEST_CASE("ext2: every block is a file's or the volume's own", "[ext2]") {
  const TemporaryDirectory directory;
  const std::string source = directory.file("tree");
  make_tree(source, {.unit = 1024, .largest = 300'000, .entries = 60});
  for (const char* name : {"/one", "/empty", "/many"})
    add_attribute(source + name, "user.same", 300);
  for (const char* name : {"/empty", "/many"})
    add_attribute(source + name, "user.more", 200);
  write_file(directory.file("bad"), {});
  REQUIRE(run("printf '5000\\n5001\\n9000\\n' > " + shell_word(directory.file("bad"))).status == 0);
  const std::string bad = " -l " + shell_word(directory.file("bad"));
  for (const std::string& options :
       {std::string("-t ext2 -b 1024"), std::string("-t ext2 -b 1024 -I 128"),
        std::string("-t ext2 -b 4096"), std::string("-t ext2 -b 1024 -r 0"),
        "-t ext2 -b 1024" + bad, std::string("-t ext3 -b 1024"), "-t ext4 -b 1024" + bad,
        std::string("-t ext4 -b 1024 -O quota,project,inline_data -I 256"),
        std::string("-t ext4 -b 1024 -O orphan_file,mmp"),
        std::string("-t ext4 -b 1024 -O sparse_super2,^resize_inode"),
        std::string("-t ext4 -b 1024 -O meta_bg,^resize_inode"),
        std::string("-t ext4 -b 1024 -O 64bit -E resize=1000000"),
        std::string("-t ext4 -b 4096 -O bigalloc,mmp,quota"),
        std::string("-t ext2 -b 1024 -o hurd -I 128")}) {
    CAPTURE(options);
    const std::string path = directory.file("volume.img");
    std::filesystem::remove(path);
    const RunResult made = run("mke2fs -q -F " + options + " -d " + shell_word(source) + " " +
                               shell_word(path) + " 40M 2>&1");
    CAPTURE(made.out);
    REQUIRE(made.status == 0);
    // With -d, mke2fs 1.47.0 writes the quotas of an empty volume; blocks are all accounted for.
    if (options.find("quota") == std::string::npos) check_with_e2fsck(path);
    check_sound(path);
  }
  // Values too large for a block.
  add_attribute(source + "/one", "user.large", 3000);
  for (const char* options : {"-t ext4 -b 1024 -O ea_inode", "-t ext4 -b 4096 -O ea_inode,bigalloc",
                              "-t ext4 -b 1024 -O ea_inode,inline_data"}) {
    CAPTURE(options);
    const std::string path = directory.file("volume.img");
    std::filesystem::remove(path);
    const RunResult made = run("mke2fs -q -F " + std::string(options) + " -d " +
                               shell_word(source) + " " + shell_word(path) + " 40M 2>&1");
    CAPTURE(made.out);
    REQUIRE(made.status == 0);
    check_sound(path);  // mke2fs 1.47.0 leaves such values out of i_blocks, which e2fsck tells
  }
}

// Two files with one block of attributes, written by libext2fs as kernels do it.
TEST_CASE("ext2: a shared block of attributes has the count that e2fsck wants", "[ext2]") {
  const TemporaryDirectory directory;
  const std::string source = directory.file("tree");
  const std::string path = directory.file("volume.img");
  REQUIRE(run("mkdir " + shell_word(source) + " && cd " + shell_word(source) +
              " && echo 1 > one && echo 2 > two")
              .status == 0);
  add_attribute(source + "/one", "user.same", 700);
  const RunResult made = run("mke2fs -q -F -t ext2 -b 1024 -d " + shell_word(source) + " " +
                             shell_word(path) + " 4M 2>&1");
  REQUIRE(made.status == 0);
  const auto change = [&](std::int32_t by) {
    const Keeper library = open_with_libext2fs(path, EXT2_FLAG_RW);
    ext2_ino_t one = 0;
    ext2_ino_t two = 0;
    REQUIRE(ext2fs_namei(library.get(), EXT2_ROOT_INO, EXT2_ROOT_INO, "one", &one) == 0);
    REQUIRE(ext2fs_namei(library.get(), EXT2_ROOT_INO, EXT2_ROOT_INO, "two", &two) == 0);
    ext2_inode inode{};
    REQUIRE(ext2fs_read_inode(library.get(), one, &inode) == 0);
    const blk64_t block = ext2fs_file_acl_block(library.get(), &inode);
    REQUIRE(block != 0);
    REQUIRE(ext2fs_read_inode(library.get(), two, &inode) == 0);
    if (ext2fs_file_acl_block(library.get(), &inode) == 0) {
      ext2fs_file_acl_block_set(library.get(), &inode, block);
      inode.i_blocks += 2;  // of 512 bytes
      REQUIRE(ext2fs_write_inode(library.get(), two, &inode) == 0);
    }
    std::uint32_t count = 0;
    REQUIRE(ext2fs_adjust_ea_refcount3(library.get(), block, nullptr, by, &count, one) == 0);
    return count;
  };
  CHECK(change(1) == 2);
  check_with_e2fsck(path);
  check_sound(path);
  CHECK(change(1) == 3);
  CHECK(run("e2fsck -fn " + shell_word(path)).status != 0);
  const View view(map_file(path));
  const auto volume = open_volume("ext2", view);
  const auto findings = check_volume(*volume, view).findings;
  REQUIRE(findings.size() == 1);
  CHECK_THAT(findings[0].message,
             Catch::Contains("says that 3 inodes share it, expected 2 as name it"));
}

}  // namespace
}  // namespace platter::test
