// Volumes of the XFS writer. The driver takes version 4 with directories of the second form; the
// first form it does not know any more (Linux fs/xfs/libxfs/xfs_sb.c, xfs_sb_good_v4_features). It
// wants a log of some size (xfs_log_rlimit.c) and groups of 16 MiB
// (xfs_sb.c, xfs_validate_sb_common).
#include <fmt/format.h>

#include "kernel/driver_habits.h"
#include "kernel/filling.h"
#include "writers/xfs_writer.h"

namespace platter::test {

using namespace fixtures;  // NOLINT(google-build-using-namespace): the writers

namespace {

VolumeImage xfs_image(const std::string& name, const std::string& words, const XfsOptions& options,
                      std::size_t entries) {
  ContentRecipe recipe;
  const std::uint64_t block = options.block_bytes;
  recipe.edges = {block, 9 * block, 10 * block};  // nine extents stand in the inode
  recipe.far_edges = {100 * block, 700 * block};
  recipe.link_lengths = {1, 155, 156, 157, 1023};
  recipe.longest_name = 255;
  recipe.entries = entries;
  recipe.top_id = 1234567;
  VolumeImage image = filled(
      volume(name, fmt::format("our writer, blocks of {}{}", block, words), "xfs", "xfs", ""),
      XfsWriter(options), contents(recipe));
  image.habits = {version_warned()};
  return image;
}

}  // namespace

void add_xfs_images(Images& images) {
  XfsOptions options;
  options.block_bytes = 512;
  options.group_blocks = 32768;
  options.log_blocks = 6000;
  images.push_back(xfs_image("xfs-512", "", options, 300));
  options.block_bytes = 4096;
  options.groups = 1;
  options.group_blocks = 4096;
  options.log_blocks = 1600;
  options.typed_names = true;
  options.directory_blocks = 2;
  options.reserve_holes = true;
  images.push_back(xfs_image("xfs-4096", ", types in names, holes reserved", options, 300));
  options = {};
  options.group_blocks = 16500;
  options.log_blocks = 4000;
  options.extent_blocks = 1;
  options.gap_blocks = 1;
  images.push_back(xfs_image("xfs-parts", ", files in extents of one block", options, 1500));
}

}  // namespace platter::test
