#include <algorithm>

#include "framing/frame_layout.h"
#include "fuzz/seeds.h"
#include "hostile/damage.h"
#include "job/volumes.h"
#include "support/hexfile.h"
#include "unit/filesystem/ext2_volume.h"
#include "writers/demo_images.h"
#include "writers/efs_writer.h"
#include "writers/fat_writer.h"
#include "writers/ffs_writer.h"
#include "writers/hfs_writer.h"
#include "writers/iso9660_writer.h"
#include "writers/minix_writer.h"
#include "writers/s5_writer.h"
#include "writers/v7_writer.h"

namespace platter::fuzz {
namespace {

using Bytes = std::vector<std::byte>;

// Links of all lengths, holes, devices, second names and directories below one another: what the
// specimens, which are kept as small as can be, do not have.
Bytes full_tree(fixtures::UnixTreeWriter&& writer, bool links) {
  writer.add_file("etc/passwd", std::string(3000, 'p'))
      .add_sparse_file("var/holes", 700'000, {{5000, "a"}, {699'990, "end"}})
      .add_directory("a/b/c/d")
      .add_file("a/b/c/d/empty", "")
      .add_device("dev/tty", false, 3, 7)
      .add_device("dev/disk", true, 4, 1)
      .add_link("a/second", "etc/passwd");
  if (links) {
    writer.add_symlink("short", "etc/passwd").add_symlink("long", std::string(200, 'x'));
  }
  for (int i = 0; i < 30; ++i)
    writer.add_file("many/" + std::to_string(i), std::string(static_cast<std::size_t>(i), 'f'));
  return writer.build();
}

Bytes full_ffs(ByteOrder order, fixtures::FfsStyle style) {
  fixtures::FfsWriter writer({.order = order,
                              .style = style,
                              .volume_bytes = 768 * 1024,
                              .block_bytes = 4096,
                              .fragment_bytes = 512});
  writer.add_file("etc/passwd", std::string(3000, 'p'))
      .add_sparse_file("var/holes", 700'000, {{5000, "a"}, {699'990, "end"}})
      .add_symlink("short", "etc/passwd")
      .add_symlink("long", std::string(200, 'x'))
      .add_special("dev/tty", fixtures::FfsSpecial::char_device, 3, 7)
      .add_hard_link("a/second", "etc/passwd");
  for (int i = 0; i < 30; ++i)
    writer.add_file("many/" + std::to_string(i), "f");
  return writer.build();
}

Bytes full_disc() {
  fixtures::IsoOptions options;
  options.joliet = true;
  options.texts.volume_id = "SEED";
  fixtures::Iso9660Writer writer(options);
  writer.add_file("etc/passwd", std::string(3000, 'p'))
      .add_symlink("bin", "usr/bin/../sbin")
      .add_directory("a/b/c/d/e/f")
      .add_file(std::string(60, 'n') + ".txt", "long");
  return writer.build();
}

Bytes full_fat(unsigned width, std::uint64_t sectors) {
  fixtures::FatOptions options;
  options.width = width;
  options.sectors = sectors;
  fixtures::FatWriter writer(options);
  writer.add_directory("SUB").add_directory("SUB/deeper directory");
  for (int i = 0; i < 20; ++i) {
    writer.add_file("SUB/deeper directory/a long name with number " + std::to_string(i), "f");
  }
  writer.add_file("LARGE.BIN", std::string(30'000, 'x'));
  return writer.build();
}

Bytes full_hfs() {
  fixtures::HfsWriter writer({.blocks = 400});
  writer.add_directory("Folder");
  for (int i = 0; i < 40; ++i)
    writer.add_file("Folder/number " + std::to_string(i), {std::to_string(i)});
  writer.add_file("in pieces", {std::string(9000, 'p'), 11}, {"resource"});
  return writer.build();
}

Bytes full_minix(ByteOrder order, unsigned version) {
  fixtures::MinixWriter writer({.order = order, .version = version, .zones = 200, .inodes = 96});
  writer.add_file("etc/passwd", std::string(20'000, 'p'))
      .add_symlink("link", "etc/passwd")
      .add_link("a/second", "etc/passwd");
  for (int i = 0; i < 30; ++i)
    writer.add_file("many/" + std::to_string(i), "f");
  return writer.build();
}

// A file through pointers of every level, a directory, and links inside and outside the inode.
Bytes full_ext2(ByteOrder order) {
  test::SmallExt2 volume(order);
  volume.file("file", 12, 66'000'000)
      .set<"block">(20)
      .set<"block">(30, 12)
      .set<"block">(31, 13)
      .set<"block">(33, 14);
  volume.pointer(30, 2, 21);
  volume.pointer(31, 1, 32);
  volume.pointer(32, 1, 22);
  volume.pointer(33, 0, 34);
  volume.pointer(34, 0, 35);
  volume.pointer(35, 3, 23);
  volume.name("sub", 13);
  volume.inode(13).set<"mode">(0040755).set<"links">(2).set<"size">(1024).set<"block">(24);
  volume.entry(24, 0, 13, 12, ".");
  volume.entry(24, 12, 2, 12, "..");
  volume.entry(24, 24, 12, 1000, "again");
  volume.name("link", 14);
  volume.inode(14).set<"mode">(0120777).set<"links">(1).set<"size">(100).set<"block">(25);
  volume.name("tree", 15);
  volume.inode(15).set<"mode">(0100644).set<"links">(1).set<"size">(100'000).set<"flags">(
      filesystem::kExt2InodeExtents);
  const auto node = [&](std::uint64_t place, std::uint64_t entries, std::uint64_t depth) {
    FieldWriter<filesystem::kExt2ExtentHeader>(volume.bytes.data() + place, order)
        .set<"magic">(filesystem::kExt2ExtentMagic)
        .set<"entries">(entries)
        .set<"max">(4)
        .set<"depth">(depth);
    return volume.bytes.data() + place + 12;
  };
  FieldWriter<filesystem::kExt2ExtentIndex>(node(test::SmallExt2::inode_place(15) + 40, 1, 1),
                                            order)
      .set<"leaf">(36);
  std::byte* leaf = node(36 * test::SmallExt2::kBlock, 2, 0);
  FieldWriter<filesystem::kExt2Extent>(leaf, order).set<"block">(1).set<"len">(4).set<"start">(40);
  FieldWriter<filesystem::kExt2Extent>(leaf + 12, order)
      .set<"block">(8)
      .set<"len">(5)
      .set<"start">(50);
  return volume.finish(60, 15);
}

// Every specimen, every fixture (the spoiled ones too), and fuller volumes.
std::vector<test::Specimen> all_images() {
  std::vector<test::Specimen> all = test::specimens();
  for (const std::string& name : test::all_hex_fixtures()) {
    if (name.find("good") == std::string::npos) all.push_back({name, test::hex_fixture(name)});
  }
  all.push_back({"demo disk", fixtures::demo_system_disk()});
  all.push_back({"demo disc", fixtures::demo_install_disc()});
  for (const auto style :
       {fixtures::FfsStyle::bsd42, fixtures::FfsStyle::svr4, fixtures::FfsStyle::bsd44,
        fixtures::FfsStyle::dialect_v, fixtures::FfsStyle::ufs2}) {
    all.push_back({"full ffs", full_ffs(ByteOrder::big, style)});
    if (style == fixtures::FfsStyle::dialect_v) continue;  // big-endian only
    all.push_back({"full ffs", full_ffs(ByteOrder::little, style)});
  }
  all.push_back({"full efs", full_tree(fixtures::EfsWriter({.volume_blocks = 1024}), true)});
  for (const auto style : {fixtures::S5Style::release4, fixtures::S5Style::release2,
                           fixtures::S5Style::xenix, fixtures::S5Style::coherent}) {
    all.push_back(
        {"full s5", full_tree(fixtures::S5Writer({.style = style, .volume_blocks = 300}), false)});
  }
  all.push_back({"full v7", full_tree(fixtures::V7Writer({.volume_blocks = 300}), false)});
  all.push_back({"full ext2", full_ext2(ByteOrder::little)});
  all.push_back({"full ext2", full_ext2(ByteOrder::big)});
  all.push_back({"full disc", full_disc()});
  all.push_back({"full fat", full_fat(12, 720)});
  all.push_back({"full fat", full_fat(16, 4300)});
  all.push_back({"full fat", full_fat(32, 2000)});
  all.push_back({"full hfs", full_hfs()});
  for (const unsigned version : {1U, 2U, 3U}) {
    all.push_back({"full minix", full_minix(ByteOrder::little, version)});
  }
  return all;
}

template <typename Rows>
std::uint8_t place_in(const Rows& rows, std::string_view id) {
  const auto row = std::ranges::find(rows, id, [](const Format* format) { return format->id; });
  return static_cast<std::uint8_t>(row - rows.begin());
}

void write_label_seeds(SeedWriter& writer, const test::Specimen& image) {
  const std::vector<const Format*> labels = formats_of(Stage::label);
  const View view(std::make_shared<MemorySource>(image.bytes));
  const Context context{.image = view};
  bool labelled = false;
  for (std::size_t i = 0; i < labels.size(); ++i) {
    if (labels[i]->claims(view, context).empty()) continue;
    labelled = true;
    writer.add_image("label_fuzz", image.name, image.bytes, {static_cast<std::uint8_t>(i)});
  }
  const auto starts = [&](const Format* boot) { return !boot->claims(view, context).empty(); };
  if (!labelled && std::ranges::any_of(formats_of(Stage::boot), starts)) {
    writer.add_image("label_fuzz", image.name, image.bytes,
                     {static_cast<std::uint8_t>(labels.size())});
  }
}

void write_volume_seeds(SeedWriter& writer, const test::Specimen& image,
                        const StraightSurvey& straight) {
  const std::vector<const Format*> formats = formats_of(Stage::filesystem, true);
  for (const OpenVolume& open : open_volumes(straight, "", {}).open) {
    const std::uint8_t format = place_in(formats, open.layer->format);
    if (format == formats.size()) continue;  // a label's own files
    const Bytes bytes = open.view.read_vector(0, open.view.bytes());
    for (const char* target : {"volume_fuzz", "listing_fuzz"})
      writer.add_image(target, image.name, bytes, {0, format});
  }
}

}  // namespace

void write_image_seeds(SeedWriter& writer) {
  for (const test::Specimen& image : all_images()) {
    const StraightSurvey straight =
        survey_straight(test::image_of(std::make_shared<MemorySource>(image.bytes)));
    writer.add_image("survey_fuzz", image.name, image.bytes);
    write_label_seeds(writer, image);
    write_volume_seeds(writer, image, straight);
  }
}

}  // namespace platter::fuzz
