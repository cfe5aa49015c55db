#include "boot/images.h"

#include <algorithm>
#include <stdexcept>
#include <string>

#include "boot/prep_boot.h"
#include "boot/sector_layouts.h"
#include "core/record.h"
#include "filesystem/iso9660_structures.h"
#include "label/apm_label.h"
#include "label/mbr_label.h"
#include "writers/apm_writer.h"
#include "writers/boot_code.h"
#include "writers/iso9660_writer.h"
#include "writers/lif_writer.h"
#include "writers/mbr_writer.h"
#include "writers/sgi_writer.h"
#include "writers/sun_writer.h"

namespace platter::test {
namespace {

using namespace fixtures;  // NOLINT(google-build-using-namespace): the writers

constexpr std::size_t kDiskBytes = std::size_t{1024} * 1024;
constexpr std::size_t kFloppyBytes = 1474560;
constexpr std::string_view kBootFile = "boot.img";

std::string text_of(const Bytes& bytes) {
  return {reinterpret_cast<const char*>(bytes.data()), bytes.size()};
}

Bytes disk_with_boot_sector(std::size_t bytes, const Bytes& code) {
  Bytes image(bytes);
  put(image, 0, code);
  FieldWriter<label::kMbr>(image.data(), ByteOrder::little).set<"signature">(label::kMbrSignature);
  return image;
}

Bytes sun_disk(const Bytes& program) {
  SunLabel label;
  label.cylinders = 62;
  label.heads = 2;
  label.sectors_per_track = 16;
  label.slices[0] = {.first_cylinder = 2, .blocks = 30 * 32, .tag = 2};
  label.slices[2] = {.first_cylinder = 0, .blocks = 62 * 32, .tag = 5};
  Bytes image(kDiskBytes);
  write_sun_label(image, label);
  put(image, (kSunSliceFirst + 1) * kBlock, program);
  return image;
}

// The code as the emulated medium needs it: bare, behind a boot sector, or behind a partition
// table.
Bytes el_torito_image(Emulation emulation) {
  const Bytes code = i386_boot_code("eltorito");
  if (emulation == Emulation::none) return disk_with_boot_sector(2048, code);
  if (emulation == Emulation::floppy) return disk_with_boot_sector(kFloppyBytes, code);
  Bytes image = disk_with_boot_sector(kDiskBytes, code);
  const std::uint32_t blocks = kDiskBytes / kBlock;
  MbrLabel label;
  label.slices[0] = {.type = 6, .first = 63, .sectors = blocks - 63, .active = true};
  write_mbr(image, label);
  return image;
}

// Records a file's name without ";1": firmware compares the whole identifier.
void drop_version(Bytes& disc, const std::string& name) {
  namespace iso = filesystem::iso9660;
  const std::string recorded = name + ";1";
  const std::size_t at = text_of(disc).find(recorded);
  if (at == std::string::npos) throw std::logic_error("no such name on the disc");
  FieldWriter<iso::kDirectoryRecord>(disc.data() + at - iso::kDirectoryRecord.bytes,
                                     ByteOrder::little)
      .set<"identifier_length">(name.size());
  wipe(disc, at + name.size(), 2);
}

}  // namespace

void put(Bytes& image, std::size_t at, const Bytes& part) {
  std::ranges::copy(part, image.begin() + static_cast<std::ptrdiff_t>(at));
}

void wipe(Bytes& image, std::size_t at, std::size_t bytes) {
  std::fill_n(image.begin() + static_cast<std::ptrdiff_t>(at), bytes, std::byte{0});
}

std::size_t catalog_of(const Bytes& disc) {
  const FieldReader<filesystem::iso9660::kElToritoRecord> record(disc.data() + kElToritoRecordAt,
                                                                 ByteOrder::little);
  return record.get<"catalog">() * filesystem::iso9660::kSectorBytes;
}

Bytes make_i386_disk() {
  const Bytes code = i386_boot_code("i386");
  Bytes image = disk_with_boot_sector(kDiskBytes, code);
  const std::uint32_t first = kI386SliceFirst;
  const std::uint32_t blocks = kDiskBytes / kBlock;
  MbrLabel label;
  label.slices[0] = {.type = 0xA9, .first = first, .sectors = blocks - first, .active = true};
  write_mbr(image, label);
  put(image, kI386SliceFirst * kBlock, disk_with_boot_sector(kBlock, code));
  return image;
}

Bytes make_i386_floppy() {
  return disk_with_boot_sector(kFloppyBytes, i386_boot_code("i386"));
}

Bytes make_el_torito_disc(Emulation emulation) {
  IsoOptions options;
  options.texts.volume_id = "CORVIDOS_BOOT";
  options.boot = IsoBoot{.path = std::string(kBootFile)};
  Iso9660Writer writer(options);
  writer.add_file(kBootFile, text_of(el_torito_image(emulation)));
  Bytes disc = writer.build();
  if (emulation == Emulation::none) return disc;
  const bool floppy = emulation == Emulation::floppy;
  namespace iso = filesystem::iso9660;
  FieldWriter<iso::kCatalogEntry>(disc.data() + catalog_of(disc) + iso::kCatalogEntryBytes,
                                  ByteOrder::little)
      .set<"media">(floppy ? 2 : 4)
      .set<"system_type">(floppy ? 0 : 6)
      .set<"load_blocks">(1);
  return disc;
}

Bytes make_hppa_volume() {
  LifVolume volume;
  volume.ipl_start = kIplStart;
  volume.ipl_bytes = kIplBytes;
  volume.files = {
      {.name = "ISL", .type = 0xCE00, .first = kIplStart / 256, .sectors = kIplBytes / 256}};
  Bytes image(kDiskBytes);
  write_lif(image, volume);
  put(image, kIplStart, hppa_boot_code("hppa"));
  seal_lif_ipl(image, volume);
  return image;
}

Bytes make_sparc_disk() {
  return sun_disk(sparc_boot_program("sparc"));
}
Bytes make_sparc64_disk() {
  return sun_disk(fcode_boot_program("sparc64"));
}

Bytes make_sparc_disc() {
  SunLabel label;
  label.cylinders = 4;
  label.alternate_cylinders = 0;
  label.heads = 1;
  label.sectors_per_track = 640;
  label.slices[0] = {.first_cylinder = 0, .blocks = 640, .tag = 2};
  label.slices[3] = {.first_cylinder = 1, .blocks = 640};
  label.slices[5] = {.first_cylinder = 2, .blocks = 640};
  Bytes image(kBlock * 640 * 4);
  write_sun_label(image, label);
  put(image, (kDiscSliceD + 1) * kBlock, sparc_boot_program("sparc"));
  put(image, (kDiscSliceF + 1) * kBlock, fcode_boot_program("sparc64"));
  return image;
}

Bytes make_apm_disk() {
  const Bytes code = ppc_boot_code("ppc");
  constexpr std::uint32_t kLoadAddress = 0x400000;
  const std::uint32_t blocks = kDiskBytes / kBlock;
  Bytes image(kDiskBytes);
  write_apm_drivers(image, kBlock, blocks);
  write_apm_map(image, kBlock,
                {{.first = 1, .blocks = 63, .name = "map", .type = apm_type("partition_map")},
                 {.first = kApmBootFirst,
                  .blocks = 32,
                  .name = "boot",
                  .type = apm_type("Bootstrap"),
                  .status = 0x3B,
                  .processor = "PowerPC"}});
  FieldWriter<label::kApmEntry>(image.data() + 2 * kBlock, ByteOrder::big)
      .set<"boot_first">(0)
      .set<"boot_bytes">(code.size())
      .set<"boot_load">(kLoadAddress)
      .set<"boot_entry">(kLoadAddress);
  put(image, kApmBootFirst * kBlock, code);
  return image;
}

Bytes make_chrp_disc() {
  IsoOptions options;
  options.rock_ridge = false;
  options.interchange_level = 2;
  options.texts.volume_id = "CORVIDOS_BOOT";
  Iso9660Writer writer(options);
  writer.add_file("ppc/bootinfo.txt", ppc_boot_script("chrp"));
  Bytes image = writer.build();
  drop_version(image, "BOOTINFO.TXT");
  const auto blocks = static_cast<std::uint32_t>(image.size() / kBlock);
  write_apm_drivers(image, kBlock, blocks);
  write_apm_map(image, kBlock,
                {{.first = 1, .blocks = 2, .name = "map", .type = apm_type("partition_map")},
                 {.first = 0,
                  .blocks = blocks,
                  .name = "disc",
                  .type = apm_type("HFS"),
                  .status = 0x3B,
                  .processor = "PowerPC"}});
  return image;
}

Bytes make_prep_disk() {
  constexpr std::size_t kEntry = 1024;
  const Bytes code = ppc_boot_code("prep");
  Bytes image(kDiskBytes);
  MbrLabel label;
  label.slices[0] = {.type = 0x41, .first = kPrepFirst, .sectors = 64, .active = true};
  write_mbr(image, label);
  FieldWriter<boot::kPrepHeader>(image.data() + (kPrepFirst + 1) * kBlock, ByteOrder::little)
      .set<"entry">(kEntry)
      .set<"length">(kEntry + code.size());
  put(image, kPrepFirst * kBlock + kEntry, code);
  return image;
}

Bytes make_pmax_disk() {
  constexpr std::uint64_t kLoadAddress = 0x80600000;
  const Bytes code = pmax_boot_code("pmax");
  Bytes image(kDiskBytes);
  FieldWriter<boot::kPmaxSector> block(image.data(), ByteOrder::little);
  block.set<"magic">(boot::kPmaxMagic)
      .set<"mode">(0)
      .set<"load">(kLoadAddress)
      .set<"entry">(kLoadAddress);
  block.sub<"extent">(0).set<"blocks">(1).set<"first">(kPmaxProgramFirst);
  put(image, kPmaxProgramFirst * kBlock, code);
  return image;
}

Bytes make_sgi_disk() {
  const Bytes program = sgi_boot_program("sgi");
  const auto program_bytes = static_cast<std::uint32_t>(program.size());
  const std::uint32_t blocks = kDiskBytes / kBlock;
  SgiLabel label;
  label.cylinders = 64;
  label.tracks = 2;
  label.sectors = 16;
  label.files = {
      {.name = "sash", .first = kSgiProgramFirst, .bytes = program_bytes, .content = program}};
  label.slices[8] = {.blocks = 1024, .first = 0, .type = 0};
  label.slices[10] = {.blocks = blocks, .first = 0, .type = 6};
  Bytes image(kDiskBytes);
  write_sgi_label(image, label);
  return image;
}

}  // namespace platter::test
