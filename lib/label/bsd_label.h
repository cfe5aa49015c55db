// Structures of the 4.4BSD disk label, shared by the decoder and the fixture writers.
#pragma once

#include "core/layout.h"

namespace platter::label {

inline constexpr std::uint64_t kBsdMagic = 0x82564557;
/// Entries that fit behind the header in one 512-byte sector.
inline constexpr std::uint64_t kBsdMostSlices = 22;
inline constexpr std::uint64_t kBsdUnused = 0;
inline constexpr std::uint64_t kBsdSwap = 1;
inline constexpr std::uint64_t kBsdFfs = 7;

// NetBSD sys/sys/disklabel.h, FS_*. Systems disagree above 15; the second name is the other use.
inline constexpr Name kBsdTypes[] = {{0, "unused"},
                                     {1, "swap"},
                                     {2, "Sixth Edition"},
                                     {3, "Seventh Edition"},
                                     {4, "System V"},
                                     {5, "4.1BSD"},
                                     {6, "Eighth Edition"},
                                     {7, "4.2BSD"},
                                     {8, "MSDOS"},
                                     {9, "4.4BSD LFS"},
                                     {10, "other"},
                                     {11, "HPFS"},
                                     {12, "ISO 9660"},
                                     {13, "boot"},
                                     {14, "Amiga DOS"},
                                     {15, "HFS"},
                                     {16, "Filecore or AdvFS"},
                                     {17, "ext2"},
                                     {18, "NTFS"},
                                     {19, "RAID"},
                                     {20, "concatenated disk"},
                                     {21, "JFS2"},
                                     {22, "Darwin UFS"},
                                     {23, "Vinum"},
                                     {24, "UDF"},
                                     {25, "System V BFS"},
                                     {26, "EFS"},
                                     {27, "NiLFS"}};

// NetBSD sys/sys/disklabel.h, DKTYPE_*
inline constexpr Name kBsdDriveTypes[] = {
    {1, "SMD"},   {2, "MSCP"},    {3, "old DEC"},       {4, "SCSI"},   {5, "ESDI"},
    {6, "ST506"}, {10, "floppy"}, {11, "concatenated"}, {12, "vnode"}, {13, "ATAPI"}};

inline constexpr Field kBsdEntryFields[] = {
    u32("sectors", 0, "length", unit::label_sectors),
    u32("first", 4, "first sector", unit::label_sectors),
    u32("fragment_bytes", 8, "fragment size; ISO 9660: session offset", unit::bytes),
    u8("type", 12, "what the slice holds", unit::none, kBsdTypes),
    u8("fragments", 13, "fragments per block"),
    u16("cylinders_per_group", 14, "cylinders per group", unit::cylinders),
};
inline constexpr Structure kBsdEntry = structure(
    "4.4BSD label entry", "NetBSD sys/sys/disklabel.h, struct partition", 16, kBsdEntryFields);

// The entries follow the header and are records of their own: how many there are is the header's
// own statement, and what lies behind them belongs to somebody else.
inline constexpr Field kBsdHeaderFields[] = {
    u32("magic", 0, "0x82564557, in the byte order of the writer"),
    u16("drive_type", 4, "kind of drive", unit::none, kBsdDriveTypes),
    u16("drive_subtype", 6, "depends on the kind"),
    text("type_name", 8, 16, "name of the drive type"),
    text("pack_name", 24, 16, "name of the pack"),
    u32("sector_bytes", 40, "bytes per label sector", unit::bytes),
    u32("sectors_per_track", 44, "sectors per track", unit::label_sectors),
    u32("tracks", 48, "tracks per cylinder", unit::tracks),
    u32("cylinders", 52, "data cylinders", unit::cylinders),
    u32("sectors_per_cylinder", 56, "data sectors per cylinder", unit::label_sectors),
    u32("sectors_per_unit", 60, "data sectors of the unit", unit::label_sectors),
    u16("spares_per_track", 64, "spare sectors per track", unit::label_sectors),
    u16("spares_per_cylinder", 66, "spare sectors per cylinder", unit::label_sectors),
    u32("alternate_cylinders", 68, "alternate cylinders", unit::cylinders),
    u16("rpm", 72, "rotation speed", unit::rpm),
    u16("interleave", 74, "interleave"),
    u16("track_skew", 76, "skew from track to track", unit::label_sectors),
    u16("cylinder_skew", 78, "skew from cylinder to cylinder", unit::label_sectors),
    u32("head_switch", 80, "head switch time", unit::microseconds),
    u32("track_seek", 84, "seek time from track to track", unit::microseconds),
    u32("flags", 88, "1 removable, 2 ECC, 4 bad-sector table, 8 RAM disk"),
    array_of(5, u32("drive_data", 92, "depends on the kind of drive")),
    array_of(5, u32("spare", 112, "reserved")),
    u32("magic2", 132, "0x82564557 again"),
    u16("checksum", 136, "makes the exclusive-or of header and entries 0"),
    u16("slices", 138, "number of entries"),
    u32("boot_bytes", 140, "size of the boot area", unit::bytes),
    u32("superblock_bytes", 144, "largest superblock", unit::bytes),
};
inline constexpr Structure kBsdHeader = structure(
    "4.4BSD disk label", "NetBSD sys/sys/disklabel.h, struct disklabel", 148, kBsdHeaderFields);

}  // namespace platter::label
