// The files of ext2 volumes against what shares no code with platter: volumes that mke2fs makes of
// a tree of this machine, compared with the tree itself and with what libext2fs reads from them.
#include <fcntl.h>
#include <sys/stat.h>
#include <sys/sysmacros.h>
#include <unistd.h>

#include <algorithm>
#include <filesystem>
#include <fstream>
#include <memory>

#include <catch2/catch.hpp>
#include <ext2fs/ext2fs.h>

#include "core/digest.h"
#include "files/content.h"
#include "files/walk.h"
#include "support/survey.h"
#include "support/tree.h"

namespace platter::test {
namespace {

using Keeper = std::unique_ptr<struct_ext2_filsys, errcode_t (*)(ext2_filsys)>;

Keeper open_with_libext2fs(const std::string& path) {
  ext2_filsys volume = nullptr;
  REQUIRE(ext2fs_open(path.c_str(), EXT2_FLAG_64BITS, 0, 0, unix_io_manager, &volume) == 0);
  Keeper keeper(volume, ext2fs_close);
  REQUIRE(ext2fs_read_bitmaps(volume) == 0);
  return keeper;
}

std::string content_of(ext2_filsys volume, ext2_ino_t inode, std::uint64_t bytes) {
  ext2_file_t file = nullptr;
  REQUIRE(ext2fs_file_open(volume, inode, 0, &file) == 0);
  std::string text(bytes, '\0');
  std::size_t done = 0;
  while (done < text.size()) {
    unsigned got = 0;
    REQUIRE(ext2fs_file_read(file, text.data() + done, static_cast<unsigned>(text.size() - done),
                             &got) == 0);
    if (got == 0) break;
    done += got;
  }
  ext2fs_file_close(file);
  return text;
}

struct LibraryWalk {
  ext2_filsys volume;
  Tree tree;
  std::map<std::string, DeviceNumber> devices;
  std::string prefix;
};

void add_directory(LibraryWalk& walk, ext2_ino_t inode, const std::string& prefix);

int add_entry(ext2_dir_entry* entry, int, int, char*, void* data) {
  auto& walk = *static_cast<LibraryWalk*>(data);
  const std::string name(entry->name, static_cast<std::size_t>(ext2fs_dirent_name_len(entry)));
  if (name == "." || name == "..") return 0;
  ext2_inode_large large{};
  auto& inode = *reinterpret_cast<ext2_inode*>(&large);
  REQUIRE(ext2fs_read_inode_full(walk.volume, entry->inode, &inode, sizeof large) == 0);
  TreeFile file;
  const NodeType type = type_of_mode(inode.i_mode);
  file.type = node_type_name(type);
  file.mode = inode.i_mode & 07777U;
  file.uid = inode_uid(inode);
  file.gid = inode_gid(inode);
  file.modified = static_cast<std::int32_t>(inode.i_mtime);
  if (type != NodeType::directory) file.links = inode.i_links_count;
  if (type == NodeType::file || type == NodeType::symlink) file.bytes = EXT2_I_SIZE(&inode);
  const std::string path = walk.prefix + name;
  if (type == NodeType::symlink) {
    const bool fast = ext2fs_is_fast_symlink(&inode) != 0;
    file.target = fast ? std::string(reinterpret_cast<const char*>(inode.i_block), file.bytes)
                       : content_of(walk.volume, entry->inode, file.bytes);
  }
  if (type == NodeType::file) {
    Sha256 digest;
    const std::string text = content_of(walk.volume, entry->inode, file.bytes);
    digest.update(std::as_bytes(std::span(text)));
    file.sha256 = digest.finish();
  }
  if (type == NodeType::char_device || type == NodeType::block_device) {
    // Linux include/linux/kdev_t.h: old_decode_dev() and new_decode_dev().
    const std::uint32_t old_form = inode.i_block[0];
    const std::uint32_t new_form = inode.i_block[1];
    walk.devices[path] = old_form != 0
                             ? DeviceNumber{old_form >> 8 & 0xFF, old_form & 0xFF}
                             : DeviceNumber{(new_form & 0xFFF00) >> 8,
                                            (new_form & 0xFF) | ((new_form >> 12) & 0xFFF00)};
  }
  walk.tree[path] = file;
  if (type == NodeType::directory) {
    const std::string prefix = walk.prefix;
    add_directory(walk, entry->inode, path + "/");
    walk.prefix = prefix;
  }
  return 0;
}

void add_directory(LibraryWalk& walk, ext2_ino_t inode, const std::string& prefix) {
  walk.prefix = prefix;
  REQUIRE(ext2fs_dir_iterate(walk.volume, inode, 0, nullptr, add_entry, &walk) == 0);
}

std::map<std::string, DeviceNumber> devices_of(Volume& volume) {
  std::map<std::string, DeviceNumber> devices;
  std::vector<Finding> findings;
  walk(
      volume, volume.root(), "",
      [&](const FileVisit& visit) {
        if (visit.attributes.device) devices[std::string(visit.path)] = *visit.attributes.device;
        return Step::go_on;
      },
      findings);
  return devices;
}

// The volume's maps as libext2fs has them, block by block.
void compare_maps(ext2_filsys library, Volume& volume) {
  const std::uint64_t block_bytes = library->blocksize;
  std::uint64_t next = 0;
  std::uint64_t differing = 0;
  std::uint64_t metadata = 0;
  volume.each_run([&](const BlockRun& run) {
    CHECK(run.start == next);
    next = run.start + run.bytes;
    for (std::uint64_t at = run.start; at < next; at += block_bytes) {
      const std::uint64_t block = at / block_bytes;
      if (run.use == BlockUse::metadata) ++metadata;
      if (block < library->super->s_first_data_block) continue;
      const bool used = ext2fs_test_block_bitmap2(library->block_map, block) != 0;
      if (used != (run.use != BlockUse::free)) ++differing;
    }
    return true;
  });
  CHECK(differing == 0);
  CHECK(next == ext2fs_blocks_count(library->super) * block_bytes);
  for (dgrp_t group = 0; group < library->group_desc_count; ++group) {
    const std::uint64_t table = ext2fs_inode_table_loc(library, group) * block_bytes;
    bool found = false;
    volume.each_run([&](const BlockRun& run) {
      found = run.use == BlockUse::metadata && run.start <= table && table < run.start + run.bytes;
      return !found;
    });
    CHECK(found);
  }
  CHECK(metadata > 0);
}

void compare_volume(const std::string& path, const Tree& source) {
  const View view(map_file(path));
  const auto volume = open_volume("ext2", view);
  Tree ours = tree_of_volume(*volume, view);
  const Keeper library = open_with_libext2fs(path);
  LibraryWalk theirs{library.get(), {}, {}, {}};
  add_directory(theirs, EXT2_ROOT_INO, "");
  CHECK(differences(ours, theirs.tree) == "");
  CHECK(devices_of(*volume) == theirs.devices);
  CHECK(theirs.devices.size() == 3);
  compare_maps(library.get(), *volume);
  ours.erase("lost+found");  // mke2fs adds it
  // With content in inodes, mke2fs 1.47.0 writes a file with a hole at its end too short; libext2fs
  // saw the same short file above.
  if (source.at("holes").type.empty()) ours["holes"] = {};
  CHECK(differences(ours, source) == "");
  volume->check_records();
  for (const Finding& finding : volume->take_findings())
    FAIL_CHECK(finding.message);
}

// Links of every length around what fits into an inode, and up to nearly a block.
void make_links(const std::string& path) {
  for (const std::size_t length : {1U, 59U, 60U, 61U, 150U, 901U}) {
    std::string target;
    while (target.size() + 2 < length)
      target += "t/";
    target.resize(length, 'e');
    std::filesystem::create_symlink(target, path + "/link of " + std::to_string(length));
  }
}

void make_source(const std::string& path, std::uint64_t unit) {
  make_tree(path, {.unit = unit,
                   .largest = 700 * 1024,
                   .entries = 300,
                   .longest_name = 255,
                   .symlinks = false});
  make_links(path);
  REQUIRE(mkfifo((path + "/pipe").c_str(), 0640) == 0);
  REQUIRE(mknod((path + "/terminal").c_str(), S_IFCHR | 0600, makedev(5, 1)) == 0);
  REQUIRE(mknod((path + "/far device").c_str(), S_IFCHR | 0600, makedev(300, 70000)) == 0);
  REQUIRE(mknod((path + "/disk").c_str(), S_IFBLK | 0600, makedev(8, 17)) == 0);
  REQUIRE(lchown((path + "/one").c_str(), 70000, 1 << 20) == 0);
  REQUIRE(lchown((path + "/many").c_str(), 65534, 65535) == 0);
  REQUIRE(chmod((path + "/one").c_str(), 02755) == 0);
}

TEST_CASE("ext2: files of volumes that mke2fs made of a tree", "[ext2]") {
  if (geteuid() != 0) {
    WARN("not root: device nodes and owners cannot be made, so no volume is compared");
    return;
  }
  const TemporaryDirectory directory;
  const std::string source = directory.file("tree");
  make_source(source, 1024);
  const Tree tree = tree_of_directory(source);
  const char* options[] = {"-t ext2 -b 1024 -r 0",
                           "-t ext2 -b 1024",
                           "-t ext2 -b 2048 -g 1024",
                           "-t ext2 -b 4096 -I 128",
                           "-t ext2 -b 1024 -O ^sparse_super,^resize_inode,^filetype",
                           "-t ext2 -b 1024 -O sparse_super2 -E num_backup_sb=2 -g 1024",
                           "-t ext3 -b 1024",
                           "-t ext4 -b 1024",
                           "-t ext4 -b 1024 -O meta_bg,^resize_inode -g 1024",
                           "-t ext4 -b 4096 -O 64bit,metadata_csum",
                           "-t ext4 -b 1024 -O inline_data -I 512",
                           "-t ext4 -b 1024 -O ^extent,^64bit,^flex_bg",
                           "-t ext4 -b 1024 -O bigalloc -C 8192"};
  for (const char* option : options) {
    const std::string path = directory.file("volume.img");
    std::filesystem::remove(path);
    const std::string command = "mke2fs -q -F -N 1000 " + std::string(option) + " -d " +
                                shell_word(source) + " " + shell_word(path) + " 24M 2>&1";
    const RunResult made = run(command);
    CAPTURE(command, made.out);
    REQUIRE(made.status == 0);
    Tree expected = tree;
    if (command.find("inline_data") != std::string::npos) {
      expected["holes"] = {};  // this maker loses the hole at the file's end: see below
    }
    compare_volume(path, expected);
  }
}

// Every level of indirection: with blocks of 1024 bytes the third starts at 65804 KiB.
// mke2fs keeps a file of nothing but holes inside its inode, whatever its size.
TEST_CASE("ext2: a file may be longer than what its inode holds of it", "[ext2]") {
  const TemporaryDirectory directory;
  const std::string source = directory.file("tree");
  std::filesystem::create_directories(source);
  { const std::ofstream file(source + "/hole"); }
  std::filesystem::resize_file(source + "/hole", 1'000'000);
  const std::string path = directory.file("volume.img");
  const RunResult made = run("mke2fs -q -F -t ext4 -b 4096 -O inline_data -d " +
                             shell_word(source) + " " + shell_word(path) + " 8M 2>&1");
  CAPTURE(made.out);
  REQUIRE(made.status == 0);
  const View view(map_file(path));
  const auto volume = open_volume("ext2", view);
  const auto place = find_path(*volume, "hole");
  REQUIRE(place);
  CHECK(volume->attributes(place->node).bytes == 1'000'000);
  const auto missing = read_content(
      *volume, view, place->node, [](std::uint64_t, std::uint64_t, std::span<const std::byte> b) {
        return std::ranges::count(b, std::byte{0}) == static_cast<std::ptrdiff_t>(b.size());
      });
  CHECK(missing.empty());
  CHECK(volume->take_findings().empty());
}

TEST_CASE("ext2: a file with three levels of pointers", "[ext2]") {
  const TemporaryDirectory directory;
  const std::string source = directory.file("tree");
  std::filesystem::create_directories(source);
  {
    std::ofstream file(source + "/sparse", std::ios::binary);
    for (const std::uint64_t at : {11ULL << 10U, 12ULL << 10U, 267ULL << 10U, 268ULL << 10U,
                                   65803ULL << 10U, 65804ULL << 10U, (80000ULL << 10U) + 77}) {
      file.seekp(static_cast<std::streamoff>(at));
      file << "at " << at;
    }
  }
  for (const char* option : {"-t ext2 -r 0", "-t ext2", "-t ext4"}) {
    const std::string path = directory.file("volume.img");
    std::filesystem::remove(path);
    const RunResult made = run("mke2fs -q -F -b 1024 " + std::string(option) + " -d " +
                               shell_word(source) + " " + shell_word(path) + " 24M 2>&1");
    CAPTURE(option, made.out);
    REQUIRE(made.status == 0);
    const View view(map_file(path));
    const auto volume = open_volume("ext2", view);
    Tree ours = tree_of_volume(*volume, view);
    ours.erase("lost+found");
    CHECK(differences(ours, tree_of_directory(source)) == "");
    const auto place = find_path(*volume, "sparse");
    REQUIRE(place);
    std::uint64_t mapped = 0;
    volume->each_extent(place->node, [&](const Extent& extent) {
      mapped += extent.bytes;
      return true;
    });
    CHECK(mapped < 16 * 1024);
    std::size_t pointer_blocks = 0;
    volume->each_further_block(place->node, [&](const Extent&) { return ++pointer_blocks != 0; });
    if (std::string_view(option) != "-t ext4") CHECK(pointer_blocks == 1 + 3 + 4);
  }
}

void debugfs(const std::string& path, const std::string& commands) {
  const RunResult done = run("printf '%s' " + shell_word(commands) + " | debugfs -w -f - " +
                             shell_word(path) + " 2>&1");
  CAPTURE(commands, done.out);
  REQUIRE(done.status == 0);
}

// What no maker writes, through debugfs. The ranges of times are those of the Linux documentation,
// filesystems/ext4/inodes, "Inode Timestamps".
TEST_CASE("ext2: late times, nanoseconds and hashed directories", "[ext2]") {
  const TemporaryDirectory directory;
  const std::string source = directory.file("tree");
  make_tree(
      source,
      {.unit = 1024, .largest = 8192, .entries = 900, .longest_name = 100, .symlinks = false});
  make_links(source);
  const std::string path = directory.file("volume.img");
  REQUIRE(run("mke2fs -q -F -t ext4 -b 1024 -I 256 -d " + shell_word(source) + " " +
              shell_word(path) + " 16M")
              .status == 0);
  REQUIRE(run("e2fsck -f -y -D " + shell_word(path)).status <= 1);  // makes hashed directories
  debugfs(path,
          "set_inode_field one mtime @0x80000000\nset_inode_field one mtime_extra 0x5\n"
          "set_inode_field empty mtime @0x80000000\nset_inode_field empty mtime_extra 0\n"
          "set_inode_field largest mtime @0x7fffffff\n"
          "set_inode_field largest mtime_extra 0xee6b27fb\n");
  const View view(map_file(path));
  const auto volume = open_volume("ext2", view);
  const auto attributes = [&](const char* name) {
    const auto place = find_path(*volume, name);
    REQUIRE(place);
    return volume->attributes(place->node);
  };
  CHECK(attributes("one").modified->seconds == 0x80000000LL);  // 2038-01-19
  CHECK(attributes("one").modified_nanoseconds == 1);
  CHECK(attributes("empty").modified->seconds == -0x80000000LL);    // 1901-12-13
  CHECK(attributes("largest").modified->seconds == 0x37FFFFFFFLL);  // 2446-05-10
  CHECK(attributes("largest").modified_nanoseconds == 999'999'998);
  CHECK(attributes("one").created);
  Tree ours = tree_of_volume(*volume, view);
  ours.erase("lost+found");
  const TreeView no_times{.times = false};
  CHECK(differences(seen_as(ours, no_times), seen_as(tree_of_directory(source), no_times)) == "");
  const Keeper library = open_with_libext2fs(path);
  ext2_ino_t many = 0;
  REQUIRE(ext2fs_namei(library.get(), EXT2_ROOT_INO, EXT2_ROOT_INO, "many", &many) == 0);
  ext2_inode inode{};
  REQUIRE(ext2fs_read_inode(library.get(), many, &inode) == 0);
  CHECK((inode.i_flags & EXT2_INDEX_FL) != 0);
}

// e2fsck of the same volume says what is wrong with it, in its own way.
TEST_CASE("ext2: records that contradict one another are found", "[ext2]") {
  const TemporaryDirectory directory;
  const std::string source = directory.file("tree");
  make_tree(source, {.unit = 1024, .largest = 20000, .entries = 20, .symlinks = false});
  struct Damage {
    const char* commands;
    const char* words;
    bool e2fsck_reports = true;  // it puts totals and the state right without a word
  };
  const Damage all[] = {
      {"set_super_value free_blocks_count 77\n", "the superblock says that 77 blocks are free",
       false},
      {"set_super_value free_inodes_count 7\n", "the superblock says that 7 inodes are free",
       false},
      {"set_bg 0 free_blocks_count 5\n", "group 0 says that 5 blocks are free"},
      {"set_bg 0 free_inodes_count 5\n", "group 0 says that 5 inodes are free"},
      {"set_bg 0 used_dirs_count 99\n", "group 0 says that it holds 99 directories"},
      {"freei <13>\n", "is free in the bitmap, expected in use"},
      {"setb 12000\n", "expected"},
      {"clri <13>\n", "has the mode 0 and is in use in the bitmap"},
      {"set_super_value state 3\n", "met errors", false},
  };
  for (const Damage& damage : all) {
    const std::string path = directory.file("volume.img");
    std::filesystem::remove(path);
    REQUIRE(run("mke2fs -q -F -t ext2 -b 1024 -d " + shell_word(source) + " " + shell_word(path) +
                " 16M")
                .status == 0);
    debugfs(path, damage.commands);
    CAPTURE(damage.commands);
    if (damage.e2fsck_reports) CHECK(run("e2fsck -n -f " + shell_word(path)).status != 0);
    const auto volume = open_volume("ext2", View(map_file(path)));
    volume->check_records();
    std::string said;
    for (const Finding& finding : volume->take_findings())
      said += finding.message + "\n";
    CHECK_THAT(said, Catch::Contains(damage.words));
  }
}

}  // namespace
}  // namespace platter::test
