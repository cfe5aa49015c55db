// Disks whose slices hold volumes: the kernel mounts its own partition devices, platter is asked
// for the slice's layer.
#include <algorithm>
#include <stdexcept>

#include <fmt/format.h>

#include "kernel/driver_habits.h"
#include "kernel/filling.h"
#include "kernel/images.h"
#include "support/survey.h"
#include "writers/apm_writer.h"
#include "writers/bsd_writer.h"
#include "writers/efs_writer.h"
#include "writers/gpt_writer.h"
#include "writers/mbr_writer.h"
#include "writers/s5_writer.h"
#include "writers/sgi_writer.h"
#include "writers/sun_writer.h"
#include "writers/unix386_writer.h"

namespace platter::test {

using namespace fixtures;  // NOLINT(google-build-using-namespace): the writers

namespace {

using Bytes = std::vector<std::byte>;
constexpr std::uint64_t kBlock = 512;
constexpr std::uint32_t kHeads = 4;
constexpr std::uint32_t kSectors = 32;
constexpr std::uint32_t kCylinder = kHeads * kSectors;
constexpr std::uint32_t kCylinders = 128;
constexpr std::uint32_t kBlocks = kCylinders * kCylinder;  // 8 MiB
constexpr std::uint32_t kInner = 128;                      // where an inner label's slice begins
constexpr std::uint32_t kSlice = 4096;                     // blocks of most slices: 2 MiB
constexpr TreeView kNamesAndTimes = {.modes = false, .ids = false, .links = false};

ContentRecipe few(std::uint64_t block) {
  ContentRecipe recipe;
  recipe.edges = {block, 12 * block};
  recipe.link_lengths = {1, 300};
  recipe.entries = 30;
  return recipe;
}

// With a file that tells one slice of a disk from another.
ContentItems contents_of(const std::string& name, const ContentRecipe& recipe) {
  ContentItems items = contents(recipe);
  ContentItem mark = *std::ranges::find(items, "size-1", &ContentItem::path);
  mark.path = "of-" + name;
  items.push_back(std::move(mark));
  return items;
}

// ---- What stands in the slices

VolumeImage ffs(const std::string& name, FfsStyle style, ByteOrder order, const char* type) {
  FfsOptions options;
  options.style = style;
  options.order = order;
  options.volume_bytes = kSlice * kBlock;
  options.block_bytes = 4096;
  options.fragment_bytes = 512;
  return filled(volume(name, fmt::format("our writer, {}", words_of(order)), "ffs", "ufs",
                       std::string("ufstype=") + type),
                FfsWriter(options), contents_of(name, few(4096)));
}

VolumeImage efs(const std::string& name) {
  EfsOptions options;
  options.volume_blocks = kSlice;
  options.short_links_inside = false;
  ContentRecipe recipe = few(512);
  recipe.holes = false;
  VolumeImage image = filled(volume(name, "our writer", "efs", "efs", ""), EfsWriter(options),
                             contents_of(name, recipe));
  image.habits = {unsigned_times()};
  return image;
}

VolumeImage s5(const std::string& name) {
  S5Options options;
  options.volume_blocks = kSlice / 2;
  VolumeImage image = filled(volume(name, "our writer, little-endian", "s5", "sysv", ""),
                             S5Writer(options), contents_of(name, few(1024)));
  image.habits = {unsigned_times()};
  image.announced = "VFS: Found a SystemV FS (block size = 1024)";
  return image;
}

VolumeImage minix(const std::string& name, unsigned version) {
  MinixOptions options;
  options.version = version;
  options.zones = kSlice / 2;
  ContentRecipe recipe = few(1024);
  recipe.top_id = 250;
  recipe.fifos = false;
  VolumeImage image =
      filled(volume(name, fmt::format("our writer, version {}", version), "minix", "minix", ""),
             MinixWriter(options), contents_of(name, recipe));
  image.habits = {unsigned_times()};
  return image;
}

ContentRecipe files_only() {
  ContentRecipe recipe = few(512);
  recipe.holes = recipe.hard_links = recipe.devices = recipe.fifos = recipe.old_times = false;
  recipe.link_lengths.clear();
  return recipe;
}

VolumeImage fat(const std::string& name, unsigned width, std::uint32_t sectors) {
  FatOptions options;
  options.width = width;
  options.sectors = sectors;
  VolumeImage image = filled(
      volume(name, "our writer", fmt::format("fat{}", width), "vfat", "iocharset=iso8859-1,tz=UTC"),
      FatWriter(options), contents_of(name, files_only()));
  image.kept = kNamesAndTimes;
  return image;
}

VolumeImage hfs(const std::string& name) {
  HfsOptions options;
  options.blocks = 3500;
  ContentItems items = contents_of(name, files_only());
  constexpr std::int64_t kFrom1904 = 2082844800;
  for (ContentItem& item : items)
    item.modified = std::int64_t{options.time} - kFrom1904;  // the writer has one for all
  VolumeImage image =
      filled(volume(name, "our writer", "hfs", "hfs", ""), HfsWriter(options), std::move(items));
  image.kept = kNamesAndTimes;
  image.habits = {data_forks_only()};
  return image;
}

VolumeImage ext2(const std::string& name) {
  const TemporaryDirectory scratch;
  TreeRecipe recipe;
  recipe.largest = 60'000;
  recipe.entries = 30;
  make_tree(scratch.file("tree"), recipe);
  const RunResult made = run("cd " + shell_word(scratch.path()) +
                             " && export PATH=$PATH:/usr/sbin:/sbin && "
                             "touch tree/of-" +
                             name + " && mke2fs -q -t ext2 -b 1024 -d tree image 2M");
  if (made.status != 0) throw std::runtime_error("mke2fs: " + made.err);
  VolumeImage image = volume(name, "mke2fs -b 1024 -d", "ext2", "ext2", "");
  image.image = read_file(scratch.file("image"));
  return image;
}

// ---- Disks

// A disk and what its label puts into its slices.
class Disk {
 public:
  Disk(std::string name, Images& images) : name_(std::move(name)), images_(images) {}
  Bytes bytes = Bytes(kBlocks * kBlock);

  /// The volume from that block on.
  Disk& hold(VolumeImage image, std::uint32_t first, std::string slice, int number) {
    // Boot blocks of a volume may be those of the label.
    const bool at_label = first == 0;
    const auto from = image.image.begin() + (at_label ? kBlock : 0);
    std::copy(from, image.image.end(),
              bytes.begin() + static_cast<std::ptrdiff_t>((first + (at_label ? 1 : 0)) * kBlock));
    image.slice = std::move(slice);
    image.number = number;
    image.disk = name_;
    held_.push_back(std::move(image));
    return *this;
  }
  /// Adds what it holds to the images; each has the whole disk.
  void add() {
    for (VolumeImage& image : held_) {
      image.image = bytes;
      images_.push_back(std::move(image));
    }
  }

 private:
  std::string name_;
  Images& images_;
  Images held_;
};

MbrLabel pc_label() {
  MbrLabel label;
  label.heads = kHeads;
  label.sectors_per_track = kSectors;
  return label;
}

void add_sun(Images& images) {
  Disk disk("disk-sun", images);
  SunLabel label;
  label.cylinders = kCylinders - 2;
  label.heads = kHeads;
  label.sectors_per_track = kSectors;
  label.slices[0] = {.first_cylinder = 0, .blocks = kSlice, .tag = 2};
  label.slices[2] = {.first_cylinder = 0, .blocks = (kCylinders - 2) * kCylinder, .tag = 5};
  label.slices[6] = {.first_cylinder = 40, .blocks = kSlice, .tag = 4};
  disk.hold(ffs("sun-a", FfsStyle::svr4, ByteOrder::big, "sun"), 0, "sun/a", 1)
      .hold(ffs("sun-g", FfsStyle::bsd42, ByteOrder::big, "old"), 40 * kCylinder, "sun/g", 7);
  write_sun_label(disk.bytes, label);
  disk.add();
}

void add_sgi(Images& images) {
  Disk disk("disk-sgi", images);
  SgiLabel label;
  label.cylinders = kCylinders;
  label.tracks = kHeads;
  label.sectors = kSectors;
  label.slices[0] = {.blocks = kSlice, .first = 1024, .type = 7};
  label.slices[7] = {.blocks = kSlice, .first = 6000, .type = 7};
  label.slices[8] = {.blocks = 1024, .first = 0, .type = 0};
  label.slices[10] = {.blocks = kBlocks, .first = 0, .type = 6};
  write_sgi_label(disk.bytes, label);
  disk.hold(efs("sgi-0"), 1024, "sgi/0", 1).hold(efs("sgi-7"), 6000, "sgi/7", 8).add();
}

void add_pc(Images& images) {
  Disk disk("disk-pc", images);
  MbrLabel label = pc_label();
  label.slices[0] = {.type = 0x06, .first = 32, .sectors = 8400, .active = true};
  label.slices[2] = {.type = 0x05, .first = 9000, .sectors = 7000};
  label.logicals = {{.record = 9000, .slice = {.type = 0x63, .first = 9032, .sectors = kSlice}},
                    {.record = 13200, .slice = {.type = 0x01, .first = 13232, .sectors = 2700}}};
  write_mbr(disk.bytes, label);
  disk.hold(fat("pc-1", 16, 8400), 32, "mbr/1", 1)
      .hold(s5("pc-5"), 9032, "mbr/5", 5)
      .hold(fat("pc-6", 12, 2700), 13232, "mbr/6", 6)
      .add();
}

void add_gpt(Images& images) {
  Disk disk("disk-gpt", images);
  GptLabel label;
  label.blocks = kBlocks;
  const std::string type = "0FC63DAF-8483-4772-8E79-3D69D8477DE4";
  label.slices = {
      {type, "00000000-0000-0000-0000-000000000001", 64, 64 + kSlice - 1, "first"},
      {type, "00000000-0000-0000-0000-000000000002", 6000, 6000 + kSlice - 1, "second"}};
  write_gpt(disk.bytes, label);
  disk.hold(ext2("gpt-1"), 64, "gpt/1", 1)
      .hold(ffs("gpt-2", FfsStyle::bsd44, ByteOrder::little, "44bsd"), 6000, "gpt/2", 2)
      .add();
}

void add_apm(Images& images) {
  Disk disk("disk-apm", images);
  VolumeImage volume = hfs("apm-2");
  // The driver wants the copy of the volume header at the end of its slice.
  const auto blocks = static_cast<std::uint32_t>(volume.image.size() / kBlock);
  write_apm_drivers(disk.bytes, kBlock, kBlocks);
  write_apm_map(
      disk.bytes, kBlock,
      {{.first = 1, .blocks = 63, .name = "map", .type = apm_type("partition_map")},
       {.first = 64, .blocks = blocks, .name = "disc", .type = apm_type("HFS")},
       {.first = 64 + blocks, .blocks = kBlocks - 64 - blocks, .type = apm_type("Free")}});
  disk.hold(std::move(volume), 64, "apm/2", 2).add();
}

// The kernel counts the slices of inner labels from 5 on.
void add_inner_labels(Images& images) {
  {
    Disk disk("disk-bsd-in-pc", images);
    MbrLabel outer = pc_label();
    outer.slices[0] = {.type = 0xA9, .first = kInner, .sectors = kBlocks - kInner};
    write_mbr(disk.bytes, outer);
    BsdLabel label;
    label.order = ByteOrder::little;
    label.sectors_per_track = kSectors;
    label.tracks = kHeads;
    label.cylinders = kCylinders;
    label.slices = {{.sectors = kSlice, .first = kInner + 128, .type = 7},
                    {.sectors = 1000, .first = kInner + 5000, .type = 1},
                    {.sectors = kBlocks - kInner, .first = kInner, .type = 0},
                    {.sectors = kBlocks, .first = 0, .type = 0},
                    {.sectors = kSlice, .first = kInner + 6000, .type = 7}};
    write_bsd_label(disk.bytes, label, kInner * kBlock + kBlock);
    disk.hold(ffs("bsd-a", FfsStyle::bsd44, ByteOrder::little, "44bsd"), kInner + 128,
              "mbr/1/bsd/a", 5)
        .hold(ffs("bsd-e", FfsStyle::bsd44_old, ByteOrder::little, "old"), kInner + 6000,
              "mbr/1/bsd/e", 7)
        .add();
  }
  {
    Disk disk("disk-x86-in-pc", images);
    MbrLabel outer = pc_label();
    outer.slices[0] = {.type = 0x82, .first = kInner, .sectors = kBlocks - kInner};
    write_mbr(disk.bytes, outer);
    Unix386Label label;
    label.slice_first = kInner;
    label.cylinders = kCylinders;
    label.heads = kHeads;
    label.sectors_per_track = kSectors;
    label.slices = {{.tag = 2, .flag = 0x200, .first = 128, .sectors = kSlice},
                    {.tag = 3, .flag = 0x200, .first = 5000, .sectors = 1000}};
    write_solaris_x86_label(disk.bytes, label);
    disk.hold(ffs("x86-0", FfsStyle::svr4, ByteOrder::little, "sunx86"), kInner + 128,
              "mbr/1/solaris-x86/0", 5)
        .add();
  }
  Disk disk("disk-minix-in-pc", images);
  MbrLabel outer = pc_label();
  outer.slices[0] = {.type = 0x81, .first = kInner, .sectors = kBlocks - kInner};
  write_mbr(disk.bytes, outer);
  MbrLabel inner = pc_label();
  inner.slices[0] = {.type = 0x81, .first = kInner + 8, .sectors = kSlice};
  inner.slices[1] = {.type = 0x81, .first = kInner + 6000, .sectors = kSlice};
  Bytes table(kBlock);
  write_mbr(table, inner);
  std::ranges::copy(table, disk.bytes.begin() + kInner * std::ptrdiff_t{kBlock});
  disk.hold(minix("minix-1", 1), kInner + 8, "mbr/1/minix-sub/s0", 5)
      .hold(minix("minix-2", 2), kInner + 6000, "mbr/1/minix-sub/s1", 6)
      .add();
}

}  // namespace

std::vector<VolumeImage> slice_images() {
  Images images;
  add_sun(images);
  add_sgi(images);
  add_pc(images);
  add_gpt(images);
  add_apm(images);
  add_inner_labels(images);
  return images;
}

}  // namespace platter::test
