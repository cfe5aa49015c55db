// Volumes of the fixture writers for the older Unix filesystems: EFS, S5, Xenix, Coherent and V7.
//
// What their drivers take: Linux fs/efs/super.c and fs/sysv/super.c.
#include <algorithm>

#include <fmt/format.h>

#include "kernel/driver_habits.h"
#include "kernel/filling.h"
#include "writers/efs_writer.h"
#include "writers/s5_writer.h"
#include "writers/v7_writer.h"

namespace platter::test {

using namespace fixtures;  // NOLINT(google-build-using-namespace): the writers

// ---- EFS

void add_efs_images(Images& images) {
  ContentRecipe recipe;
  recipe.edges = {512, 12 * 248 * 512};  // twelve extents stand in the inode
  recipe.link_lengths = {1, 96, 97, 255, 511};
  recipe.longest_name = 255;
  recipe.entries = 300;
  EfsOptions options;
  options.volume_blocks = 16384;
  options.inode_blocks = 64;
  options.short_links_inside = false;
  VolumeImage plain =
      filled(volume("efs", "our writer", "efs", "efs", ""), EfsWriter(options), contents(recipe));
  plain.habits = {unsigned_times(), holes_logged()};
  images.push_back(std::move(plain));
  // Of two blocks each; 64 more stand in each indirect block.
  recipe.edges = {512, std::uint64_t{12} * 2 * 512, std::uint64_t{64} * 2 * 512, 200000};
  options.extent_blocks = 2;
  options.gap_blocks = 1;
  options.grown = true;
  VolumeImage parts = filled(
      volume("efs-parts", "our writer, grown, files in extents of two blocks", "efs", "efs", ""),
      EfsWriter(options), contents(recipe));
  parts.habits = {unsigned_times(), holes_logged()};
  images.push_back(std::move(parts));
}

// ---- S5, Xenix, Coherent and V7

namespace {

ContentRecipe old_unix_recipe(std::uint64_t block, bool far) {
  ContentRecipe recipe;
  const std::uint64_t one = 10 * block;
  const std::uint64_t two = one + block / 4 * block;
  recipe.edges = {block, one};
  recipe.far_edges = {two};
  if (far) recipe.far_edges.push_back(two + block / 4 * (block / 4) * block);
  recipe.link_lengths = {1, 39, 40, 255, 511};
  return recipe;
}

// The driver reads the superblock of a Coherent volume, which begins at byte 512, once more from
// byte 0 (Linux fs/sysv/super.c, detected_coherent).
void copy_superblock(std::vector<std::byte>& image) {
  std::copy_n(image.begin() + 512, 500, image.begin());
}

}  // namespace

// Xenix with blocks of 2048 is left out: the driver knows 512 and 1024 only (detect_xenix).
void add_s5_images(Images& images) {
  struct Kind {
    const char* name;
    S5Style style;
    ByteOrder order;
    std::uint32_t block_bytes;
  };
  for (const Kind& one : {
           Kind{"s5r4-little-512", S5Style::release4, ByteOrder::little, 512},
           Kind{"s5r4-little-1024", S5Style::release4, ByteOrder::little, 1024},
           Kind{"s5r4-little-2048", S5Style::release4, ByteOrder::little, 2048},
           Kind{"s5r4-big-512", S5Style::release4, ByteOrder::big, 512},
           Kind{"s5r4-big-1024", S5Style::release4, ByteOrder::big, 1024},
           Kind{"s5r4-big-2048", S5Style::release4, ByteOrder::big, 2048},
           Kind{"s5r2-little-512", S5Style::release2, ByteOrder::little, 512},
           Kind{"s5r2-little-1024", S5Style::release2, ByteOrder::little, 1024},
           Kind{"s5r2-little-2048", S5Style::release2, ByteOrder::little, 2048},
           Kind{"s5r2-big-512", S5Style::release2, ByteOrder::big, 512},
           Kind{"s5r2-big-1024", S5Style::release2, ByteOrder::big, 1024},
           Kind{"s5r2-big-2048", S5Style::release2, ByteOrder::big, 2048},
           Kind{"xenix-little-1024", S5Style::xenix, ByteOrder::little, 1024},
           Kind{"xenix-big-1024", S5Style::xenix, ByteOrder::big, 1024},
           Kind{"coherent", S5Style::coherent, ByteOrder::pdp, 512},
       }) {
    S5Options options;
    options.style = one.style;
    options.order = one.order;
    options.block_bytes = one.block_bytes;
    options.inodes = 512;
    options.volume_blocks = 2 * 1024 * 1024 / one.block_bytes;
    const bool far = one.style == S5Style::release4 && one.order == ByteOrder::little;
    const std::string format = one.style == S5Style::xenix      ? "xenix"
                               : one.style == S5Style::coherent ? "coherent"
                                                                : "s5";
    const char* taken_for = one.style == S5Style::xenix      ? "Xenix"
                            : one.style == S5Style::coherent ? "Coherent"
                            : one.style == S5Style::release2 ? "SystemV Release 2"
                                                             : "SystemV";
    VolumeImage image = filled(
        volume(one.name,
               fmt::format("our writer, {}, blocks of {}", words_of(one.order), one.block_bytes),
               format, "sysv", ""),
        S5Writer(options),
        contents(old_unix_recipe(one.block_bytes, far && one.block_bytes == 512)));
    image.announced =
        fmt::format("VFS: Found a {} FS (block size = {})", taken_for, one.block_bytes);
    if (one.style == S5Style::coherent) copy_superblock(image.image);
    image.habits = {unsigned_times()};
    images.push_back(std::move(image));
  }
}

// V7 in big-endian order is left out: the driver tries the other two only (v7_fill_super).
void add_v7_images(Images& images) {
  for (const ByteOrder order : {ByteOrder::pdp, ByteOrder::little}) {
    V7Options options;
    options.order = order;
    options.inodes = 512;
    VolumeImage image =
        filled(volume(order == ByteOrder::pdp ? "v7-pdp" : "v7-little",
                      fmt::format("our writer, {}", words_of(order)), "v7", "v7", ""),
               V7Writer(options), contents(old_unix_recipe(512, false)));
    image.announced = "VFS: Found a V7 FS (block size = 512)";
    image.habits = {unsigned_times()};
    images.push_back(std::move(image));
  }
}

}  // namespace platter::test
