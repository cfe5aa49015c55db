#include <algorithm>
#include <string>
#include <utility>

#include "framing/enframe.h"
#include "hostile/damage.h"
#include "support/hexfile.h"
#include "writers/apm_writer.h"
#include "writers/bfs_writer.h"
#include "writers/boot_writer.h"
#include "writers/bsd_writer.h"
#include "writers/demo_images.h"
#include "writers/dlv_writer.h"
#include "writers/efs_writer.h"
#include "writers/fat_writer.h"
#include "writers/ffs_writer.h"
#include "writers/hfs_writer.h"
#include "writers/hfsplus_writer.h"
#include "writers/iso9660_sketch.h"
#include "writers/iso9660_writer.h"
#include "writers/mbr_writer.h"
#include "writers/minix_writer.h"
#include "writers/s5_writer.h"
#include "writers/sgi_writer.h"
#include "writers/v7_writer.h"
#include "writers/workstation_boot_writer.h"
#include "writers/xfs_writer.h"

namespace platter::test {
namespace {

std::vector<std::byte> xfs_volume(std::uint32_t version) {
  fixtures::XfsWriter writer({.version = version,
                              .block_bytes = 512,
                              .groups = 2,
                              .group_blocks = 900,
                              .extent_blocks = 1,
                              .gap_blocks = 1});
  writer.add_file("a", std::string(20'000, 'a'));
  writer.add_sparse_file("b", 900'000, {{0, "b"}, {70'000, "c"}, {899'999, "d"}});
  writer.add_symlink("link", "a").add_symlink("long", std::string(700, 'x'));
  writer.add_device("tty", false, 1, 2);
  writer.add_directory("d/e/f");
  writer.add_link("d/other", "a");
  for (int i = 0; i < 9; ++i)
    writer.add_file("block/file-" + std::to_string(i), std::to_string(i));
  for (int i = 0; i < 90; ++i)
    writer.add_file("d/file-" + std::to_string(i), "");
  return writer.build();
}

std::vector<std::byte> small_disc() {
  fixtures::IsoOptions options;
  options.joliet = true;
  options.texts.volume_id = "SPECIMEN";
  fixtures::Iso9660Writer writer(options);
  writer.add_file("a.txt", "a");
  writer.add_file("sub/b.txt", "b");
  return writer.build();
}

// Sections, interleaving, moved directories, continuation areas: what ordinary discs do not have.
std::vector<std::byte> odd_disc(bool high_sierra) {
  using namespace fixtures::iso9660;  // NOLINT(google-build-using-namespace): the entries
  fixtures::IsoSketch sketch({.high_sierra = high_sierra, .blocks = 48});
  const bool rock = !high_sierra;
  const auto use = [&](const std::vector<Bytes>& entries) {
    return rock ? joined(entries) : Bytes();
  };
  sketch.root({{.identifier = "A",
                .block = 30,
                .bytes = 2048,
                .flags = 0x02,
                .system_use = use({name_entry(0, "a"), mode_entry(040755, 2, 0, 0)})},
               {.identifier = "B.;1",
                .block = 31,
                .bytes = 100,
                .flags = 0x80,
                .system_use = use({mode_entry(0100644, 1, 0, 0), times_entry(1)})},
               {.identifier = "B.;1", .block = 32, .bytes = 100},
               {.identifier = "L.;1",
                .system_use = use({mode_entry(0120777, 1, 0, 0), continuation_entry(33, 0, 100)})},
               {.identifier = "M.;1",
                .block = 40,
                .bytes = 9000,
                .attribute_blocks = 1,
                .unit_blocks = 1,
                .gap_blocks = 1}},
              rock);
  sketch.directory(30, 20, "A",
                   {{.identifier = "C.;1", .system_use = use({place_entry("CL", 34)})}});
  if (rock) sketch.put(33, link_entry(0, {{0, "usr"}, {1, "b"}, {0, "in"}}));
  sketch.directory(34, 30, "C", {}, use({mode_entry(040755, 2, 0, 0)}),
                   use({place_entry("PL", 30)}));
  return sketch.build();
}

std::vector<std::byte> bsd_disk(ByteOrder order, std::size_t offset) {
  std::vector<std::byte> image(1U << 20U);
  fixtures::BsdLabel label;
  label.order = order;
  label.sectors_per_track = 32;
  label.tracks = 4;
  label.cylinders = 16;
  label.slices = {{.sectors = 1024, .first = 0, .type = 7},
                  {.sectors = 512, .first = 1024, .type = 1},
                  {.sectors = 2048, .first = 0, .type = 0}};
  fixtures::write_bsd_label(image, label, offset);
  return image;
}

std::vector<std::byte> sgi_disk() {
  std::vector<std::byte> image(1U << 20U);
  fixtures::SgiLabel label;
  label.cylinders = 16;
  label.tracks = 4;
  label.sectors = 32;
  label.files = {{.name = "sash", .first = 8, .bytes = 1024}};
  label.slices[0] = {.blocks = 1024, .first = 512, .type = 7};
  label.slices[8] = {.blocks = 512, .first = 0, .type = 0};
  label.slices[10] = {.blocks = 2048, .first = 0, .type = 6};
  fixtures::write_sgi_label(image, label);
  return image;
}

std::vector<std::byte> dlv_disk(unsigned version) {
  std::vector<std::byte> image(1U << 20U);
  fixtures::DlvLabel label;
  label.version = version;
  label.sector_bytes = 1024;
  label.tracks = 4;
  label.sectors_per_track = 16;
  label.cylinders = 16;
  label.sectors = 1024;
  label.slices[0] = {.base = 0, .sectors = 800};
  fixtures::write_dlv_label(image, label);
  return image;
}

std::vector<std::byte> mbr_disk() {
  std::vector<std::byte> image(1U << 20U);
  fixtures::MbrLabel label;
  label.slices[0] = {.type = 0x83, .first = 63, .sectors = 500, .active = true};
  label.slices[1] = {.type = 0x05, .first = 600, .sectors = 1400};
  label.logicals = {{.record = 600, .slice = {.type = 0x83, .first = 663, .sectors = 300}},
                    {.record = 1000, .slice = {.type = 0xA9, .first = 1063, .sectors = 500}}};
  fixtures::write_mbr(image, label);
  return image;
}

std::vector<std::byte> ffs_volume(ByteOrder order, fixtures::FfsStyle style) {
  fixtures::FfsOptions options;
  options.order = order;
  options.style = style;
  options.volume_bytes = 1U << 20U;
  fixtures::FfsWriter writer(options);
  writer.add_file("a", "content");
  return writer.build();
}

std::vector<std::byte> old_unix_volume(fixtures::UnixTreeWriter&& writer) {
  writer.add_file("a", "content").add_sparse_file("d/b", 300000, {{299000, "end"}});
  return writer.build();
}

std::vector<std::byte> boot_disc() {
  fixtures::Catalog catalog;
  catalog.sections = {{.platform = 0xEF, .entries = {{.load_blocks = 1}}},
                      {.platform = 1, .entries = {{.media = 4, .extensions = {"more"}}}}};
  return fixtures::boot_disc(catalog, {fixtures::i386_boot_code(), fixtures::i386_boot_code(),
                                       fixtures::i386_boot_code()})
      .bytes;
}

// PReP and PC boot code on one disk, and a boot script in an optical volume.
std::vector<std::byte> prep_disk() {
  std::vector<std::byte> image(64 * 1024);
  fixtures::MbrLabel label;
  label.slices[0] = {.type = 0x41, .first = 8, .sectors = 64, .active = true};
  fixtures::write_pc_boot_code(image);
  fixtures::write_mbr(image, label);
  fixtures::write_prep_image(image, 8 * 512, 8192);
  return image;
}

std::vector<std::byte> script_disc() {
  fixtures::Iso9660Writer writer;
  writer.add_file("ppc/bootinfo.txt", "<chrp-boot><boot-script>boot</boot-script>");
  return writer.build();
}

std::vector<std::byte> driver_disk() {
  std::vector<std::byte> image(64 * 1024);
  fixtures::write_apm_drivers(image, 512, 128, {{.first = 16, .blocks = 4, .system = 1}});
  fixtures::write_apm_map(image, 512,
                          {{1, 15, "Map", fixtures::apm_type("partition_map")},
                           {16, 8, "Driver", fixtures::apm_type("Driver"), 0x7F, "68000"},
                           {24, 100, "Volume", fixtures::apm_type("HFS"), 0x3B, "PowerPC"}});
  fixtures::set_apm_boot(image, 512, 2, {.bytes = 2000, .checksum = 0xFFFF});
  fixtures::set_apm_boot(image, 512, 3, {.first = 4, .bytes = 900, .load = 16, .entry = 20});
  return image;
}

std::vector<std::byte> fat_volume(unsigned width, std::uint64_t sectors) {
  fixtures::FatOptions options;
  options.width = width;
  options.sectors = sectors;
  fixtures::FatWriter writer(options);
  writer.add_file("A", "content").add_directory("SUB").add_file("SUB/a long name", "more");
  return writer.build();
}

std::vector<std::byte> hfs_volume() {
  fixtures::HfsWriter writer({.blocks = 200});
  writer.add_file("a", {"content"}, {"resource"}).add_directory("sub").add_file("sub/b", {"more"});
  return writer.build();
}

// Both trees with an index, hard links, an attribute of its own blocks.
std::vector<std::byte> hfsplus_volume(bool by_case) {
  fixtures::HfsPlusWriter writer({.blocks = 160,
                                  .block_bytes = 512,
                                  .node_bytes = 1024,
                                  .catalog_nodes = 12,
                                  .catalog_pieces = 9,
                                  .by_case = by_case,
                                  .large_attribute = std::string(600, 'a'),
                                  .bad_blocks = 1});
  writer.add_file("a", {std::string(5000, 'x'), 10}, {"resource"})
      .add_directory("sub")
      .add_symlink("link", "sub/b")
      .add_link("sub/b", "a")
      .add_file("sub/c", {"more"});
  return writer.build();
}

std::vector<std::byte> minix_volume(ByteOrder order, unsigned version) {
  fixtures::MinixWriter writer({.order = order, .version = version, .zones = 64, .inodes = 32});
  writer.add_file("d/a", "content").add_symlink("link", "d/a");
  return writer.build();
}

std::vector<std::byte> bfs_volume() {
  fixtures::BfsWriter writer({.volume_bytes = 16384});
  writer.add_file("unix", "content");
  return writer.build();
}

// The same bytes as optical frames, and with the bytes of every 16-bit word swapped.
std::vector<std::byte> in_frames(const std::vector<std::byte>& plain) {
  std::vector<std::byte> frames(plain.size() / 2048 * 2352);
  const bool done = framing::enframe(
      MemorySource(plain), 1, [&](std::uint64_t offset, std::span<const std::byte> bytes) {
        std::ranges::copy(bytes, frames.begin() + static_cast<std::ptrdiff_t>(offset));
      });
  return done ? frames : std::vector<std::byte>();
}

std::vector<std::byte> swapped(std::vector<std::byte> bytes) {
  for (std::size_t i = 0; i + 1 < bytes.size(); i += 2)
    std::swap(bytes[i], bytes[i + 1]);
  return bytes;
}

// A sector 0 that starts alpha, vax and pmax machines, and the program behind it.
std::vector<std::byte> boot_sectors() {
  std::vector<std::byte> image(64U * 1024);
  fixtures::put_bytes(image, 512, fixtures::make_code(15 * 512));
  fixtures::write_vax_sector(image);
  fixtures::write_pmax_sector(image);
  fixtures::write_alpha_sector(image, 1, 15);
  return image;
}

}  // namespace

std::vector<Specimen> specimens() {
  std::vector<Specimen> all;
  for (const std::string& name : all_hex_fixtures()) {
    // Only fixtures that are good of their kind; the spoiled ones have tests of their own.
    if (name.find("good") != std::string::npos) all.push_back({name, hex_fixture(name)});
  }
  all.push_back({"iso9660", small_disc()});
  all.push_back({"iso9660 with sections and moved directories", odd_disc(false)});
  all.push_back({"high-sierra", odd_disc(true)});
  all.push_back({"iso9660 in frames", in_frames(small_disc())});
  all.push_back({"iso9660 with swapped bytes", swapped(small_disc())});
  all.push_back({"bsd little-endian at 512", bsd_disk(ByteOrder::little, 512)});
  all.push_back({"bsd big-endian at 64", bsd_disk(ByteOrder::big, 64)});
  all.push_back({"sgi", sgi_disk()});
  all.push_back({"dlv 1", dlv_disk(1)});
  all.push_back({"dlv 3", dlv_disk(3)});
  all.push_back({"mbr", mbr_disk()});
  all.push_back({"boot disc", boot_disc()});
  all.push_back({"prep disk", prep_disk()});
  all.push_back({"script disc", script_disc()});
  all.push_back({"driver disk", driver_disk()});
  all.push_back({"boot sectors", boot_sectors()});
  all.push_back({"boot block of sparc", fixtures::make_sun_disk(fixtures::make_aout(0x0103))});
  all.push_back({"boot block in FCode", fixtures::make_sun_disk(fixtures::make_fcode())});
  all.push_back({"shell in ECOFF", fixtures::make_sgi_disk(fixtures::make_coff(0x0160, 56))});
  all.push_back({"shell in ELF", fixtures::make_sgi_disk(fixtures::make_elf32(8))});
  all.push_back({"initial program of hppa", fixtures::make_hppa_disk()});
  all.push_back({"start-up program of m68k", fixtures::make_m68k_lif_disk()});
  all.push_back({"boot programs of dlv", fixtures::make_dlv_disk(fixtures::make_aout(135))});
  for (const auto style :
       {fixtures::FfsStyle::bsd42, fixtures::FfsStyle::svr4, fixtures::FfsStyle::bsd44}) {
    all.push_back({"ffs big-endian", ffs_volume(ByteOrder::big, style)});
    all.push_back({"ffs little-endian", ffs_volume(ByteOrder::little, style)});
  }
  all.push_back({"efs", old_unix_volume(fixtures::EfsWriter({.volume_blocks = 1024}))});
  // Trees with levels, and both forms of directories.
  for (const std::uint32_t version : {4U, 1U}) {
    all.push_back({"xfs", xfs_volume(version)});
  }
  for (const auto style : {fixtures::S5Style::release4, fixtures::S5Style::release2,
                           fixtures::S5Style::xenix, fixtures::S5Style::coherent}) {
    all.push_back({"s5, xenix and coherent",
                   old_unix_volume(fixtures::S5Writer({.style = style, .volume_blocks = 200}))});
  }
  for (const bool sixth : {false, true}) {
    all.push_back({"v7 and v6", old_unix_volume(fixtures::V7Writer(
                                    {.sixth_edition = sixth, .volume_blocks = 200}))});
  }
  all.push_back({"ffs with old inodes", ffs_volume(ByteOrder::big, fixtures::FfsStyle::bsd44_old)});
  all.push_back({"ffs dialect V", ffs_volume(ByteOrder::big, fixtures::FfsStyle::dialect_v)});
  all.push_back({"ufs2 big-endian", ffs_volume(ByteOrder::big, fixtures::FfsStyle::ufs2)});
  all.push_back({"ufs2 little-endian", ffs_volume(ByteOrder::little, fixtures::FfsStyle::ufs2)});
  all.push_back({"fat12", fat_volume(12, 720)});
  all.push_back({"fat16", fat_volume(16, 4300)});
  all.push_back({"fat32", fat_volume(32, 2000)});
  all.push_back({"hfs", hfs_volume()});
  all.push_back({"hfsplus", hfsplus_volume(false)});
  all.push_back({"hfsplus by case", hfsplus_volume(true)});
  all.push_back({"hfsplus in hfs", fixtures::wrap_in_hfs(hfsplus_volume(false))});
  for (const unsigned version : {1U, 2U, 3U}) {
    all.push_back({"minix little-endian", minix_volume(ByteOrder::little, version)});
    all.push_back({"minix big-endian", minix_volume(ByteOrder::big, version)});
  }
  all.push_back({"bfs", bfs_volume()});
  return all;
}

}  // namespace platter::test
