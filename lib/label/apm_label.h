// Structures of the APM, the partition map of 68k and ppc desktop machines with its driver
// descriptor in block 0, shared by the decoder and the fixture writers.
#pragma once

#include <array>

#include "core/layout.h"

namespace platter::label {

inline constexpr std::uint64_t kApmDriverMagic = 0x4552;
inline constexpr std::uint64_t kApmEntryMagic = 0x504D;
inline constexpr std::uint64_t kApmUnixMagic = 0xABADBABE;
inline constexpr std::uint64_t kApmUnixSwap = 3;
inline constexpr std::uint64_t kApmBootable = 0x08;

/// The six bytes that many types begin with; what follows them tells the kind.
inline constexpr std::array<std::uint8_t, 6> kApmTypePrefix = {0x41, 0x70, 0x70, 0x6C, 0x65, 0x5F};

// NetBSD sys/sys/bootblock.h, driver map and partition map entry
inline constexpr Field kApmDriverFields[] = {
    u32("first", 0, "first block of the driver", unit::label_sectors),
    u16("blocks", 4, "length of the driver", unit::label_sectors),
    u16("system", 6, "system that it is for; 1: the 68k system"),
};
inline constexpr Structure kApmDriver = structure(
    "APM driver descriptor", "NetBSD sys/sys/bootblock.h, driver descriptor", 8, kApmDriverFields);

inline constexpr Field kApmDriverMapFields[] = {
    u16("signature", 0, "0x4552"),
    u16("block_bytes", 2, "block size of the device", unit::bytes),
    u32("block_count", 4, "blocks of the device", unit::label_sectors),
    u16("device_type", 8, "used by the ROM"),
    u16("device_id", 10, "used by the ROM"),
    u32("data", 12, "used by the ROM"),
    u16("drivers", 16, "number of driver descriptors"),
    records("driver", 18, 61, kApmDriver, "where the drivers stand"),
    reserved(506, 6),
};
inline constexpr Structure kApmDriverMap =
    structure("APM driver map", "NetBSD sys/sys/bootblock.h, driver map", 512, kApmDriverMapFields);

inline constexpr Field kApmEntryFields[] = {
    u16("signature", 0, "0x504D"),
    reserved(2, 2),
    u32("map_entries", 4, "number of entries, the same in each"),
    u32("first", 8, "first block", unit::label_sectors),
    u32("blocks", 12, "length", unit::label_sectors),
    text("name", 16, 32, "name"),
    text("type", 48, 32, "what the slice holds, in words"),
    u32("data_first", 80, "first block of the data, from the slice's start", unit::label_sectors),
    u32("data_blocks", 84, "length of the data", unit::label_sectors),
    u32("status", 88,
        "bits from 0 on: valid, allocated, in use, has start-up code, readable, writable, code is "
        "position independent"),
    u32("boot_first", 92, "first block of the start-up code", unit::label_sectors),
    u32("boot_bytes", 96, "length of the start-up code", unit::bytes),
    u32("boot_load", 100, "load address"),
    reserved(104, 4),
    u32("boot_entry", 108, "entry address"),
    reserved(112, 4),
    u32("boot_checksum", 116, "checksum of the start-up code"),
    text("processor", 120, 16, "processor that the code is for"),
    bytes("boot_arguments", 136, 128, "arguments; for Unix slices a structure of their own"),
    reserved(264, 248),
};
inline constexpr Structure kApmEntry =
    structure("APM entry", "NetBSD sys/sys/bootblock.h, partition map entry", 512, kApmEntryFields);

/// The start of `boot_arguments` in slices of the type UNIX_SVR2.
inline constexpr Field kApmUnixFields[] = {
    u32("magic", 0, "0xABADBABE"),
    u8("cluster", 4, "cluster of slices that belong together"),
    u8("kind", 5, "1: filesystem, 3: swap"),
    u16("bad_block_inode", 6, "inode of the bad blocks"),
    u16("flags", 8, "0x8000: root, 0x4000: usr"),
    reserved(10, 2),
    u32("created", 12, "creation", unit::unix_time),
    u32("mounted", 16, "last mounted", unit::unix_time),
    u32("unmounted", 20, "last unmounted", unit::unix_time),
};
inline constexpr Structure kApmUnix = structure(
    "APM Unix arguments", "NetBSD sys/sys/bootblock.h, block zero block", 24, kApmUnixFields);

}  // namespace platter::label
