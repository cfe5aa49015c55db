// Structures of HFS+. All numbers are big-endian.
#pragma once

#include "core/layout.h"

namespace platter::filesystem {

inline constexpr std::uint64_t kHfsPlusHeaderPlace = 1024;
inline constexpr std::uint64_t kHfsPlusSignature = 0x482B;      ///< "H+", version 4
inline constexpr std::uint64_t kHfsPlusCaseSignature = 0x4858;  ///< "HX", version 5

inline constexpr Field kHfsPlusExtentFields[] = {
    u32("start", 0, "first block"),
    u32("count", 4, "blocks"),
};
inline constexpr Structure kHfsPlusExtent =
    structure("HFS+ extent", "Linux fs/hfsplus/hfsplus_raw.h, struct hfsplus_extent", 8,
              kHfsPlusExtentFields);

inline constexpr Field kHfsPlusForkFields[] = {
    u64("length", 0, "length", unit::bytes),
    u32("clump_bytes", 8, "clump", unit::bytes),
    u32("blocks", 12, "blocks of all extents"),
    records("extents", 16, 8, kHfsPlusExtent, "first extents"),
};
inline constexpr Structure kHfsPlusFork = structure(
    "HFS+ fork", "Linux fs/hfsplus/hfsplus_raw.h, struct hfsplus_fork_raw", 80, kHfsPlusForkFields);

inline constexpr Field kHfsPlusHeaderFields[] = {
    u16("signature", 0, "0x482B, or 0x4858 when names differ by case"),
    u16("version", 2, "4, or 5 when names differ by case"),
    u32("attributes", 4,
        "bit 8 unmounted, 9 bad blocks spared, 11 inconsistent, 12 ids used "
        "again, 13 journal, 15 locked"),
    text("last_mounter", 8, 4, "system that mounted it last"),
    u32("journal_block", 12, "block that describes the journal"),
    u32("created", 16, "creation, seconds since 1904, local time"),
    u32("modified", 20, "last change, seconds since 1904, UTC"),
    u32("backed_up", 24, "last backup, seconds since 1904, UTC"),
    u32("checked", 28, "last check, seconds since 1904, UTC"),
    u32("files", 32, "files"),
    u32("directories", 36, "directories without the root"),
    u32("block_bytes", 40, "block, a power of two from 512", unit::bytes),
    u32("blocks", 44, "blocks of the volume"),
    u32("free_blocks", 48, "free blocks"),
    u32("search_start", 52, "block where the next search starts"),
    u32("resource_clump", 56, "clump of resource forks", unit::bytes),
    u32("data_clump", 60, "clump of data forks", unit::bytes),
    u32("next_id", 64, "next catalog id"),
    u32("writes", 68, "times the volume was mounted for writing"),
    u64("encodings", 72, "encodings that names were made from"),
    array_of(6, u32("boot_info", 80, "ids for starting up")),
    bytes("volume_id", 104, 8, "identifier of the volume"),
    records("allocation", 112, 1, kHfsPlusFork, "bitmap"),
    records("extents", 192, 1, kHfsPlusFork, "extents overflow tree"),
    records("catalog", 272, 1, kHfsPlusFork, "catalog tree"),
    records("attribute_tree", 352, 1, kHfsPlusFork, "tree of attributes"),
    records("startup", 432, 1, kHfsPlusFork, "startup file"),
};
inline constexpr Structure kHfsPlusHeader =
    structure("HFS+ volume header", "Linux fs/hfsplus/hfsplus_raw.h, struct hfsplus_vh", 512,
              kHfsPlusHeaderFields);

/// The start of a catalog key; the name's UTF-16 units follow.
inline constexpr Field kHfsPlusKeyFields[] = {
    u16("length", 0, "bytes of the key behind this number"),
    u32("parent", 2, "id of the directory"),
    u16("name_units", 6, "UTF-16 units of the name, at most 255"),
};
inline constexpr Structure kHfsPlusKey =
    structure("HFS+ catalog key", "Linux fs/hfsplus/hfsplus_raw.h, struct hfsplus_cat_key", 8,
              kHfsPlusKeyFields);

}  // namespace platter::filesystem
