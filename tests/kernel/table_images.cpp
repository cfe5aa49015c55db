// One disk for each label that the kernel knows, 4 MiB each.
#include <algorithm>

#include "kernel/images.h"
#include "writers/amiga_writer.h"
#include "writers/apm_writer.h"
#include "writers/atari_writer.h"
#include "writers/bsd_writer.h"
#include "writers/gpt_writer.h"
#include "writers/mbr_writer.h"
#include "writers/sgi_writer.h"
#include "writers/small_labels_writer.h"
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
constexpr std::uint32_t kCylinders = 64;
constexpr std::uint32_t kBlocks = kCylinders * kCylinder;  // 4 MiB
constexpr std::uint32_t kInner = 128;                      // where an inner label's slice begins

Bytes disk() {
  return Bytes(kBlocks * kBlock);
}

Bytes sun_disk() {
  SunLabel label;
  label.cylinders = kCylinders - 2;
  label.heads = kHeads;
  label.sectors_per_track = kSectors;
  label.slices[0] = {.first_cylinder = 0, .blocks = 10 * kCylinder, .tag = 2};
  label.slices[1] = {.first_cylinder = 10, .blocks = 5 * kCylinder, .tag = 3};
  label.slices[2] = {.first_cylinder = 0, .blocks = (kCylinders - 2) * kCylinder, .tag = 5};
  label.slices[6] = {.first_cylinder = 15, .blocks = 40 * kCylinder, .tag = 4};
  Bytes image = disk();
  write_sun_label(image, label);
  return image;
}

Bytes sgi_disk() {
  SgiLabel label;
  label.cylinders = kCylinders;
  label.tracks = kHeads;
  label.sectors = kSectors;
  label.slices[0] = {.blocks = 3000, .first = 1024, .type = 7};
  label.slices[1] = {.blocks = 1000, .first = 4024, .type = 3};
  label.slices[8] = {.blocks = 1024, .first = 0, .type = 0};
  label.slices[10] = {.blocks = kBlocks, .first = 0, .type = 6};
  Bytes image = disk();
  write_sgi_label(image, label);
  return image;
}

Bytes mbr_disk() {
  MbrLabel label;
  label.disk_id = 0x19960101;
  label.heads = kHeads;
  label.sectors_per_track = kSectors;
  label.slices[0] = {.type = 0x83, .first = 32, .sectors = 1000, .active = true};
  label.slices[1] = {.type = 0x05, .first = 2048, .sectors = 4096};
  label.slices[3] = {.type = 0x82, .first = 7000, .sectors = 500};
  label.logicals = {{.record = 2048, .slice = {.type = 0x83, .first = 2080, .sectors = 900}},
                    {.record = 3072, .slice = {.type = 0x06, .first = 3104, .sectors = 1100}},
                    {.record = 5120, .slice = {.type = 0x83, .first = 5152, .sectors = 64}}};
  Bytes image = disk();
  write_mbr(image, label);
  return image;
}

Bytes gpt_disk() {
  GptLabel label;
  label.blocks = kBlocks;
  const std::string type = "516E7CB6-6ECF-11D6-8FF8-00022D09712B";
  label.slices = {{type, "00000000-0000-0000-0000-000000000001", 64, 2047, "first"},
                  {type, "00000000-0000-0000-0000-000000000002", 2048, 2048, "one block"},
                  {type, "00000000-0000-0000-0000-000000000003", 4096, 8000, "third"}};
  Bytes image = disk();
  write_gpt(image, label);
  return image;
}

Bytes apm_disk() {
  Bytes image = disk();
  write_apm_drivers(image, kBlock, kBlocks);
  write_apm_map(image, kBlock,
                {{.first = 1, .blocks = 63, .name = "map", .type = apm_type("partition_map")},
                 {.first = 64, .blocks = 2000, .name = "root", .type = apm_type("UNIX_SVR2")},
                 {.first = 2064, .blocks = 3000, .name = "disc", .type = apm_type("HFS")},
                 {.first = 5064, .blocks = 3128, .name = "", .type = apm_type("Free")}});
  return image;
}

Bytes amiga_disk() {
  AmigaLabel label;
  label.cylinders = kCylinders;
  label.heads = kHeads;
  label.sectors_per_track = kSectors;
  label.slices = {{.name = "DH0", .low_cylinder = 2, .high_cylinder = 20, .bootable = true},
                  {.name = "DH1", .low_cylinder = 21, .high_cylinder = 63}};
  Bytes image = disk();
  write_amiga_label(image, label);
  return image;
}

Bytes atari_disk() {
  AtariLabel label;
  label.disk_blocks = kBlocks;
  label.slices = {{.id = "GEM", .first = 2, .blocks = 2046, .bootable = true},
                  {.id = "BGM", .first = 2048, .blocks = 3000}};
  Bytes image = disk();
  write_atari_label(image, label);
  return image;
}

// The disk of a PC with one slice, for a label inside it.
Bytes pc_disk(std::uint8_t type) {
  MbrLabel label;
  label.heads = kHeads;
  label.sectors_per_track = kSectors;
  label.slices[0] = {.type = type, .first = kInner, .sectors = kBlocks - kInner, .active = true};
  Bytes image = disk();
  write_mbr(image, label);
  return image;
}

Bytes bsd_in_mbr() {
  Bytes image = pc_disk(0xA9);
  BsdLabel label;
  label.order = ByteOrder::little;
  label.sectors_per_track = kSectors;
  label.tracks = kHeads;
  label.cylinders = kCylinders;
  label.slices = {{.sectors = 2000, .first = kInner, .type = 7},
                  {.sectors = 1000, .first = kInner + 2000, .type = 1},
                  {.sectors = kBlocks - kInner, .first = kInner, .type = 0},
                  {.sectors = kBlocks, .first = 0, .type = 0},
                  {.sectors = 3000, .first = kInner + 3000, .type = 7}};
  write_bsd_label(image, label, kInner * kBlock + kBlock);
  return image;
}

// The kernel takes a label in sector 0 with the parser for OSF/1.
Bytes bsd_disk() {
  Bytes image = disk();
  BsdLabel label;
  label.order = ByteOrder::little;
  label.sectors_per_track = kSectors;
  label.tracks = kHeads;
  label.cylinders = kCylinders;
  label.slices = {{.sectors = 2000, .first = 16, .type = 7},
                  {.sectors = 1000, .first = 2016, .type = 1},
                  {.sectors = kBlocks, .first = 0, .type = 0},
                  {.sectors = 3000, .first = 3016, .type = 7}};
  write_bsd_label(image, label, 64);
  return image;
}

Unix386Label unix386_label(std::uint32_t base) {
  Unix386Label label;
  label.slice_first = kInner;
  label.cylinders = kCylinders;
  label.heads = kHeads;
  label.sectors_per_track = kSectors;
  label.slices = {{.tag = 2, .flag = 0x200, .first = base + 128, .sectors = 2000},
                  {.tag = 3, .flag = 0x200, .first = base + 2128, .sectors = 1000},
                  {.tag = 4, .flag = 0x200, .first = base + 3128, .sectors = 3000}};
  return label;
}

Bytes solaris_in_mbr() {
  Bytes image = pc_disk(0x82);
  write_solaris_x86_label(image, unix386_label(0));
  return image;
}

Bytes svr4_in_mbr() {
  Bytes image = pc_disk(0x63);
  Unix386Label label = unix386_label(kInner);
  // Slice 0 is the whole disk, which the kernel does not show.
  label.slices.insert(label.slices.begin(),
                      {.tag = 5, .flag = 0x200, .first = kInner, .sectors = kBlocks - kInner});
  write_svr4_label(image, label);
  return image;
}

Bytes minix_in_mbr() {
  Bytes image = pc_disk(0x81);
  MbrLabel inner;
  inner.heads = kHeads;
  inner.sectors_per_track = kSectors;
  inner.slices[0] = {.type = 0x81, .first = kInner + 8, .sectors = 1000};
  inner.slices[1] = {.type = 0x81, .first = kInner + 1008, .sectors = 2000};
  Bytes table(kBlock);
  write_mbr(table, inner);
  std::ranges::copy(table, image.begin() + kInner * std::ptrdiff_t{kBlock});
  return image;
}

Bytes ultrix_disk() {
  Bytes image = disk();
  write_ultrix_label(image, {{.first = 0, .blocks = 2000},
                             {.first = 2000, .blocks = 1000},
                             {.first = 3000, .blocks = 3000}});
  return image;
}

int number_as_written(const std::string& id) {
  return std::stoi(id);
}
int number_from_zero(const std::string& id) {
  return std::stoi(id) + 1;
}
int number_of_letter(const std::string& id) {
  return id[0] - 'a' + 1;
}

}  // namespace

const std::vector<TableImage>& table_images() {
  static const std::vector<TableImage> kImages = {
      {"sun", sun_disk(), number_of_letter},
      {"sgi", sgi_disk(), number_from_zero},
      {"mbr", mbr_disk(), number_as_written},
      {"gpt", gpt_disk(), number_as_written},
      {"apm", apm_disk()},
      {"amiga", amiga_disk()},
      {"atari", atari_disk()},
      {"bsd", bsd_disk()},
      {"ultrix", ultrix_disk(), number_of_letter},
      {"bsd-in-mbr", bsd_in_mbr(), nullptr, "mbr"},
      {"solaris-in-mbr", solaris_in_mbr(), nullptr, "mbr"},
      {"svr4-in-mbr", svr4_in_mbr(), nullptr, "mbr"},
      {"minix-in-mbr", minix_in_mbr(), nullptr, "mbr"}};
  return kImages;
}

}  // namespace platter::test
