// Labels against libraries that share no code with platter: libfdisk and libparted write labels
// that we read, and read labels that our fixture writers write; libblkid reads all of them.
#include <algorithm>
#include <map>
#include <memory>
#include <string>
#include <vector>

#include <blkid/blkid.h>
#include <catch2/catch.hpp>
#include <libfdisk/libfdisk.h>

#include "reference/label_disk.h"
#include "writers/bsd_writer.h"
#include "writers/mbr_writer.h"
#include "writers/sgi_writer.h"
#include "writers/sun_writer.h"

using namespace platter;
using namespace platter::test;

namespace Catch {
template <>
struct StringMaker<Table> {
  static std::string convert(const Table& table) {
    std::string all;
    for (const auto& [number, range] : table) {
      all += std::to_string(number) + ": " + std::to_string(range.first) + "+" +
             std::to_string(range.second) + "  ";
    }
    return all;
  }
};
}  // namespace Catch

namespace {

// ---- libfdisk

struct ContextEnd {
  void operator()(fdisk_context* context) const { fdisk_unref_context(context); }
};
using FdiskContext = std::unique_ptr<fdisk_context, ContextEnd>;

// libfdisk asks before it makes a BSD label inside a slice.
int say_yes(fdisk_context*, fdisk_ask* question, void*) {
  if (fdisk_ask_get_type(question) == FDISK_ASKTYPE_YESNO) {
    fdisk_ask_yesno_set_result(question, 1);
  }
  return 0;
}

FdiskContext fdisk_open(const DiskFile& disk, bool read_only) {
  FdiskContext context(fdisk_new_context());
  REQUIRE(context);
  fdisk_disable_dialogs(context.get(), 1);
  fdisk_save_user_geometry(context.get(), kCylinders, kHeads, kSectors);
  REQUIRE(fdisk_assign_device(context.get(), disk.path(), read_only ? 1 : 0) == 0);
  return context;
}

void fdisk_add(fdisk_context* context, std::size_t number, std::uint64_t start, std::uint64_t size,
               unsigned type = 0) {
  fdisk_partition* slice = fdisk_new_partition();
  fdisk_partition_set_partno(slice, number);
  fdisk_partition_set_start(slice, start);
  fdisk_partition_set_size(slice, size);
  fdisk_partition_size_explicit(slice, 1);
  if (type != 0) {
    const fdisk_label* label = fdisk_get_label(context, nullptr);
    fdisk_partition_set_type(slice, fdisk_label_get_parttype_from_code(label, type));
  }
  std::size_t got = 0;
  INFO("slice " << number << " from " << start);
  REQUIRE(fdisk_add_partition(context, slice, &got) == 0);
  CHECK(got == number);
  fdisk_unref_partition(slice);
}

Table fdisk_table_of(fdisk_context* context) {
  Table table;
  fdisk_table* all = nullptr;
  REQUIRE(fdisk_get_partitions(context, &all) == 0);
  fdisk_iter* iterator = fdisk_new_iter(FDISK_ITER_FORWARD);
  fdisk_partition* slice = nullptr;
  while (fdisk_table_next_partition(all, iterator, &slice) == 0) {
    if (fdisk_partition_has_start(slice) == 0 || fdisk_partition_has_size(slice) == 0) continue;
    table[fdisk_partition_get_partno(slice)] = {fdisk_partition_get_start(slice),
                                                fdisk_partition_get_size(slice)};
  }
  fdisk_free_iter(iterator);
  fdisk_unref_table(all);
  return table;
}

Table fdisk_reads(const DiskFile& disk, const char* label) {
  const FdiskContext context = fdisk_open(disk, true);
  REQUIRE(fdisk_has_label(context.get()) == 1);
  CHECK(std::string(fdisk_label_get_name(fdisk_get_label(context.get(), nullptr))) == label);
  return fdisk_table_of(context.get());
}

// ---- libblkid

Table blkid_reads(const DiskFile& disk) {
  blkid_probe probe = blkid_new_probe_from_filename(disk.path());
  REQUIRE(probe != nullptr);
  blkid_partlist list = blkid_probe_get_partitions(probe);
  REQUIRE(list != nullptr);
  Table table;
  for (int i = 0; i < blkid_partlist_numof_partitions(list); ++i) {
    blkid_partition slice = blkid_partlist_get_partition(list, i);
    table[static_cast<std::size_t>(blkid_partition_get_partno(slice)) - 1] = {
        static_cast<std::uint64_t>(blkid_partition_get_start(slice)),
        static_cast<std::uint64_t>(blkid_partition_get_size(slice))};
  }
  blkid_free_probe(probe);
  return table;
}

// Version 2.38 lists the volume header and the whole volume, later ones leave them out.
Table sgi_slices_of_blkid(const DiskFile& disk) {
  Table table = blkid_reads(disk);
  table.erase(8);
  table.erase(10);
  return table;
}
bool is_not_the_label(const Slice& slice) {
  return slice.id != "8" && slice.id != "10";
}

// ---- ours

std::size_t number_of(std::string_view format, const std::string& id) {
  if (format == "sun" || format == "bsd") return static_cast<std::size_t>(id[0] - 'a');
  return std::stoul(id) - (format == "mbr" ? 1 : 0);
}

Claim our_claim(const Format& format, const DiskFile& disk) {
  const auto claims = claims_of(format, disk.view());
  REQUIRE(claims.size() == 1);
  INFO(messages_of(claims[0]));
  CHECK(claims[0].facts.words("checksum") != "bad");
  CHECK(count_of(claims[0], FindingCode::slice_order) == 0);
  CHECK(count_of(claims[0], FindingCode::label_field) == 0);
  return claims[0];
}

template <typename Keep>
Table our_table(std::string_view format, const Claim& claim, Keep keep) {
  Table table;
  for (const Slice& slice : claim.slices) {
    if (slice.role == SliceRole::file || !keep(slice)) continue;
    CHECK(slice.start % kBlock == 0);
    CHECK(slice.bytes % kBlock == 0);
    table[number_of(format, slice.id)] = {slice.start / kBlock, slice.bytes / kBlock};
  }
  return table;
}

Table our_table(std::string_view format, const Claim& claim) {
  return our_table(format, claim, [](const Slice&) { return true; });
}

}  // namespace

TEST_CASE("Sun labels of libfdisk") {
  const DiskFile disk;
  {
    const FdiskContext context = fdisk_open(disk, false);
    REQUIRE(fdisk_create_disklabel(context.get(), "sun") == 0);
    REQUIRE(fdisk_delete_all_partitions(context.get()) == 0);
    fdisk_add(context.get(), 0, 0, 40 * kCylinder, 2);
    fdisk_add(context.get(), 1, 40 * kCylinder, 20 * kCylinder, 3);
    fdisk_add(context.get(), 6, 60 * kCylinder, 50 * kCylinder, 4);
    REQUIRE(fdisk_write_disklabel(context.get()) == 0);
  }
  const Claim claim = our_claim(label::sun_format, disk);
  CHECK(claim.strength == Strength::proven);
  CHECK(claim.facts.number("heads") == kHeads);
  CHECK(claim.facts.number("sectors_per_track") == kSectors);
  CHECK(slice_of(claim, "a")->facts.words("type_name") == "root");
  CHECK(slice_of(claim, "b")->role == SliceRole::swap);
  const Table ours = our_table("sun", claim);
  CHECK(ours.size() == 3);
  CHECK(ours == fdisk_reads(disk, "sun"));
  CHECK(ours == blkid_reads(disk));
}

TEST_CASE("the Sun label that libfdisk makes by itself") {
  const DiskFile disk;
  {
    const FdiskContext context = fdisk_open(disk, false);
    REQUIRE(fdisk_create_disklabel(context.get(), "sun") == 0);
    REQUIRE(fdisk_write_disklabel(context.get()) == 0);
  }
  const Claim claim = our_claim(label::sun_format, disk);
  CHECK(our_table("sun", claim) == fdisk_reads(disk, "sun"));
  CHECK(slice_of(claim, "c")->role == SliceRole::whole_disk);
  // libblkid leaves out slices with the tag "whole disk".
  CHECK(our_table("sun", claim, [](const Slice& slice) { return slice.type != 5; }) ==
        blkid_reads(disk));
}

TEST_CASE("Sun labels of libparted") {
  const DiskFile disk;
  {
    PartedDisk parted(disk, "sun");
    parted.add(PED_PARTITION_NORMAL, 0, 40 * kCylinder);
    parted.add(PED_PARTITION_NORMAL, 40 * kCylinder, 30 * kCylinder);
    parted.commit();
  }
  const Table theirs = PartedDisk(disk).table();
  const Claim claim = our_claim(label::sun_format, disk);
  // libparted writes a slot c that spans the disk and hides it when it lists the slices.
  const auto not_whole = [](const Slice& slice) { return slice.role != SliceRole::whole_disk; };
  CHECK(our_table("sun", claim, not_whole) == theirs);
  CHECK(theirs.size() == 2);
  CHECK(our_table("sun", claim, not_whole) == blkid_reads(disk));
  CHECK(our_table("sun", claim) == fdisk_reads(disk, "sun"));
}

TEST_CASE("our Sun labels are read by the libraries") {
  fixtures::SunLabel label;
  label.cylinders = kCylinders - 2;
  label.heads = kHeads;
  label.sectors_per_track = kSectors;
  label.slices[0] = {0, 40 * kCylinder, 2, 0};
  label.slices[1] = {40, 20 * kCylinder, 3, 1};
  label.slices[2] = {0, (kCylinders - 2) * kCylinder, 5, 0};
  label.slices[7] = {60, 60 * kCylinder, 8, 0};
  Bytes image;
  fixtures::write_sun_label(image, label);
  const DiskFile disk(image);
  const Claim claim = our_claim(label::sun_format, disk);
  const Table ours = our_table("sun", claim);
  CHECK(ours == fdisk_reads(disk, "sun"));
  const auto not_whole = [](const Slice& slice) { return slice.role != SliceRole::whole_disk; };
  CHECK(our_table("sun", claim, not_whole) == blkid_reads(disk));
  const PartedDisk parted(disk);
  CHECK(parted.type() == "sun");
  CHECK(our_table("sun", claim, not_whole) == parted.table());
}

TEST_CASE("SGI volume headers of libfdisk") {
  const DiskFile disk;
  {
    const FdiskContext context = fdisk_open(disk, false);
    REQUIRE(fdisk_create_disklabel(context.get(), "sgi") == 0);
    fdisk_add(context.get(), 0, 20 * kCylinder, 60 * kCylinder, 10);
    fdisk_add(context.get(), 1, 80 * kCylinder, 30 * kCylinder, 3);
    REQUIRE(fdisk_write_disklabel(context.get()) == 0);
  }
  const Claim claim = our_claim(label::sgi_format, disk);
  CHECK(claim.strength == Strength::proven);
  CHECK(claim.facts.number("heads") == kHeads);
  CHECK(claim.facts.number("sectors_per_track") == kSectors);
  const Table ours = our_table("sgi", claim);
  CHECK(ours == fdisk_reads(disk, "sgi"));
  CHECK(slice_of(claim, "8")->role == SliceRole::metadata);
  CHECK(slice_of(claim, "10")->role == SliceRole::whole_disk);
  CHECK(our_table("sgi", claim, is_not_the_label) == sgi_slices_of_blkid(disk));
}

TEST_CASE("SGI volume headers of libparted") {
  const DiskFile disk;
  {
    PartedDisk parted(disk, "dvh");
    parted.add(PED_PARTITION_NORMAL, 8192, 20000);
    parted.add(PED_PARTITION_NORMAL, 30000, 10000);
    parted.commit();
  }
  const Claim claim = our_claim(label::sgi_format, disk);
  // libparted numbers the slices from 1 on and lists the volume header (its extended slice) as
  // number 9, but not the whole volume.
  const auto listed = [](const Slice& slice) { return slice.role != SliceRole::whole_disk; };
  CHECK(our_table("sgi", claim, listed) == PartedDisk(disk).table());
  CHECK(our_table("sgi", claim, is_not_the_label) == sgi_slices_of_blkid(disk));
}

TEST_CASE("our SGI volume headers are read by the libraries") {
  fixtures::SgiLabel label;
  label.cylinders = kCylinders;
  label.tracks = kHeads;
  label.sectors = kSectors;
  label.files = {{"sgilabel", 2, 512, {}}, {"sash", 3, 199 * 512, {}}};
  label.slices[0] = {30000, 8192, 7};
  label.slices[1] = {4096, 4096, 3};
  label.slices[8] = {4096, 0, 0};
  label.slices[10] = {static_cast<std::uint32_t>(kBlocks), 0, 6};
  Bytes image;
  fixtures::write_sgi_label(image, label);
  const DiskFile disk(image);
  const Claim claim = our_claim(label::sgi_format, disk);
  CHECK(our_table("sgi", claim) == fdisk_reads(disk, "sgi"));
  CHECK(our_table("sgi", claim, is_not_the_label) == sgi_slices_of_blkid(disk));
  // libparted lists files of the volume directory as logical slices from 17 on: 512-byte blocks.
  const Table theirs = PartedDisk(disk).table();
  CHECK(theirs.at(0) == std::pair<std::uint64_t, std::uint64_t>{8192, 30000});
  const Slice* sash = slice_of(claim, "sash");
  const bool listed = std::ranges::any_of(theirs, [&](const auto& entry) {
    return entry.second.first == sash->start / kBlock &&
           entry.second.second == divide_up(sash->bytes, kBlock);
  });
  INFO(Catch::StringMaker<Table>::convert(theirs));
  CHECK(listed);
}

TEST_CASE("BSD labels of libfdisk in a slice of an MBR") {
  const DiskFile disk;
  Table theirs;
  {
    const FdiskContext context = fdisk_open(disk, false);
    REQUIRE(fdisk_create_disklabel(context.get(), "dos") == 0);
    fdisk_add(context.get(), 0, 2048, 40000, 0xA5);
    REQUIRE(fdisk_write_disklabel(context.get()) == 0);
    const FdiskContext nested(fdisk_new_nested_context(context.get(), "bsd"));
    REQUIRE(nested);
    fdisk_set_ask(nested.get(), say_yes, nullptr);
    REQUIRE(fdisk_create_disklabel(nested.get(), "bsd") == 0);
    fdisk_add(nested.get(), 0, 2048 + 64, 10000, 7);
    fdisk_add(nested.get(), 1, 2048 + 64 + 10000, 5000, 1);
    REQUIRE(fdisk_write_disklabel(nested.get()) == 0);
    theirs = fdisk_table_of(nested.get());
  }
  const View view = disk.view();
  const auto records = claims_of(label::mbr_format, view);
  REQUIRE(records.size() == 1);
  CHECK(our_table("mbr", records[0]) == Table{{0, {2048, 40000}}});
  CHECK(claims_of(label::bsd_format, view).empty());
  const auto labels = claims_inside(label::bsd_format, view, records[0].slices[0], "mbr");
  REQUIRE(labels.size() == 1);
  CHECK(labels[0].strength == Strength::proven);
  CHECK(messages_of(labels[0]).empty());
  CHECK(our_table("bsd", labels[0]) == theirs);
  CHECK(slice_of(labels[0], "c")->role == SliceRole::whole_disk);
  // libblkid lists the MBR's slice as number 1 and the BSD slices from 5 on, without those that
  // have no type or equal the MBR's slice.
  Table used{{0, {2048, 40000}}};
  std::size_t number = 4;
  for (const Slice& slice : labels[0].slices) {
    if (slice.type != 0) used[number++] = {slice.start / kBlock, slice.bytes / kBlock};
  }
  CHECK(used == blkid_reads(disk));
  CHECK(used.size() == 3);
}

TEST_CASE("BSD labels of libparted") {
  const DiskFile disk;
  {
    PartedDisk parted(disk, "bsd");
    parted.add(PED_PARTITION_NORMAL, 64, 20000);
    parted.add(PED_PARTITION_NORMAL, 20064, 10000);
    parted.commit();
  }
  const auto claims = claims_of(label::bsd_format, disk.view());
  REQUIRE(claims.size() == 1);
  CHECK(claims[0].facts.number("label_start") == 64);
  CHECK(our_table("bsd", claims[0]) == PartedDisk(disk).table());
  CHECK(claims[0].slices.size() == 2);
  // libparted 3.5 sums only the bytes before the second magic. BSD kernels sum up to the last entry
  // (dkcksum in NetBSD sys/kern/subr_disk.c) and refuse such a label, so it is told.
  CHECK(claims[0].findings.size() == count_of(claims[0], FindingCode::label_checksum));
}

TEST_CASE("our little-endian BSD labels are read by the libraries") {
  fixtures::BsdLabel label;
  label.order = ByteOrder::little;
  label.sectors_per_track = kSectors;
  label.tracks = kHeads;
  label.cylinders = kCylinders;
  label.slices = {{20000, 64, 7, 1024, 8, 16},
                  {10000, 20064, 1},
                  {kBlocks, 0, 0},
                  {30000, 30064, 7, 1024, 8, 16}};
  Bytes image;
  SECTION("at byte 512") {
    fixtures::write_bsd_label(image, label, 512);
  }
  SECTION("at byte 64") {
    fixtures::write_bsd_label(image, label, 64);
  }
  const DiskFile disk(image);
  const Claim claim = our_claim(label::bsd_format, disk);
  // libblkid numbers what has a type and skips the rest.
  Table used;
  for (const Slice& slice : claim.slices) {
    if (slice.type != 0) used[used.size()] = {slice.start / kBlock, slice.bytes / kBlock};
  }
  CHECK(used.size() == 3);
  CHECK(used == blkid_reads(disk));
  if (claim.facts.number("label_start") == 64) {
    // libparted looks at 64 only and lists slots that have a type.
    const auto typed = [](const Slice& slice) { return slice.type != 0; };
    CHECK(our_table("bsd", claim, typed) == PartedDisk(disk).table());
  } else {
    CHECK(our_table("bsd", claim) == fdisk_reads(disk, "bsd"));
  }
}

TEST_CASE("MBR tables of libfdisk with logical slices") {
  const DiskFile disk;
  {
    const FdiskContext context = fdisk_open(disk, false);
    REQUIRE(fdisk_create_disklabel(context.get(), "dos") == 0);
    fdisk_add(context.get(), 0, 2048, 8192, 0x06);
    fdisk_add(context.get(), 2, 12288, 40000, 0x05);
    fdisk_add(context.get(), 4, 12288 + 2048, 5000, 0x83);
    fdisk_add(context.get(), 5, 22528, 8000, 0x82);
    fdisk_add(context.get(), 6, 34816, 10000, 0x83);
    REQUIRE(fdisk_write_disklabel(context.get()) == 0);
  }
  const Claim claim = our_claim(label::mbr_format, disk);
  const Table ours = our_table("mbr", claim);
  CHECK(ours.size() == 5);
  CHECK(ours == fdisk_reads(disk, "dos"));
  CHECK(ours == blkid_reads(disk));
  CHECK(claim.facts.words("disk_id").size() == 10);
  CHECK(slice_of(claim, "6")->type == 0x82);
  // libfdisk writes CHS fields by the geometry that it was given.
  CHECK(claim.facts.number("heads") == kHeads);
  CHECK(claim.facts.number("sectors_per_track") == kSectors);
  CHECK(claim.facts.number("cylinders") == kCylinders);
}

TEST_CASE("MBR tables of libparted with logical slices") {
  const DiskFile disk;
  {
    PartedDisk parted(disk, "msdos");
    parted.add(PED_PARTITION_NORMAL, 2048, 8192);
    parted.add(PED_PARTITION_EXTENDED, 12288, 40000);
    parted.add(PED_PARTITION_LOGICAL, 12288 + 64, 5000);
    parted.add(PED_PARTITION_LOGICAL, 22528, 8000);
    parted.commit();
  }
  const Table ours = our_table("mbr", our_claim(label::mbr_format, disk));
  CHECK(ours.size() == 4);
  CHECK(ours == PartedDisk(disk).table());
  CHECK(ours == blkid_reads(disk));
  CHECK(ours == fdisk_reads(disk, "dos"));
}

TEST_CASE("our MBR tables are read by the libraries") {
  fixtures::MbrLabel label;
  label.disk_id = 0x0BADCAFE;
  label.heads = kHeads;
  label.sectors_per_track = kSectors;
  label.slices[0] = {0xA9, 2048, 8192, true};
  label.slices[3] = {0x0F, 12288, 40000, false};
  label.logicals = {{12288, {0x83, 12288 + 32, 5000, false}},
                    {20000, {0x82, 20000 + 32, 3000, false}},
                    {30000, {0x06, 30000 + 64, 9000, false}}};
  Bytes image;
  fixtures::write_mbr(image, label);
  const DiskFile disk(image);
  const Table ours = our_table("mbr", our_claim(label::mbr_format, disk));
  CHECK(ours.size() == 5);
  CHECK(ours == fdisk_reads(disk, "dos"));
  CHECK(ours == blkid_reads(disk));
  CHECK(ours == PartedDisk(disk).table());
}
