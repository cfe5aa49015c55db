// Structures of HFS, shared by the decoder and the fixture writer. All numbers are big-endian.
#pragma once

#include "core/layout.h"

namespace platter::filesystem {

inline constexpr std::uint64_t kHfsSignature = 0x4244;  ///< "BD"
inline constexpr std::uint64_t kHfsHeaderPlace = 1024;
inline constexpr std::uint64_t kHfsEmbedded = 0x482B;  ///< "H+": an HFS+ volume is wrapped
/// Seconds from 1904-01-01 to 1970-01-01.
inline constexpr std::int64_t kHfsEpoch = 2'082'844'800;

inline constexpr std::uint64_t kHfsUnmounted = 0x0100;
inline constexpr std::uint64_t kHfsRootParent = 1;
inline constexpr std::uint64_t kHfsRoot = 2;
inline constexpr std::uint64_t kHfsExtentsFile = 3;
inline constexpr std::uint64_t kHfsCatalogFile = 4;
inline constexpr std::uint64_t kHfsBadBlocks = 5;
inline constexpr std::uint64_t kHfsFirstUserId = 16;

inline constexpr Field kHfsExtentFields[] = {
    u16("start", 0, "first allocation block"),
    u16("count", 2, "allocation blocks"),
};
inline constexpr Structure kHfsExtent =
    structure("HFS extent", "Linux fs/hfs/hfs.h, struct hfs_extent", 4, kHfsExtentFields);

inline constexpr Field kHfsHeaderFields[] = {
    u16("signature", 0, "0x4244"),
    u32("created", 2, "creation, seconds since 1904, local time"),
    u32("modified", 6, "last change, seconds since 1904, local time"),
    u16("attributes", 10,
        "bit 7 locked by hardware, 8 unmounted, 9 bad blocks spared, 11 "
        "inconsistent, 15 locked"),
    u16("root_files", 12, "files in the root directory"),
    u16("bitmap_start", 14, "where the bitmap starts", unit::blocks),
    u16("search_start", 16, "allocation block where the next search starts"),
    u16("blocks", 18, "allocation blocks"),
    u32("block_bytes", 20, "allocation block, a multiple of 512", unit::bytes),
    u32("clump_bytes", 24, "default clump", unit::bytes),
    u16("first_block", 28, "where allocation block 0 starts", unit::blocks),
    u32("next_id", 30, "next catalog id"),
    u16("free_blocks", 34, "free allocation blocks"),
    u8("name_length", 36, "length of the volume name"),
    text("name", 37, 27, "volume name"),
    u32("backed_up", 64, "last backup, seconds since 1904"),
    u16("backup_number", 68, "number of that backup"),
    u32("writes", 70, "times the volume was written"),
    u32("extents_clump", 74, "clump of the extents file", unit::bytes),
    u32("catalog_clump", 78, "clump of the catalog file", unit::bytes),
    u16("root_directories", 82, "directories in the root directory"),
    u32("files", 84, "files of the volume"),
    u32("directories", 88, "directories of the volume"),
    array_of(8, u32("boot_info", 92, "ids for starting up; the first is the boot folder's")),
    u16("embedded_signature", 124, "0x482B: a wrapped HFS+ volume"),
    records("embedded", 126, 1, kHfsExtent, "where the wrapped volume lies"),
    u32("extents_bytes", 130, "length of the extents file", unit::bytes),
    records("extents_extents", 134, 3, kHfsExtent, "extents of the extents file"),
    u32("catalog_bytes", 146, "length of the catalog file", unit::bytes),
    records("catalog_extents", 150, 3, kHfsExtent, "extents of the catalog file"),
};
inline constexpr Structure kHfsHeader = structure(
    "HFS master directory block", "Linux fs/hfs/hfs.h, struct hfs_mdb", 162, kHfsHeaderFields);

inline constexpr std::size_t kHfsNodeBytes = 512;

inline constexpr Name kHfsNodeKinds[] = {{0, "index"}, {1, "header"}, {2, "map"}, {0xFF, "leaf"}};
inline constexpr Field kHfsNodeFields[] = {
    u32("next", 0, "next node of its kind, 0: none"),
    u32("previous", 4, "previous node of its kind, 0: none"),
    u8("kind", 8, "kind of node", unit::none, kHfsNodeKinds),
    u8("height", 9, "1 for leaves"),
    u16("records", 10, "records in the node"),
    reserved(12, 2),
};
inline constexpr Structure kHfsNode = structure(
    "B-tree node descriptor", "Linux fs/hfs/btree.h, struct hfs_bnode_desc", 14, kHfsNodeFields);

inline constexpr Field kHfsTreeHeaderFields[] = {
    u16("depth", 0, "levels of nodes"),
    u32("root", 2, "root node"),
    u32("leaf_records", 6, "records in all leaves"),
    u32("first_leaf", 10, "first leaf"),
    u32("last_leaf", 14, "last leaf"),
    u16("node_bytes", 18, "node; HFS: 512", unit::bytes),
    u16("most_key_bytes", 20, "longest key", unit::bytes),
    u32("nodes", 22, "nodes in the file"),
    u32("free_nodes", 26, "unused nodes"),
    reserved(30, 2),
    u32("clump_bytes", 32, "clump", unit::bytes),
    u8("tree_kind", 36, "0: of the volume itself"),
    u8("key_order", 37, "HFS+ by case only: 0xCF without regard to case, 0xBC by number"),
    u32("tree_attributes", 38, "HFS+: bit 1 keys begin with 16 bits, 2 index keys vary in length"),
    reserved(42, 64),
};
inline constexpr Structure kHfsTreeHeader =
    structure("B-tree header", "Linux fs/hfs/btree.h, struct hfs_btree_header_rec", 106,
              kHfsTreeHeaderFields);

inline constexpr std::size_t kHfsMostName = 31;

inline constexpr Field kHfsCatalogKeyFields[] = {
    u8("length", 0, "bytes of the key behind this one"),
    reserved(1, 1),
    u32("parent", 2, "id of the directory"),
    u8("name_length", 6, "length of the name"),
    text("name", 7, kHfsMostName, "name"),
};
inline constexpr Structure kHfsCatalogKey = structure(
    "HFS catalog key", "Linux fs/hfs/hfs.h, struct hfs_cat_key", 38, kHfsCatalogKeyFields);

inline constexpr std::uint64_t kHfsDirectoryRecord = 1;
inline constexpr std::uint64_t kHfsFileRecord = 2;
inline constexpr std::uint64_t kHfsDirectoryThread = 3;
inline constexpr std::uint64_t kHfsFileThread = 4;

inline constexpr Field kHfsDirectoryFields[] = {
    u8("kind", 0, "1"),
    reserved(1, 1),
    u16("flags", 2, "flags"),
    u16("valence", 4, "files and directories in it"),
    u32("id", 6, "catalog id"),
    u32("created", 10, "creation, seconds since 1904, local time"),
    u32("modified", 14, "last change, seconds since 1904, local time"),
    u32("backed_up", 18, "last backup, seconds since 1904, local time"),
    bytes("user_info", 22, 16, "window and place on the screen"),
    bytes("more_info", 38, 16, "more of it"),
    reserved(54, 16),
};
inline constexpr Structure kHfsDirectory = structure(
    "HFS directory record", "Linux fs/hfs/hfs.h, struct hfs_cat_dir", 70, kHfsDirectoryFields);

inline constexpr Field kHfsFileFields[] = {
    u8("kind", 0, "2"),
    reserved(1, 1),
    u8("flags", 2, "bit 0: locked, 1: has a thread record, 7: in use"),
    u8("version", 3, "0"),
    text("type", 4, 4, "type of the file"),
    text("creator", 8, 4, "program that made it"),
    bytes("user_info", 12, 8, "place on the screen"),
    u32("id", 20, "catalog id"),
    u16("data_start", 24, "unused"),
    u32("data_bytes", 26, "length of the data fork", unit::bytes),
    u32("data_allocated", 30, "space of the data fork", unit::bytes),
    u16("resource_start", 34, "unused"),
    u32("resource_bytes", 36, "length of the resource fork", unit::bytes),
    u32("resource_allocated", 40, "space of the resource fork", unit::bytes),
    u32("created", 44, "creation, seconds since 1904, local time"),
    u32("modified", 48, "last change, seconds since 1904, local time"),
    u32("backed_up", 52, "last backup, seconds since 1904, local time"),
    bytes("more_info", 56, 16, "more of user_info"),
    u16("clump", 72, "clump", unit::bytes),
    records("data_extents", 74, 3, kHfsExtent, "first extents of the data fork"),
    records("resource_extents", 86, 3, kHfsExtent, "first extents of the resource fork"),
    reserved(98, 4),
};
inline constexpr Structure kHfsFile =
    structure("HFS file record", "Linux fs/hfs/hfs.h, struct hfs_cat_file", 102, kHfsFileFields);

inline constexpr Field kHfsThreadFields[] = {
    u8("kind", 0, "3: of a directory, 4: of a file"),
    reserved(1, 9),
    u32("parent", 10, "id of the directory that holds it"),
    u8("name_length", 14, "length of the name"),
    text("name", 15, kHfsMostName, "name"),
};
inline constexpr Structure kHfsThread = structure(
    "HFS thread record", "Linux fs/hfs/hfs.h, struct hfs_cat_thread", 46, kHfsThreadFields);

inline constexpr std::uint64_t kHfsDataFork = 0;
inline constexpr std::uint64_t kHfsResourceFork = 0xFF;

inline constexpr Field kHfsExtentKeyFields[] = {
    u8("length", 0, "7"),
    u8("fork", 1, "0 data, 255 resource"),
    u32("file", 2, "catalog id"),
    u16("first", 6, "allocation block of the file that the record starts with"),
};
inline constexpr Structure kHfsExtentKey =
    structure("HFS extent key", "Linux fs/hfs/hfs.h, struct hfs_ext_key", 8, kHfsExtentKeyFields);

inline constexpr Field kHfsExtentRecordFields[] = {
    records("extents", 0, 3, kHfsExtent, "three extents"),
};
inline constexpr Structure kHfsExtentRecord = structure(
    "HFS extent record", "Linux fs/hfs/hfs.h, hfs_extent_rec", 12, kHfsExtentRecordFields);

}  // namespace platter::filesystem
