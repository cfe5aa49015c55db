// Structures of the SGI volume header, shared by the decoder and the fixture writers.
#pragma once

#include "core/layout.h"

namespace platter::label {

inline constexpr std::uint64_t kSgiMagic = 0x0BE5A941;

// NetBSD sys/sys/bootblock.h (SGI_PTYPE_*); 11 to 13 and the Linux ones as in util-linux pt-sgi.h
inline constexpr Name kSgiTypes[] = {{0, "volume header"},
                                     {1, "track replacement"},
                                     {2, "sector replacement"},
                                     {3, "raw or swap"},
                                     {4, "BSD"},
                                     {5, "System V"},
                                     {6, "whole volume"},
                                     {7, "EFS"},
                                     {8, "logical volume"},
                                     {9, "raw logical volume"},
                                     {10, "XFS"},
                                     {11, "XFS log"},
                                     {12, "XLV"},
                                     {13, "XVM"},
                                     {0x82, "Linux swap"},
                                     {0x83, "Linux"},
                                     {0xFD, "Linux RAID"}};

inline constexpr Field kSgiFileFields[] = {
    text("name", 0, 8, "file name"),
    s32("first", 8, "first block, from the start of the disk", unit::blocks),
    s32("length", 12, "length; not above 0: unused", unit::bytes),
};
inline constexpr Structure kSgiFile =
    structure("SGI volume directory entry", "NetBSD sys/sys/bootblock.h, struct sgi_boot_block", 16,
              kSgiFileFields);

inline constexpr Field kSgiSliceFields[] = {
    u32("blocks", 0, "length; 0: unused", unit::blocks),
    u32("first", 4, "first block, from the start of the disk", unit::blocks),
    u32("type", 8, "what the slice holds", unit::none, kSgiTypes),
};
inline constexpr Structure kSgiSlice = structure(
    "SGI partition", "NetBSD sys/sys/bootblock.h, struct sgi_boot_block", 12, kSgiSliceFields);

inline constexpr Field kSgiHeaderFields[] = {
    u32("magic", 0, "0x0BE5A941"),
    u16("root", 4, "number of the root slice"),
    u16("swap", 6, "number of the swap slice"),
    text("bootfile", 8, 16, "file to load when nothing else is asked for"),
    u8("skew", 24, "spiral skew"),
    u8("gap1", 25, "controller gap 1"),
    u8("gap2", 26, "controller gap 2"),
    u8("spares", 27, "spare sectors per cylinder", unit::sectors),
    u16("cylinders", 28, "cylinders", unit::cylinders),
    u16("first_head", 30, "first head of volume 0", unit::heads),
    u16("tracks", 32, "tracks per cylinder", unit::tracks),
    u8("queue_depth", 34, "depth of tagged queueing"),
    u8("cylinders_high", 35, "high bits of the cylinders; other sources: unused"),
    u16("unused", 36, "unused"),
    u16("sectors", 38, "sectors per track", unit::sectors),
    u16("sector_bytes", 40, "bytes per sector", unit::bytes),
    u16("interleave", 42, "interleave"),
    u32("flags", 44,
        "1 sector slip, 2 sector forward, 4 track forward, 8 multiple volumes, "
        "0x10 ignore errors, 0x20 reseek, 0x40 tagged queueing"),
    u32("data_rate", 48, "transfer rate"),
    u32("retries", 52, "retries on error"),
    u32("ms_per_word", 56, "milliseconds per word", unit::milliseconds),
    array_of(6, u16("controller", 60, "controller-specific gaps and delays")),
    records("file", 72, 15, kSgiFile, "volume directory"),
    records("slice", 312, 16, kSgiSlice, "partitions 0 to 15"),
    u32("checksum", 504, "makes the sum of all 128 words 0"),
    reserved(508, 4),
};
inline constexpr Structure kSgiHeader =
    structure("SGI volume header", "NetBSD sys/sys/bootblock.h, struct sgi_boot_block; IRIX vh(7M)",
              512, kSgiHeaderFields);

}  // namespace platter::label
