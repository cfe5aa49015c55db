// Structures of the Amiga rigid disk blocks, shared by the decoder and the fixture writers.
#pragma once

#include "core/layout.h"

namespace platter::label {

inline constexpr std::uint64_t kAmigaDisk = 0x5244534B;        // "RDSK"
inline constexpr std::uint64_t kAmigaSlice = 0x50415254;       // "PART"
inline constexpr std::uint64_t kAmigaFilesystem = 0x46534844;  // "FSHD"
inline constexpr std::uint64_t kAmigaBadBlocks = 0x42414442;   // "BADB"
inline constexpr std::uint64_t kAmigaEnd = 0xFFFFFFFF;
inline constexpr std::uint64_t kAmigaSearched = 16;  ///< blocks at the start of the disk

// NetBSD sys/sys/disklabel_rdb.h, DOST_*; the variants of DOS from Linux fs/affs
inline constexpr Name kAmigaTypes[] = {{0x444F5300, "Amiga DOS OFS"},
                                       {0x444F5301, "Amiga DOS FFS"},
                                       {0x444F5302, "Amiga DOS OFS, international"},
                                       {0x444F5303, "Amiga DOS FFS, international"},
                                       {0x444F5304, "Amiga DOS OFS, directory cache"},
                                       {0x444F5305, "Amiga DOS FFS, directory cache"},
                                       {0x444F5306, "Amiga DOS OFS, long names"},
                                       {0x444F5307, "Amiga DOS FFS, long names"}};

/// The upper three letters, for types whose last byte is a number of their own.
inline constexpr Name kAmigaTypeFamilies[] = {
    {0x554E49, "System V"},    {0x4E4252, "NetBSD root"}, {0x4E4255, "NetBSD"},
    {0x4E4253, "NetBSD swap"}, {0x425344, "BSD"},         {0x4C4E58, "Linux"},
    {0x535750, "Linux swap"},  {0x6D7546, "muFS"},        {0x534653, "SFS"},
    {0x524149, "RAID"},        {0x4D5344, "MSDOS"},       {0x444F53, "Amiga DOS"}};

// NetBSD sys/sys/disklabel_rdb.h, struct rdblock
inline constexpr Field kAmigaDiskFields[] = {
    u32("id", 0, "\"RDSK\""),
    u32("summed_longs", 4, "32-bit words under the checksum"),
    u32("checksum", 8, "makes their sum 0"),
    u32("host_id", 12, "bus id of the host"),
    u32("block_bytes", 16, "bytes per block", unit::bytes),
    u32("flags", 20, "bits from 0 on: last disk, last unit, last target, do not reselect"),
    u32("bad_block_list", 24, "first bad-block block", unit::label_sectors),
    u32("slice_list", 28, "first slice block", unit::label_sectors),
    u32("filesystem_list", 32, "first filesystem block", unit::label_sectors),
    u32("drive_init", 36, "drive's own start-up code", unit::label_sectors),
    reserved(40, 24),
    u32("cylinders", 64, "cylinders", unit::cylinders),
    u32("sectors_per_track", 68, "blocks per track", unit::label_sectors),
    u32("heads", 72, "heads", unit::heads),
    u32("interleave", 76, "interleave"),
    u32("park", 80, "cylinder to park the heads at", unit::cylinders),
    reserved(84, 12),
    u32("write_precompensation", 96, "first cylinder of it", unit::cylinders),
    u32("reduced_write", 100, "first cylinder of it", unit::cylinders),
    u32("step_rate", 104, "step rate"),
    reserved(108, 20),
    u32("low_block", 128, "first block of the rigid disk blocks", unit::label_sectors),
    u32("high_block", 132, "last block of the rigid disk blocks", unit::label_sectors),
    u32("low_cylinder", 136, "first cylinder for slices", unit::cylinders),
    u32("high_cylinder", 140, "last cylinder for slices", unit::cylinders),
    u32("cylinder_blocks", 144, "blocks per cylinder", unit::label_sectors),
    u32("park_seconds", 148, "idle time before parking", unit::seconds),
    reserved(152, 8),
    text("disk_vendor", 160, 8, "drive, as it names itself"),
    text("disk_product", 168, 16, "drive, as it names itself"),
    text("disk_revision", 184, 4, "drive, as it names itself"),
    text("controller_vendor", 188, 8, "controller"),
    text("controller_product", 196, 16, "controller"),
    text("controller_revision", 212, 4, "controller"),
    reserved(216, 4),
    bytes("overwritten", 220, 4, "other systems write here without mending the checksum"),
    reserved(224, 32),
};
inline constexpr Structure kAmigaDiskBlock =
    structure("Amiga rigid disk block", "NetBSD sys/sys/disklabel_rdb.h, struct rdblock", 256,
              kAmigaDiskFields);

// NetBSD sys/sys/disklabel_rdb.h, struct partblock with struct ados_environ at 128
inline constexpr Field kAmigaSliceFields[] = {
    u32("id", 0, "\"PART\""),
    u32("summed_longs", 4, "32-bit words under the checksum"),
    u32("checksum", 8, "makes their sum 0"),
    u32("host_id", 12, "bus id of the host"),
    u32("next", 16, "next slice block; 0xFFFFFFFF: none", unit::label_sectors),
    u32("flags", 20, "1: can be started from, 2: not mounted by itself"),
    reserved(24, 12),
    u8("name_length", 36, "characters of the name", unit::bytes),
    bytes("name", 37, 31, "name"),
    reserved(68, 60),
    u32("environment_size", 128, "number of the last word in use below"),
    u32("block_longs", 132, "32-bit words per filesystem block"),
    u32("sector_origin", 136, "0"),
    u32("heads", 140, "heads", unit::heads),
    u32("block_sectors", 144, "sectors per filesystem block"),
    u32("track_blocks", 148, "blocks per track", unit::label_sectors),
    u32("reserved_blocks", 152, "blocks before the filesystem", unit::label_sectors),
    u32("preallocated", 156, "blocks at the end that are left out", unit::label_sectors),
    u32("interleave", 160, "interleave"),
    u32("low_cylinder", 164, "first cylinder", unit::cylinders),
    u32("high_cylinder", 168, "last cylinder, inclusive", unit::cylinders),
    u32("buffers", 172, "buffers to begin with"),
    u32("memory_type", 176, "kind of memory for buffers"),
    u32("most_transferred", 180, "longest transfer", unit::bytes),
    u32("mask", 184, "addresses for transfers"),
    s32("boot_priority", 188, "the highest is started from"),
    u32("dos_type", 192, "what the slice holds", unit::none, kAmigaTypes),
    u32("baud", 196, "speed of a serial handler"),
    u32("control", 200, "control word of the handler"),
    u32("boot_blocks", 204, "blocks of start-up code", unit::label_sectors),
    u32("fragment_bytes", 208, "NetBSD: filesystem block size"),
    u32("fragments", 212, "NetBSD: fragments per block"),
    u32("cylinders_per_group", 216, "NetBSD: cylinders per group"),
    reserved(220, 36),
};
inline constexpr Structure kAmigaSliceBlock =
    structure("Amiga slice block", "NetBSD sys/sys/disklabel_rdb.h, struct partblock", 256,
              kAmigaSliceFields);

// NetBSD sys/sys/disklabel_rdb.h, struct fsblock
inline constexpr Field kAmigaFilesystemFields[] = {
    u32("id", 0, "\"FSHD\""),
    u32("summed_longs", 4, "32-bit words under the checksum"),
    u32("checksum", 8, "makes their sum 0"),
    u32("host_id", 12, "bus id of the host"),
    u32("next", 16, "next filesystem block; 0xFFFFFFFF: none", unit::label_sectors),
    u32("flags", 20, "flags"),
    reserved(24, 8),
    u32("dos_type", 32, "type of slices that it serves", unit::none, kAmigaTypes),
    u32("version", 36, "version in the upper, revision in the lower half"),
    u32("patch_flags", 40, "which of the following words to use"),
    u32("node_type", 44, "device node type"),
    u32("task", 48, "task"),
    u32("lock", 52, "lock"),
    u32("handler", 56, "handler"),
    u32("stack_bytes", 60, "stack for the handler", unit::bytes),
    s32("priority", 64, "priority of the handler"),
    s32("startup", 68, "start-up word"),
    u32("code_list", 72, "first block of its code", unit::label_sectors),
    u32("global_vector", 76, "global vector"),
    reserved(80, 176),
};
inline constexpr Structure kAmigaFilesystemBlock =
    structure("Amiga filesystem block", "NetBSD sys/sys/disklabel_rdb.h, struct fsblock", 256,
              kAmigaFilesystemFields);

/// What all kinds of blocks begin with.
inline constexpr Field kAmigaBlockHeadFields[] = {
    u32("id", 0, "four letters"),
    u32("summed_longs", 4, "32-bit words under the checksum"),
    u32("checksum", 8, "makes their sum 0"),
    u32("host_id", 12, "bus id of the host"),
    u32("next", 16, "next block of the kind; 0xFFFFFFFF: none", unit::label_sectors),
};
inline constexpr Structure kAmigaBlockHead =
    structure("Amiga block", "NetBSD sys/sys/disklabel_rdb.h", 20, kAmigaBlockHeadFields);

}  // namespace platter::label
