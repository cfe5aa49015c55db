// Structures of the Sun disk label, shared by the decoder and the fixture writers.
#pragma once

#include "core/layout.h"

namespace platter::label {

inline constexpr std::uint64_t kSunMagic = 0xDABE;
inline constexpr std::uint64_t kVtocSanity = 0x600DDEEE;
// OpenBSD sys/dev/sun/disklabel.h: eight more slices, without and with their types.
inline constexpr std::uint64_t kSunMoreMagic = 0x199D1FEA;
inline constexpr std::uint64_t kSunMoreTypedMagic = 0x199D1FEB;

// illumos usr/src/uts/common/sys/vtoc.h, V_* tags; the Linux ones from block/partitions/sun.c
inline constexpr Name kSunTags[] = {{0, "unassigned"},    {1, "boot"},
                                    {2, "root"},          {3, "swap"},
                                    {4, "usr"},           {5, "whole disk"},
                                    {6, "stand"},         {7, "var"},
                                    {8, "home"},          {9, "alternate sectors"},
                                    {10, "cache"},        {11, "reserved"},
                                    {0x82, "Linux swap"}, {0x83, "Linux"},
                                    {0x8E, "Linux LVM"},  {0xFD, "Linux RAID"}};

inline constexpr Name kSunSlots[] = {{0, "a"}, {1, "b"}, {2, "c"}, {3, "d"},
                                     {4, "e"}, {5, "f"}, {6, "g"}, {7, "h"}};

inline constexpr Field kSunVtocEntryFields[] = {
    u16("tag", 0, "what the slice is for", unit::none, kSunTags),
    u16("flag", 2, "0x01 not mountable, 0x10 read-only"),
};
inline constexpr Structure kSunVtocEntry =
    structure("Sun VTOC entry", "illumos sys/dklabel.h, struct dk_map2", 4, kSunVtocEntryFields);

inline constexpr Field kSunMapEntryFields[] = {
    u32("start", 0, "first cylinder", unit::cylinders),
    u32("blocks", 4, "length; 0 = not defined", unit::blocks),
};
inline constexpr Structure kSunMapEntry =
    structure("Sun map entry", "illumos sys/dklabel.h, struct dk_map32", 8, kSunMapEntryFields);

inline constexpr Field kSunLabelFields[] = {
    text("ascii_label", 0, 128, "drive name and geometry in words"),
    u32("vtoc_version", 128, "1: the VTOC fields are in use"),
    text("volume_name", 132, 8, "volume name"),
    u16("vtoc_slices", 140, "number of VTOC entries"),
    records("vtoc", 142, 8, kSunVtocEntry, "tag and flag of each slice"),
    reserved(174, 2, "alignment"),
    array_of(3, u32("bootinfo", 176, "not used")),
    u32("vtoc_sanity", 188, "0x600DDEEE: the VTOC fields are valid"),
    reserved(192, 40),
    array_of(8, u32("timestamp", 232, "last use of each slice", unit::unix_time)),
    u16("write_reinstruct", 264, "sectors to skip on writes", unit::sectors),
    u16("read_reinstruct", 266, "sectors to skip on reads", unit::sectors),
    reserved(268, 152),
    u16("rpm", 420, "rotation speed", unit::rpm),
    u16("pcyl", 422, "physical cylinders", unit::cylinders),
    u16("apc", 424, "alternate sectors per cylinder", unit::sectors),
    reserved(426, 4, "formerly gap1 and gap2"),
    u16("intrlv", 430, "interleave"),
    u16("ncyl", 432, "data cylinders", unit::cylinders),
    u16("acyl", 434, "alternate cylinders behind the data cylinders", unit::cylinders),
    u16("nhead", 436, "heads", unit::heads),
    u16("nsect", 438, "sectors per track", unit::blocks),
    reserved(440, 4, "formerly the label's head and the physical partition"),
    records("map", 444, 8, kSunMapEntry, "slices a to h"),
    u16("magic", 508, "0xDABE"),
    u16("checksum", 510, "makes the exclusive-or of all 256 words 0"),
};
inline constexpr Structure kSunLabel =
    structure("Sun disk label", "illumos sys/dklabel.h, struct dk_label", 512, kSunLabelFields);

// The same frame as the luna68k and luna88k machines wrote it: no rotation speed, and the map's
// first word counts blocks.
inline constexpr Field kSunBlockLabelFields[] = {
    text("ascii_label", 0, 128, "drive name in words"),
    bytes("other", 128, 292, "unused, or a 4.4BSD label at 64 reaches into it"),
    reserved(420, 2, "0 where the other form has the rotation speed"),
    u16("bad_track_checksum", 422, "checksum of the bad track table"),
    u32("total_blocks", 424, "blocks of the drive", unit::blocks),
    u16("drive_type", 428, "drive type"),
    u16("drives", 430, "number of drives"),
    u16("ncyl", 432, "data cylinders", unit::cylinders),
    u16("acyl", 434, "alternate cylinders", unit::cylinders),
    u16("nhead", 436, "heads", unit::heads),
    u16("nsect", 438, "sectors per track", unit::blocks),
    u16("label_head", 440, "head that the label is on"),
    u16("physical_partition", 442, "physical partition"),
    records("map", 444, 8, kSunMapEntry, "slices a to h, starts in blocks"),
    u16("magic", 508, "0xDABE"),
    u16("checksum", 510, "makes the exclusive-or of all 256 words 0"),
};
inline constexpr Structure kSunBlockLabel = structure(
    "Sun-framed label with starts in blocks",
    "4.4BSD luna68k omron_disklabel.h; OpenBSD luna88k disksubr.c", 512, kSunBlockLabelFields);

// Slices i to p of OpenBSD, in the place of the VTOC.
inline constexpr Field kSunMoreSlicesFields[] = {
    u32("sum", 0, "sum of the 32-bit words behind it"),
    u32("magic", 4, "0x199D1FEA, or 0x199D1FEB when the types stand below"),
    records("map", 8, 8, kSunMapEntry, "slices i to p"),
    array_of(16, u8("type", 72, "4.4BSD filesystem types of slices a to p")),
    array_of(16, u8("fragments", 88, "fragments per block and fragment size, packed")),
    array_of(16, u16("cylinders_per_group", 104, "cylinders per group")),
    array_of(8, u8("disk_id", 136, "disk identifier")),
};
inline constexpr Structure kSunMoreSlices = structure(
    "Sun label, slices i to p", "OpenBSD sys/dev/sun/disklabel.h", 144, kSunMoreSlicesFields);
inline constexpr std::uint64_t kSunMoreSlicesAt = 128;

}  // namespace platter::label
