// Structures of HFS+. All numbers are big-endian.
#pragma once

#include "core/layout.h"

namespace platter::filesystem {

inline constexpr std::uint64_t kHfsPlusHeaderPlace = 1024;
inline constexpr std::uint64_t kHfsPlusSignature = 0x482B;      ///< "H+", version 4
inline constexpr std::uint64_t kHfsPlusCaseSignature = 0x4858;  ///< "HX", version 5
inline constexpr std::uint64_t kHfsPlusIdsReused = 0x1000;      ///< of the attributes
inline constexpr std::uint64_t kHfsPlusJournal = 0x2000;

// Besides the ids of HFS (hfs_structures.h).
inline constexpr std::uint64_t kHfsPlusAllocationFile = 6;
inline constexpr std::uint64_t kHfsPlusStartupFile = 7;
inline constexpr std::uint64_t kHfsPlusAttributeFile = 8;

inline constexpr std::uint64_t kHfsPlusByCase = 0xBC;     ///< key_order of a tree
inline constexpr std::uint64_t kHfsPlusVariableKeys = 4;  ///< tree_attributes: in index nodes too
inline constexpr std::uint64_t kHfsPlusSmallestNode = 512;
inline constexpr std::uint64_t kHfsPlusLargestNode = 32768;

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

inline constexpr std::uint64_t kHfsPlusMostUnits = 255;

/// The start of a catalog key; the name's UTF-16 units follow.
inline constexpr Field kHfsPlusKeyFields[] = {
    u16("length", 0, "bytes of the key behind this number"),
    u32("parent", 2, "id of the directory"),
    u16("name_units", 6, "UTF-16 units of the name, at most 255"),
};
inline constexpr Structure kHfsPlusKey =
    structure("HFS+ catalog key", "Linux fs/hfsplus/hfsplus_raw.h, struct hfsplus_cat_key", 8,
              kHfsPlusKeyFields);

/// Stored compressed, in the resource fork or an attribute.
inline constexpr std::uint64_t kHfsPlusPacked = 0x20;

inline constexpr Field kHfsPlusPermissionFields[] = {
    u32("uid", 0, "owner"),
    u32("gid", 4, "group"),
    u8("admin_flags", 8, "bit 1: never changed, 2: only appended to"),
    u8("owner_flags", 9, "bit 0: not dumped, 5: stored compressed"),
    u16("mode", 10, "type and permission bits; 0 in the type: nothing here is set"),
    u32("special", 12,
        "link: number of its file; file of links: names; device: its number, major in the upper 8 "
        "bits"),
};
inline constexpr Structure kHfsPlusPermissions =
    structure("HFS+ permissions", "Linux fs/hfsplus/hfsplus_raw.h, struct hfsplus_perm", 16,
              kHfsPlusPermissionFields);

inline constexpr Field kHfsPlusDirectoryFields[] = {
    u16("kind", 0, "1"),
    u16("flags", 2, "bit 4: subdirectories are counted"),
    u32("valence", 4, "files and directories in it"),
    u32("id", 8, "catalog id"),
    u32("created", 12, "creation, seconds since 1904, UTC"),
    u32("modified", 16, "last change of its entries, seconds since 1904, UTC"),
    u32("changed", 20, "last change of this record, seconds since 1904, UTC"),
    u32("accessed", 24, "last access, seconds since 1904, UTC"),
    u32("backed_up", 28, "last backup, seconds since 1904, UTC"),
    records("permissions", 32, 1, kHfsPlusPermissions, "owner and mode"),
    bytes("user_info", 48, 16, "window and place on the screen"),
    bytes("more_info", 64, 16, "more of it"),
    u32("encoding", 80, "encoding that the name was made from"),
    u32("subdirectories", 84, "directories in it, where they are counted"),
};
inline constexpr Structure kHfsPlusDirectory =
    structure("HFS+ directory record", "Linux fs/hfsplus/hfsplus_raw.h, struct hfsplus_cat_folder",
              88, kHfsPlusDirectoryFields);

inline constexpr Field kHfsPlusFileFields[] = {
    u16("kind", 0, "2"),
    u16("flags", 2, "bit 0: locked, 1: has a thread record"),
    reserved(4, 4),
    u32("id", 8, "catalog id"),
    u32("created", 12, "creation, seconds since 1904, UTC"),
    u32("modified", 16, "last change of its content, seconds since 1904, UTC"),
    u32("changed", 20, "last change of this record, seconds since 1904, UTC"),
    u32("accessed", 24, "last access, seconds since 1904, UTC"),
    u32("backed_up", 28, "last backup, seconds since 1904, UTC"),
    records("permissions", 32, 1, kHfsPlusPermissions, "owner and mode"),
    text("type", 48, 4, "type of the file"),
    text("creator", 52, 4, "program that made it"),
    bytes("user_info", 56, 8, "place on the screen"),
    bytes("more_info", 64, 16, "more of it"),
    u32("encoding", 80, "encoding that the name was made from"),
    reserved(84, 4),
    records("data", 88, 1, kHfsPlusFork, "data fork"),
    records("resource", 168, 1, kHfsPlusFork, "resource fork"),
};
inline constexpr Structure kHfsPlusFile =
    structure("HFS+ file record", "Linux fs/hfsplus/hfsplus_raw.h, struct hfsplus_cat_file", 248,
              kHfsPlusFileFields);

/// The start of a thread record; the name's UTF-16 units follow.
inline constexpr Field kHfsPlusThreadFields[] = {
    u16("kind", 0, "3: of a directory, 4: of a file"),
    reserved(2, 2),
    u32("parent", 4, "id of the directory that holds it"),
    u16("name_units", 8, "UTF-16 units of the name, at most 255"),
};
inline constexpr Structure kHfsPlusThread =
    structure("HFS+ thread record", "Linux fs/hfsplus/hfsplus_raw.h, struct hfsplus_cat_thread", 10,
              kHfsPlusThreadFields);

inline constexpr Field kHfsPlusExtentKeyFields[] = {
    u16("length", 0, "10"),
    u8("fork", 2, "0 data, 255 resource"),
    reserved(3, 1),
    u32("file", 4, "catalog id"),
    u32("first", 8, "block of the file that the record starts with"),
};
inline constexpr Structure kHfsPlusExtentKey =
    structure("HFS+ extent key", "Linux fs/hfsplus/hfsplus_raw.h, struct hfsplus_ext_key", 12,
              kHfsPlusExtentKeyFields);

inline constexpr std::size_t kHfsPlusExtents = 8;
inline constexpr Field kHfsPlusExtentRecordFields[] = {
    records("extents", 0, kHfsPlusExtents, kHfsPlusExtent, "eight extents"),
};
inline constexpr Structure kHfsPlusExtentRecord =
    structure("HFS+ extent record", "Linux fs/hfsplus/hfsplus_raw.h, hfsplus_extent_rec", 64,
              kHfsPlusExtentRecordFields);

/// The start of an attribute's key; the UTF-16 units of the attribute's name follow.
inline constexpr Field kHfsPlusAttributeKeyFields[] = {
    u16("length", 0, "bytes of the key behind this number"),
    reserved(2, 2),
    u32("file", 4, "catalog id"),
    u32("first", 8, "block of the attribute that the record starts with"),
    u16("name_units", 12, "UTF-16 units of the attribute's name"),
};
inline constexpr Structure kHfsPlusAttributeKey =
    structure("HFS+ attribute key", "Linux fs/hfsplus/hfsplus_raw.h, struct hfsplus_attr_key", 14,
              kHfsPlusAttributeKeyFields);

// Records of the tree of attributes that own blocks. From memory of technical note 1150, "Attribute
// Fork Data" and "Attribute Extents".
inline constexpr std::uint64_t kHfsPlusAttributeFork = 0x20;
inline constexpr std::uint64_t kHfsPlusAttributeExtents = 0x30;

inline constexpr Field kHfsPlusAttributeForkFields[] = {
    u32("kind", 0, "0x20"),
    reserved(4, 4),
    records("fork", 8, 1, kHfsPlusFork, "where the attribute lies"),
};
inline constexpr Structure kHfsPlusAttributeForkRecord =
    structure("HFS+ attribute fork record", "technical note 1150, attributes file", 88,
              kHfsPlusAttributeForkFields);

inline constexpr Field kHfsPlusAttributeExtentFields[] = {
    u32("kind", 0, "0x30"),
    reserved(4, 4),
    records("extents", 8, kHfsPlusExtents, kHfsPlusExtent, "eight more extents"),
};
inline constexpr Structure kHfsPlusAttributeExtentRecord =
    structure("HFS+ attribute extent record", "technical note 1150, attributes file", 72,
              kHfsPlusAttributeExtentFields);

}  // namespace platter::filesystem
