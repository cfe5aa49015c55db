// Volumes of the fixture writers, each with contents that reach every level of its block map.
//
// Which driver takes which dialect, and its options: Linux fs/ufs/super.c (ufstype),
// fs/minix/inode.c, fs/bfs/inode.c, fs/fat/inode.c, fs/hfs/super.c, fs/hfsplus/options.c
// and fs/isofs/inode.c.
#include <fmt/format.h>

#include "kernel/driver_habits.h"
#include "kernel/filling.h"
#include "kernel/images.h"
#include "writers/iso9660_sketch.h"

namespace platter::test {

using namespace fixtures;  // NOLINT(google-build-using-namespace): the writers

namespace {

// ---- The FFS family

VolumeImage ffs_image(const std::string& name, const FfsOptions& options,
                      const std::string& ufs_type, ContentRecipe recipe) {
  const std::uint64_t block = options.block_bytes;
  const std::uint64_t direct = 12 * block;
  const std::uint64_t pointers = block / (options.style == FfsStyle::ufs2 ? 8 : 4);
  recipe.edges = {options.fragment_bytes, block, direct};
  // With larger blocks the second level begins beyond 16 MiB: too much to hash here.
  if (block == 4096) recipe.far_edges = {direct + pointers * block};
  recipe.link_lengths = {1, 59, 60, 61, 119, 120, 121, 700};
  recipe.longest_name = 255;
  const bool ufs2 = options.style == FfsStyle::ufs2;
  return filled(volume(name,
                       fmt::format("our writer, {}, blocks of {} and {}", words_of(options.order),
                                   block, options.fragment_bytes),
                       ufs2 ? "ufs2" : "ffs", "ufs", "ufstype=" + ufs_type),
                FfsWriter(options), contents(recipe));
}

void add_ffs(Images& images) {
  struct Dialect {
    const char* name;
    FfsStyle style;
    ByteOrder order;
    const char* ufs_type;
    std::uint32_t top_id;
    std::uint32_t block_bytes;
  };
  constexpr std::uint32_t kNarrow = 60000;
  constexpr std::uint32_t kWide = 1234567;
  for (const Dialect& one : {
           Dialect{"bsd42-big", FfsStyle::bsd42, ByteOrder::big, "old", kNarrow, 8192},
           Dialect{"bsd42-little", FfsStyle::bsd42, ByteOrder::little, "old", kNarrow, 16384},
           Dialect{"svr4-big", FfsStyle::svr4, ByteOrder::big, "sun", kWide, 8192},
           Dialect{"svr4-little", FfsStyle::svr4, ByteOrder::little, "sunx86", kWide, 8192},
           Dialect{"bsd44-big", FfsStyle::bsd44, ByteOrder::big, "44bsd", kWide, 4096},
           Dialect{"bsd44-little", FfsStyle::bsd44, ByteOrder::little, "44bsd", kWide, 16384},
           Dialect{"bsd44-old-big", FfsStyle::bsd44_old, ByteOrder::big, "old", kNarrow, 8192},
           Dialect{"bsd44-old-little", FfsStyle::bsd44_old, ByteOrder::little, "old", kNarrow,
                   8192},
           Dialect{"dialect-v", FfsStyle::dialect_v, ByteOrder::big, "old", kNarrow, 8192},
           Dialect{"ufs2-big", FfsStyle::ufs2, ByteOrder::big, "ufs2", kWide, 16384},
           Dialect{"ufs2-little", FfsStyle::ufs2, ByteOrder::little, "ufs2", kWide, 4096},
       }) {
    FfsOptions options;
    options.style = one.style;
    options.order = one.order;
    options.block_bytes = one.block_bytes;
    options.fragment_bytes = one.block_bytes / 8;
    ContentRecipe recipe;
    recipe.top_id = one.top_id;
    images.push_back(ffs_image(one.name, options, one.ufs_type, recipe));
    if (one.style == FfsStyle::ufs2 && one.order == ByteOrder::big) {
      images.back().habits = {upper_half_devices()};
    }
    if (one.style == FfsStyle::dialect_v) images.back().habits = {links_cut(), low_device_bits()};
  }
}

// ---- Minix and the boot filesystem

void add_minix(Images& images) {
  struct Kind {
    const char* name;
    unsigned version;
    bool long_names;
    std::uint32_t block_bytes;
  };
  for (const Kind& one : {Kind{"minix1-14", 1, false, 1024}, Kind{"minix1-30", 1, true, 1024},
                          Kind{"minix2-14", 2, false, 1024}, Kind{"minix2-30", 2, true, 1024},
                          Kind{"minix3-1024", 3, true, 1024}, Kind{"minix3-4096", 3, true, 4096}}) {
    MinixOptions options;
    options.version = one.version;
    options.long_names = one.long_names;
    options.block_bytes = one.block_bytes;
    options.zones = 4 * 1024 * 1024 / one.block_bytes;
    const std::uint64_t block = one.block_bytes;
    const std::uint64_t pointers = block / (one.version == 1 ? 2 : 4);
    ContentRecipe recipe;
    recipe.edges = {block, 7 * block};
    recipe.far_edges = {7 * block + pointers * block};
    recipe.link_lengths = {1, 60, 255, 1000};
    recipe.longest_name = one.version == 3 ? 60 : one.long_names ? 30 : 14;
    recipe.top_id = one.version == 1 ? 250 : 60000;
    recipe.fifos = false;
    VolumeImage image =
        filled(volume(one.name,
                      fmt::format("our writer, version {}, names of {}, blocks of {}", one.version,
                                  recipe.longest_name, block),
                      "minix", "minix", ""),
               MinixWriter(options), contents(recipe));
    image.habits = {unsigned_times()};
    images.push_back(std::move(image));
  }
}

void add_bfs(Images& images) {
  ContentRecipe recipe;
  recipe.edges = {512, 1024, 100000};
  recipe.directories = recipe.holes = recipe.hard_links = recipe.devices = recipe.fifos = false;
  recipe.entries = 460;
  BfsOptions options;
  options.inodes = 504;  // the driver takes up to 512, BFS_MAX_LASTI
  VolumeImage image =
      filled(volume("bfs", "our writer", "bfs", "bfs", ""), BfsWriter(options), contents(recipe));
  image.habits = {unsigned_times()};
  images.push_back(std::move(image));
}

// ---- FAT and HFS

ContentRecipe files_only(const std::vector<std::uint64_t>& edges, std::size_t longest_name) {
  ContentRecipe recipe;
  recipe.edges = edges;
  recipe.longest_name = longest_name;
  recipe.entries = 300;
  recipe.holes = recipe.hard_links = recipe.devices = recipe.fifos = recipe.old_times = false;
  return recipe;
}

constexpr TreeView kNamesAndTimes = {.modes = false, .ids = false, .links = false};

void add_fat(Images& images) {
  struct Kind {
    const char* name;
    unsigned width;
    std::uint64_t sectors;
    std::uint64_t sector_bytes;
    std::uint64_t cluster_sectors;
  };
  for (const Kind& one : {Kind{"fat12", 12, 2880, 512, 1}, Kind{"fat16", 16, 8400, 512, 1},
                          Kind{"fat32", 32, 70000, 512, 1}, Kind{"fat12-1024", 12, 2464, 1024, 1},
                          Kind{"fat16-2048", 16, 9000, 2048, 2}}) {
    FatOptions options;
    options.width = one.width;
    options.sectors = one.sectors;
    options.sector_bytes = one.sector_bytes;
    options.cluster_sectors = one.cluster_sectors;
    if (one.sector_bytes == 2048) options.root_entries = 256;  // whole sectors, as drivers ask for
    const std::uint64_t cluster = one.sector_bytes * one.cluster_sectors;
    VolumeImage image = filled(
        volume(one.name,
               fmt::format("our writer, sectors of {}, clusters of {}", one.sector_bytes, cluster),
               fmt::format("fat{}", one.width), "vfat", "iocharset=iso8859-1,tz=UTC"),
        FatWriter(options), contents(files_only({cluster, 8 * cluster, 100000}, 255)));
    image.kept = kNamesAndTimes;
    images.push_back(std::move(image));
  }
}

void add_hfs(Images& images) {
  for (const std::uint64_t block : {512U, 1024U, 1536U}) {
    HfsOptions options;
    options.block_bytes = block;
    options.blocks = 2 * 1024 * 1024 / block;
    ContentRecipe recipe = files_only({block, 60000}, 31);
    recipe.entries = 100;  // the writer's catalog has 64 nodes
    ContentItems items = contents(recipe);
    constexpr std::int64_t kFrom1904 = 2082844800;
    for (ContentItem& item : items)
      item.modified = std::int64_t{options.time} - kFrom1904;  // the writer has one for all
    VolumeImage image =
        filled(volume(fmt::format("hfs-{}", block),
                      fmt::format("our writer, allocation blocks of {}", block), "hfs", "hfs", ""),
               HfsWriter(options), std::move(items));
    image.kept = kNamesAndTimes;
    image.habits = {data_forks_only()};
    images.push_back(std::move(image));
  }
}

// nodecompose: names as they stand on the disk. Linux Documentation/filesystems/hfsplus.rst.
void add_hfsplus(Images& images) {
  struct Kind {
    const char* name;
    const char* made_by;
    std::uint64_t block_bytes;
    std::size_t node_bytes;
    std::size_t catalog_pieces;
    bool by_case;
    bool wrapped;
  };
  for (const Kind& one :
       {Kind{"hfsplus-512", "blocks of 512, a catalog in 11 pieces", 512, 4096, 11, false, false},
        Kind{"hfsplus-4096", "blocks of 4096", 4096, 8192, 1, false, false},
        Kind{"hfsx", "names by case", 1024, 4096, 1, true, false},
        Kind{"hfsplus-wrapped", "inside an HFS volume", 1024, 4096, 1, false, true}}) {
    HfsPlusOptions options;
    options.block_bytes = one.block_bytes;
    options.node_bytes = one.node_bytes;
    options.catalog_pieces = one.catalog_pieces;
    options.catalog_nodes = 128;
    options.by_case = one.by_case;
    options.blocks = 4 * 1024 * 1024 / one.block_bytes;
    ContentRecipe recipe;
    recipe.edges = {one.block_bytes, 60000};
    recipe.link_lengths = {1, 100, 1000};
    recipe.longest_name = 255;
    recipe.entries = 300;
    recipe.top_id = 1234567;
    recipe.holes = false;
    ContentItems items = contents(recipe);
    for (const char* path : {"Gro\u0308\u00DFe \u65E5\u672C", "slash:colon"}) {
      items.push_back({.path = path, .bytes = 4, .pieces = {{0, "text"}}, .modified = 800000000});
    }
    if (one.by_case) {
      for (const char* path : {"CASE", "case"})
        items.push_back({.path = path, .modified = 800000000});
    }
    VolumeImage image = filled(volume(one.name, fmt::format("our writer, {}", one.made_by),
                                      "hfsplus", "hfsplus", "nls=utf8,nodecompose"),
                               HfsPlusWriter(options), std::move(items));
    if (one.wrapped) image.image = wrap_in_hfs(image.image);
    image.habits = {data_forks_only(), kernel_device_split(), unsigned_times()};
    images.push_back(std::move(image));
  }
}

// ---- ISO 9660 and High Sierra

ContentRecipe iso_recipe() {
  ContentRecipe recipe;
  recipe.edges = {2048, 65536};
  recipe.link_lengths = {1, 100, 251, 700};
  recipe.longest_name = 250;
  recipe.entries = 300;
  recipe.top_id = 1234567;
  recipe.holes = recipe.hard_links = recipe.devices = recipe.fifos = false;
  return recipe;
}

void add_iso(Images& images) {
  IsoOptions options;
  options.texts.volume_id = "CORVIDOS_KERNEL";
  images.push_back(filled(volume("rock-ridge", "our writer", "iso9660", "iso9660", "nojoliet"),
                          Iso9660Writer(options), contents(iso_recipe())));
  options.joliet = true;
  ContentRecipe recipe = iso_recipe();
  recipe.link_lengths.clear();
  recipe.longest_name = 60;
  VolumeImage joliet =
      filled(volume("joliet", "our writer", "iso9660", "iso9660", "norock,iocharset=utf8"),
             Iso9660Writer(options), contents(recipe));
  joliet.names = NameView::joliet;
  joliet.kept = kNamesAndTimes;
  images.push_back(joliet);
  joliet.name = "iso-plain";
  joliet.options = "norock,nojoliet,map=off";
  joliet.names = NameView::plain;
  joliet.habits = {versions_shown()};
  joliet.given_names = false;
  images.push_back(std::move(joliet));
}

void add_high_sierra(Images& images) {
  SketchOptions options;
  options.high_sierra = true;
  IsoSketch sketch(options);
  constexpr std::uint64_t kBelow = 21;
  constexpr std::uint64_t kDirectory = 2;  // the flag
  sketch.root({{.identifier = "EMPTY.TXT;1", .block = 30},
               {.identifier = "SUB", .block = kBelow, .bytes = 2048, .flags = kDirectory},
               {.identifier = "TWO.TXT;1", .block = 31, .bytes = 2049}});
  sketch.directory(kBelow, IsoSketch::kRoot, "SUB",
                   {{.identifier = "DEEP.DAT;1", .block = 34, .bytes = 5}});
  sketch.put(31, std::string(2049, 't')).put(34, std::string("deep\n"));
  VolumeImage image = volume("high-sierra", "our writer", "high-sierra", "iso9660", "map=off");
  image.image = sketch.build();
  image.kept = kNamesAndTimes;
  image.habits = {versions_shown()};
  images.push_back(std::move(image));
}

}  // namespace

std::vector<VolumeImage> written_images() {
  Images images;
  add_ffs(images);
  add_efs_images(images);
  add_xfs_images(images);
  add_s5_images(images);
  add_v7_images(images);
  add_minix(images);
  add_bfs(images);
  add_fat(images);
  add_hfs(images);
  add_hfsplus(images);
  add_iso(images);
  add_high_sierra(images);
  return images;
}

}  // namespace platter::test
