// The labels beyond the first five against libraries that share no code with platter: libparted and
// libfdisk write labels that we read and read labels that our fixture writers write; libblkid reads
// what it knows.
#include <algorithm>
#include <map>
#include <memory>
#include <string>
#include <vector>

#include <blkid/blkid.h>
#include <catch2/catch.hpp>
#include <libfdisk/libfdisk.h>

#include "label/gpt_label.h"
#include "reference/label_disk.h"
#include "unit/label/more_labels.h"
#include "writers/amiga_writer.h"
#include "writers/apm_writer.h"
#include "writers/atari_writer.h"
#include "writers/gpt_writer.h"
#include "writers/mbr_writer.h"
#include "writers/small_labels_writer.h"
#include "writers/unix386_writer.h"

using namespace platter;
using namespace platter::test;

namespace {

std::string words(const Ranges& ranges) {
  std::string all;
  for (const auto& [first, blocks] : ranges) {
    all += std::to_string(first) + "+" + std::to_string(blocks) + " ";
  }
  return all;
}

// ---- libblkid

struct BlkidSlice {
  int number = 0;
  std::uint64_t first = 0;
  std::uint64_t blocks = 0;
  std::string table;  ///< kind of the table that the slice is from
};

std::vector<BlkidSlice> blkid_slices(const DiskFile& disk) {
  blkid_probe probe = blkid_new_probe_from_filename(disk.path());
  REQUIRE(probe != nullptr);
  std::vector<BlkidSlice> slices;
  blkid_partlist list = blkid_probe_get_partitions(probe);
  for (int i = 0; list != nullptr && i < blkid_partlist_numof_partitions(list); ++i) {
    blkid_partition slice = blkid_partlist_get_partition(list, i);
    slices.push_back({blkid_partition_get_partno(slice),
                      static_cast<std::uint64_t>(blkid_partition_get_start(slice)),
                      static_cast<std::uint64_t>(blkid_partition_get_size(slice)),
                      blkid_parttable_get_type(blkid_partition_get_table(slice))});
  }
  blkid_free_probe(probe);
  return slices;
}

Ranges blkid_reads(const DiskFile& disk, const std::string& table) {
  Ranges ranges;
  for (const BlkidSlice& slice : blkid_slices(disk)) {
    if (slice.table == table) ranges.emplace_back(slice.first, slice.blocks);
  }
  std::ranges::sort(ranges);
  return ranges;
}

// ---- libfdisk

struct ContextEnd {
  void operator()(fdisk_context* context) const { fdisk_unref_context(context); }
};
using FdiskContext = std::unique_ptr<fdisk_context, ContextEnd>;

FdiskContext fdisk_open(const DiskFile& disk, bool read_only) {
  FdiskContext context(fdisk_new_context());
  REQUIRE(context);
  fdisk_disable_dialogs(context.get(), 1);
  REQUIRE(fdisk_assign_device(context.get(), disk.path(), read_only ? 1 : 0) == 0);
  return context;
}

Ranges fdisk_reads(const DiskFile& disk, const std::string& label) {
  const FdiskContext context = fdisk_open(disk, true);
  REQUIRE(fdisk_has_label(context.get()) == 1);
  CHECK(std::string(fdisk_label_get_name(fdisk_get_label(context.get(), nullptr))) == label);
  fdisk_table* all = nullptr;
  REQUIRE(fdisk_get_partitions(context.get(), &all) == 0);
  fdisk_iter* iterator = fdisk_new_iter(FDISK_ITER_FORWARD);
  fdisk_partition* slice = nullptr;
  Ranges ranges;
  while (fdisk_table_next_partition(all, iterator, &slice) == 0) {
    ranges.emplace_back(fdisk_partition_get_start(slice), fdisk_partition_get_size(slice));
  }
  fdisk_free_iter(iterator);
  fdisk_unref_table(all);
  std::ranges::sort(ranges);
  return ranges;
}

// ---- ours

Claim our_claim(const Format& format, const DiskFile& disk) {
  const auto claims = claims_of(format, disk.view());
  REQUIRE(claims.size() == 1);
  INFO(messages_of(claims[0]));
  CHECK(claims[0].facts.words("checksum") != "bad");
  CHECK_FALSE(any_fault(claims[0].findings));
  return claims[0];
}

Claim our_claim_in_slice(const Format& format, const DiskFile& disk) {
  const View view = disk.view();
  const auto records = claims_of(label::mbr_format, view);
  REQUIRE(records.size() == 1);
  const auto claims = claims_inside(format, view, records[0].slices.at(0), "mbr");
  REQUIRE(claims.size() == 1);
  INFO(messages_of(claims[0]));
  CHECK(claims[0].findings.empty());
  return claims[0];
}

template <typename Keep>
Ranges our_ranges(const Claim& claim, Keep keep) {
  Ranges ranges;
  for (const Slice& slice : claim.slices) {
    if (slice.role == SliceRole::file || !keep(slice)) continue;
    CHECK(slice.start % kBlock == 0);
    CHECK(slice.bytes % kBlock == 0);
    ranges.emplace_back(slice.start / kBlock, slice.bytes / kBlock);
  }
  std::ranges::sort(ranges);
  return ranges;
}

Ranges our_ranges(const Claim& claim) {
  return our_ranges(claim, [](const Slice&) { return true; });
}

bool is_not_whole(const Slice& slice) {
  return slice.role != SliceRole::whole_disk;
}

}  // namespace

namespace Catch {
template <>
struct StringMaker<Ranges> {
  static std::string convert(const Ranges& ranges) { return words(ranges); }
};
}  // namespace Catch

TEST_CASE("GPTs of libfdisk") {
  const DiskFile disk;
  {
    const FdiskContext context = fdisk_open(disk, false);
    REQUIRE(fdisk_create_disklabel(context.get(), "gpt") == 0);
    for (const auto& [number, first, blocks] :
         {std::tuple<std::size_t, std::uint64_t, std::uint64_t>{0, 2048, 4096},
          {1, 8192, 1000},
          {5, 20000, 30000}}) {
      fdisk_partition* slice = fdisk_new_partition();
      fdisk_partition_set_partno(slice, number);
      fdisk_partition_set_start(slice, first);
      fdisk_partition_set_size(slice, blocks);
      fdisk_partition_size_explicit(slice, 1);
      std::size_t got = 0;
      REQUIRE(fdisk_add_partition(context.get(), slice, &got) == 0);
      fdisk_unref_partition(slice);
    }
    REQUIRE(fdisk_write_disklabel(context.get()) == 0);
  }
  const Claim claim = our_claim(label::gpt_format, disk);
  CHECK(claim.strength == Strength::proven);
  CHECK(claim.findings.empty());
  CHECK(claim.bytes == kBlocks * kBlock);
  CHECK(our_ranges(claim) == fdisk_reads(disk, "gpt"));
  CHECK(our_ranges(claim) == blkid_reads(disk, "gpt"));
  CHECK(slice_of(claim, "6") != nullptr);
  CHECK(claim.slices[0].facts.words("type_name") == "Linux data");
}

TEST_CASE("GPTs of libparted") {
  const DiskFile disk;
  {
    PartedDisk parted(disk, "gpt");
    parted.add(PED_PARTITION_NORMAL, 2048, 4096);
    parted.add(PED_PARTITION_NORMAL, 8192, 50000);
    parted.commit();
  }
  const Claim claim = our_claim(label::gpt_format, disk);
  CHECK(claim.findings.empty());
  CHECK(our_ranges(claim) == PartedDisk(disk).ranges());
  CHECK(our_ranges(claim) == blkid_reads(disk, "gpt"));
}

TEST_CASE("our GPTs are read by the libraries, the backup too") {
  fixtures::GptLabel label;
  label.blocks = kBlocks;
  label.slices = {{"516E7CB6-6ECF-11D6-8FF8-00022D09712B", "00000000-0000-0000-0000-000000000001",
                   2048, 30000, "root"},
                  {"49F48D32-B10E-11DC-B99B-0019D1879648", "00000000-0000-0000-0000-000000000002",
                   30001, 40000, "swap"}};
  Bytes image;
  fixtures::write_gpt(image, label);
  bool parted_knows = true;
  SECTION("whole") {}
  SECTION("with a spoiled primary header") {
    image[512 + 56] ^= std::byte{1};
  }
  SECTION("without the primary header") {
    std::fill_n(image.begin() + 512, 512, std::byte{0});
    parted_knows = false;  // it looks for the signature in block 1 only
  }
  const DiskFile disk(image);
  const auto claims = claims_of(label::gpt_format, disk.view());
  REQUIRE(claims.size() == 1);
  CHECK(our_ranges(claims[0]) == Ranges{{2048, 27953}, {30001, 10000}});
  CHECK(our_ranges(claims[0]) == blkid_reads(disk, "gpt"));
  CHECK(our_ranges(claims[0]) == fdisk_reads(disk, "gpt"));
  if (parted_knows) CHECK(our_ranges(claims[0]) == PartedDisk(disk).ranges());
}

TEST_CASE("names of GPT types are those of types that libfdisk knows") {
  const DiskFile disk;
  const FdiskContext context = fdisk_open(disk, false);
  REQUIRE(fdisk_create_disklabel(context.get(), "gpt") == 0);
  const fdisk_label* label = fdisk_get_label(context.get(), nullptr);
  for (const label::GuidName& type : label::kGptTypes) {
    const fdisk_parttype* known =
        fdisk_label_get_parttype_from_string(label, std::string(type.guid).c_str());
    INFO(type.guid << " " << type.name);
    // util-linux has no name for the legacy MBR of the UEFI Specification in all its versions.
    if (known == nullptr) {
      CHECK(type.name == "legacy MBR");
      continue;
    }
    CHECK(fdisk_parttype_is_unknown(known) == 0);
    // The first word is the system's name in both lists.
    const std::string theirs = fdisk_parttype_get_name(known);
    const std::string ours(type.name.substr(0, type.name.find(' ')));
    INFO(theirs);
    const bool system_named = ours == "Linux" || ours == "FreeBSD" || ours == "NetBSD" ||
                              ours == "Solaris" || ours == "EFI" || ours == "BIOS";
    if (system_named) CHECK(theirs.starts_with(ours));
  }
}

TEST_CASE("APMs of libparted") {
  const DiskFile disk;
  {
    PartedDisk parted(disk, "mac");
    parted.add(PED_PARTITION_NORMAL, 2048, 4096);
    parted.add(PED_PARTITION_NORMAL, 8192, 50000, "hfs");
    parted.commit();
  }
  const Claim claim = our_claim(label::apm_format, disk);
  CHECK(claim.findings.empty());
  CHECK(claim.strength == Strength::proven);
  CHECK(claim.bytes == kBlocks * kBlock);
  // libparted lists the map's own entry too, but no free space.
  const auto in_use = [](const Slice& slice) { return slice.role != SliceRole::unused; };
  CHECK(our_ranges(claim, in_use) == PartedDisk(disk).ranges());
  CHECK(our_ranges(claim, in_use).size() == 3);
  // libblkid lists free space as well, as Linux does.
  CHECK(our_ranges(claim) == blkid_reads(disk, "mac"));
}

TEST_CASE("our APMs are read by the libraries") {
  Bytes image;
  fixtures::write_apm_drivers(image, 512, kBlocks, {{64, 20, 1}});
  fixtures::write_apm_map(
      image, 512,
      {{1, 63, "Corvid", fixtures::apm_type("partition_map")},
       {64, 32, "driver", fixtures::apm_type("Driver43")},
       {96, 40000, "root", fixtures::apm_type("UNIX_SVR2")},
       {40096, 8000, "swap", fixtures::apm_type("UNIX_SVR2"), 0x33, "", true},
       {48096, static_cast<std::uint32_t>(kBlocks - 48096), "Extra", fixtures::apm_type("Free")}});
  const DiskFile disk(image);
  const Claim claim = our_claim(label::apm_format, disk);
  CHECK(claim.findings.empty());
  CHECK(our_ranges(claim) == blkid_reads(disk, "mac"));
  const auto in_use = [](const Slice& slice) { return slice.role != SliceRole::unused; };
  CHECK(our_ranges(claim, in_use) == PartedDisk(disk).ranges());
}

TEST_CASE("our APMs of 2048-byte blocks are read by libblkid") {
  Bytes image;
  fixtures::write_apm_drivers(image, 2048, kBlocks / 4);
  fixtures::write_apm_map(image, 2048,
                          {{1, 15, "Corvid", fixtures::apm_type("partition_map")},
                           {16, 4000, "volume", fixtures::apm_type("HFS")}});
  const DiskFile disk(image);
  CHECK(our_ranges(our_claim(label::apm_format, disk)) == blkid_reads(disk, "mac"));
}

TEST_CASE("Amiga labels of libparted") {
  const DiskFile disk;
  {
    PartedDisk parted(disk, "amiga");
    parted.add(PED_PARTITION_NORMAL, 8 * kCylinder, 40 * kCylinder, "affs1");
    parted.add(PED_PARTITION_NORMAL, 48 * kCylinder, 20 * kCylinder, "ext2");
    parted.commit();
  }
  const Claim claim = our_claim(label::amiga_format, disk);
  INFO(messages_of(claim));
  CHECK(claim.strength == Strength::proven);
  CHECK(claim.findings.empty());
  CHECK(our_ranges(claim) == PartedDisk(disk).ranges());
  CHECK(our_ranges(claim).size() == 2);
  CHECK(claim.slices[1].facts.words("type_name") == "Linux (LNX\\0)");
}

TEST_CASE("our Amiga labels are read by libparted") {
  fixtures::AmigaLabel label;
  label.cylinders = kCylinders;
  label.heads = kHeads;
  label.sectors_per_track = kSectors;
  label.slices = {{"DH0", 2, 40, 0x444F5301, true},
                  {"DH1", 41, 50, 0x4E425301},
                  {"DH2", 60, kCylinders - 1, 0x4E425207}};
  Bytes image;
  fixtures::write_amiga_label(image, label);
  const DiskFile disk(image);
  const PartedDisk parted(disk);
  CHECK(parted.type() == "amiga");
  CHECK(our_ranges(our_claim(label::amiga_format, disk)) == parted.ranges());
}

TEST_CASE("Atari labels of libparted") {
  const DiskFile disk;
  {
    PartedDisk parted(disk, "atari");
    parted.add(PED_PARTITION_NORMAL, 64, 8000, "fat16");
    parted.add(PED_PARTITION_EXTENDED, 8192, 40000);
    parted.add(PED_PARTITION_LOGICAL, 8193, 9999, "ext2");
    parted.add(PED_PARTITION_LOGICAL, 20001, 9999, "ext2");
    parted.commit();
  }
  const Claim claim = our_claim(label::atari_format, disk);
  INFO(messages_of(claim));
  CHECK(claim.findings.empty());
  const Ranges theirs = PartedDisk(disk).ranges();
  // Neither library gives the container a number.
  const auto data = [](const Slice& slice) { return slice.role != SliceRole::container; };
  CHECK(our_ranges(claim, data) == theirs);
  CHECK(our_ranges(claim, data) == blkid_reads(disk, "atari"));
  CHECK(theirs.size() == 3);
  CHECK(slice_of(claim, "xgm-2")->bytes == 40000 * kBlock);
}

TEST_CASE("our Atari labels are read by libblkid, with the same numbers") {
  fixtures::AtariLabel label;
  label.disk_blocks = kBlocks;
  label.slices = {{"GEM", 2, 998, true}, {"XGM", 1000, 20000, false}, {"LNX", 30000, 1000, false}};
  label.logicals = {{1000, {"BGM", 1001, 4999, false}}, {6000, {"RAW", 6001, 9999, false}}};
  SECTION("with a chain") {}
  SECTION("with ICD entries") {
    label.slices.erase(label.slices.begin() + 1);
    label.logicals.clear();
    label.icd = {{"GEM", 40000, 1000, false}, {"BGM", 41000, 2000, false}};
  }
  Bytes image;
  fixtures::write_atari_label(image, label);
  const DiskFile disk(image);
  const Claim claim = our_claim(label::atari_format, disk);
  const auto theirs = blkid_slices(disk);
  const auto data = [](const Slice& slice) { return slice.role != SliceRole::container; };
  CHECK(our_ranges(claim, data) == blkid_reads(disk, "atari"));
  for (const BlkidSlice& slice : theirs) {
    const Slice* ours = slice_of(claim, std::to_string(slice.number));
    INFO(slice.number);
    REQUIRE(ours != nullptr);
    CHECK(ours->start == slice.first * kBlock);
  }
}

TEST_CASE("our Ultrix labels are read by libblkid") {
  Bytes image;
  fixtures::write_ultrix_label(image, {{0, 8000}, {8000, 4000}, {0, kBlocks}, {}, {12000, 20000}});
  const DiskFile disk(image);
  const Claim claim = our_claim(label::ultrix_format, disk);
  CHECK(our_ranges(claim) == blkid_reads(disk, "ultrix"));
  for (const BlkidSlice& slice : blkid_slices(disk)) {
    const Slice* ours = slice_of(claim, std::string(1, static_cast<char>('a' + slice.number - 1)));
    REQUIRE(ours != nullptr);
    CHECK(ours->start == slice.first * kBlock);
    CHECK(ours->bytes == slice.blocks * kBlock);
  }
}

// libblkid looks for this label in slices of type 0x82 only; Linux and we in 0xBF as well.
TEST_CASE("our Solaris-x86 labels are read by libblkid") {
  fixtures::MbrLabel mbr;
  mbr.slices[0] = {0x82, 2048, 40000, true};
  fixtures::Unix386Label label;
  label.slice_first = 2048;
  label.cylinders = 39;
  label.slices = {{2, 0, 3024, 10080}, {3, 1, 13104, 5040}, {5, 0, 0, 40000}, {8, 0, 18144, 9072}};
  Bytes image;
  fixtures::write_mbr(image, mbr);
  fixtures::write_solaris_x86_label(image, label);
  const DiskFile disk(image);
  const Claim claim = our_claim_in_slice(label::solaris_x86_format, disk);
  // libblkid leaves out slices with the tag "whole disk".
  const Ranges ours = our_ranges(claim, is_not_whole);
  CHECK(ours == blkid_reads(disk, "solaris"));
  CHECK(ours == Ranges{{5072, 10080}, {15152, 5040}, {20192, 9072}});
}

TEST_CASE("libblkid drops the last slice that a Solaris-x86 label counts") {
  fixtures::MbrLabel mbr;
  mbr.slices[0] = {0x82, 2048, 40000, true};
  fixtures::Unix386Label label;
  label.slice_first = 2048;
  label.cylinders = 39;
  label.slices.resize(16);
  label.slices[0] = {2, 0, 3024, 10080};
  label.slices[15] = {8, 0, 18144, 9072};
  Bytes image;
  fixtures::write_mbr(image, mbr);
  fixtures::write_solaris_x86_label(image, label);
  const DiskFile disk(image);
  const Claim claim = our_claim_in_slice(label::solaris_x86_format, disk);
  CHECK(our_ranges(claim) == Ranges{{5072, 10080}, {20192, 9072}});
  // Its loop begins at 1 and ends before the count of 16; illumos reads all sixteen (sys/vtoc.h).
  CHECK(blkid_reads(disk, "solaris") == Ranges{{5072, 10080}});
}

TEST_CASE("our SVR4 labels are read by libblkid once the magic is where it expects it") {
  fixtures::MbrLabel mbr;
  mbr.slices[0] = {0x63, 2048, 40000, true};
  fixtures::Unix386Label label;
  label.slice_first = 2048;
  label.cylinders = 39;
  label.slices = {{5, 0x200, 2048, 40000},
                  {2, 0x200, 2112, 10000},
                  {3, 0x200, 12112, 5000},
                  {4, 0x200, 20000, 8000}};
  Bytes image;
  fixtures::write_mbr(image, mbr);
  fixtures::write_svr4_label(image, label);
  Ranges ours;
  {
    const DiskFile disk(image);
    ours = our_ranges(our_claim_in_slice(label::svr4_format, disk), is_not_whole);
    CHECK(ours == Ranges{{2112, 10000}, {12112, 5000}, {20000, 8000}});
    // libblkid 2.38 looks for bytes with two nibbles exchanged (0xCAE5600D); Linux has 0xCA5E600D
    // (block/partitions/msdos.c), which is followed.
    CHECK(blkid_reads(disk, "unixware").empty());
  }
  // And it looks for them at the wrong place: its UNIXWARE_MAGICOFFSET takes the kilobytes off
  // unscaled, so that the bytes must stand at 14 KiB + 14848 - 14 + 4 of the slice.
  const std::size_t place = 2048 * 512 + 14 * 1024 + 14848 - 14 + 4;
  image.resize(std::max(image.size(), place + 4));
  put_number(image, place, 0xCAE5600D, 4, ByteOrder::little);
  const DiskFile disk(image);
  CHECK(blkid_reads(disk, "unixware") == ours);
}

TEST_CASE("our Minix subpartitions are read by libblkid") {
  fixtures::MbrLabel label;
  label.slices[0] = {0x81, 2048, 40000, true};
  Bytes image;
  fixtures::write_mbr(image, label);
  fixtures::write_mbr_entry(image, 2048, 0, {0x81, 2049, 9999, true}, 2049, label);
  fixtures::write_mbr_entry(image, 2048, 1, {0x81, 12048, 10000, false}, 12048, label);
  fixtures::write_mbr_entry(image, 2048, 3, {0x81, 22048, 20000, false}, 22048, label);
  const DiskFile disk(image);
  const Claim claim = our_claim_in_slice(label::minix_sub_format, disk);
  CHECK(our_ranges(claim) == blkid_reads(disk, "minix"));
  CHECK(our_ranges(claim).size() == 3);
}

TEST_CASE("Minix slices of libparted's MBR have subpartitions only when a table is there") {
  const DiskFile disk;
  {
    PartedDisk parted(disk, "msdos");
    parted.add(PED_PARTITION_NORMAL, 2048, 8192);
    parted.commit();
  }
  const View view = disk.view();
  const auto records = claims_of(label::mbr_format, view);
  REQUIRE(records.size() == 1);
  Slice slice = records[0].slices.at(0);
  slice.type = 0x81;
  CHECK(claims_inside(label::minix_sub_format, view, slice, "mbr").empty());
}
