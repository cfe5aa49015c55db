// On-disk structures of XFS beside the superblock, shared by the reader and the fixture writer. All
// numbers are big-endian but for checksums.
//
// Sources: Linux fs/xfs/libxfs/xfs_format.h, xfs_da_format.h, xfs_log_format.h; for the first form
// of directories, which later kernels do not know, fs/xfs/xfs_dir_sf.h and xfs_dir_leaf.h of Linux
// 2.6.12.
#pragma once

#include "core/layout.h"

namespace platter::filesystem {

// ---- Allocation groups. Their first four sectors: a copy of the superblock, then these.

inline constexpr std::uint64_t kXfsSpaceMagic = 0x58414746;     ///< "XAGF"
inline constexpr std::uint64_t kXfsInodesMagic = 0x58414749;    ///< "XAGI"
inline constexpr std::uint64_t kXfsFreeListMagic = 0x5841464C;  ///< "XAFL", version 5 only
inline constexpr std::uint64_t kXfsNoBlock = 0xFFFFFFFF;        ///< of a group

inline constexpr Field kXfsSpaceFields[] = {
    u32("magic", 0, "0x58414746"),
    u32("version", 4, "1"),
    u32("group", 8, "number of the group"),
    u32("length", 12, "blocks of the group"),
    u32("by_place_root", 16, "tree of free runs by place: its root block"),
    u32("by_size_root", 20, "tree of free runs by size: its root block"),
    u32("owners_root", 24, "tree of owners: its root block"),
    u32("by_place_levels", 28, "levels of the tree by place"),
    u32("by_size_levels", 32, "levels of the tree by size"),
    u32("owners_levels", 36, "levels of the tree of owners"),
    u32("list_first", 40, "free list: index of the first block"),
    u32("list_last", 44, "free list: index of the last block"),
    u32("list_count", 48, "free list: blocks"),
    u32("free_blocks", 52, "free blocks in the trees"),
    u32("longest", 56, "longest free run"),
    u32("tree_blocks", 60, "blocks of the trees besides their roots"),
    bytes("uuid", 64, 16, "identifier of the volume"),
    u32("owners_blocks", 80, "blocks of the tree of owners"),
    u32("shares_blocks", 84, "blocks of the tree of shared runs"),
    u32("shares_root", 88, "tree of shared runs: its root block"),
    u32("shares_levels", 92, "levels of the tree of shared runs"),
    reserved(96, 112),
    u64("sequence", 208, "place in the log of the last change"),
    le32("sum", 216, "CRC-32C of the sector"),
    reserved(220, 4),
};
inline constexpr Structure kXfsSpace =
    structure("XFS free space of a group", "Linux fs/xfs/libxfs/xfs_format.h, struct xfs_agf", 224,
              kXfsSpaceFields);

inline constexpr Field kXfsInodesFields[] = {
    u32("magic", 0, "0x58414749"),
    u32("version", 4, "1"),
    u32("group", 8, "number of the group"),
    u32("length", 12, "blocks of the group"),
    u32("inodes", 16, "inodes in chunks"),
    u32("root", 20, "tree of chunks: its root block"),
    u32("levels", 24, "levels of the tree of chunks"),
    u32("free_inodes", 28, "free ones among the inodes"),
    u32("newest", 32, "chunk that was made last"),
    u32("newest_directory", 36, "directory that was made last"),
    array_of(64, u32("unlinked", 40, "inodes without a name that are still open, by remainder")),
    bytes("uuid", 296, 16, "identifier of the volume"),
    le32("sum", 312, "CRC-32C of the sector"),
    reserved(316, 4),
    u64("sequence", 320, "place in the log of the last change"),
    u32("free_root", 328, "tree of chunks with free inodes: its root block"),
    u32("free_levels", 332, "levels of that tree"),
    u32("tree_blocks", 336, "blocks of the tree of chunks"),
    u32("free_tree_blocks", 340, "blocks of the tree of chunks with free inodes"),
};
inline constexpr Structure kXfsInodes =
    structure("XFS inodes of a group", "Linux fs/xfs/libxfs/xfs_format.h, struct xfs_agi", 344,
              kXfsInodesFields);

/// In version 5 in front of the free list; before that the list has the whole sector.
inline constexpr Field kXfsFreeListHeadFields[] = {
    u32("magic", 0, "0x5841464C"),
    u32("group", 4, "number of the group"),
    bytes("uuid", 8, 16, "identifier of the volume"),
    u64("sequence", 24, "place in the log of the last change"),
    le32("sum", 32, "CRC-32C of the sector"),
};
inline constexpr Structure kXfsFreeListHead =
    structure("XFS free list", "Linux fs/xfs/libxfs/xfs_format.h, struct xfs_agfl", 36,
              kXfsFreeListHeadFields);
inline constexpr Field kXfsListedBlockFields[] = {u32("block", 0, "a block of the group")};
inline constexpr Structure kXfsListedBlock = structure(
    "XFS free list entry", "Linux fs/xfs/libxfs/xfs_format.h, xfs_agfl", 4, kXfsListedBlockFields);

// ---- Trees

/// Head of a block of a tree inside a group.
inline constexpr Field kXfsTreeHeadFields[] = {
    u32("magic", 0, "the kind of tree"),
    u16("level", 4, "0: leaf"),
    u16("records", 6, "records, or pointers"),
    u32("left", 8, "left neighbour, 0xFFFFFFFF: none"),
    u32("right", 12, "right neighbour, 0xFFFFFFFF: none"),
};
inline constexpr Structure kXfsTreeHead =
    structure("XFS tree block", "Linux fs/xfs/libxfs/xfs_format.h, struct xfs_btree_block", 16,
              kXfsTreeHeadFields);
inline constexpr std::uint32_t kXfsTreeHead5 = 56;  ///< bytes with checksums

/// Head of a block of a file's tree of extents.
inline constexpr Field kXfsExtentsHeadFields[] = {
    u32("magic", 0, "0x424D4150, version 5: 0x424D4133"),
    u16("level", 4, "0: leaf"),
    u16("records", 6, "records, or pointers"),
    u64("left", 8, "left neighbour, all ones: none"),
    u64("right", 16, "right neighbour, all ones: none"),
};
inline constexpr Structure kXfsExtentsHead =
    structure("XFS extent tree block", "Linux fs/xfs/libxfs/xfs_format.h, struct xfs_btree_block",
              24, kXfsExtentsHeadFields);
inline constexpr std::uint32_t kXfsExtentsHead5 = 72;  ///< bytes with checksums

/// Root of a file's tree of extents, inside the inode.
inline constexpr Field kXfsExtentsRootFields[] = {
    u16("level", 0, "levels below"),
    u16("records", 2, "pointers"),
};
inline constexpr Structure kXfsExtentsRoot =
    structure("XFS extent tree root", "Linux fs/xfs/libxfs/xfs_format.h, struct xfs_bmdr_block", 4,
              kXfsExtentsRootFields);

/// Keys and pointers of trees: all keys come first, then all pointers.
inline constexpr Field kXfsWideFields[] = {u64("value", 0, "block of a file, or block")};
inline constexpr Structure kXfsWide = structure(
    "XFS key or pointer", "Linux fs/xfs/libxfs/xfs_format.h, xfs_bmbt_key", 8, kXfsWideFields);
inline constexpr Field kXfsNarrowFields[] = {u32("value", 0, "inode or block of a group")};
inline constexpr Structure kXfsNarrow = structure(
    "XFS key or pointer", "Linux fs/xfs/libxfs/xfs_format.h, xfs_alloc_ptr_t", 4, kXfsNarrowFields);

/// 1 bit: not written yet; 54: block of the file; 52: block; 21: blocks. Across both words.
inline constexpr Field kXfsExtentFields[] = {
    u64("high", 0, "bit 63: not written yet; bits 62 to 9: block of the file; the rest: block"),
    u64("low", 8, "bits 63 to 21: lower bits of the block; bits 20 to 0: blocks"),
};
inline constexpr Structure kXfsExtent = structure(
    "XFS extent", "Linux fs/xfs/libxfs/xfs_format.h, struct xfs_bmbt_rec", 16, kXfsExtentFields);

inline constexpr std::uint64_t kXfsByPlaceMagic = 0x41425442;      ///< "ABTB"
inline constexpr std::uint64_t kXfsByPlaceMagic5 = 0x41423342;     ///< "AB3B"
inline constexpr std::uint64_t kXfsBySizeMagic = 0x41425443;       ///< "ABTC"
inline constexpr std::uint64_t kXfsBySizeMagic5 = 0x41423343;      ///< "AB3C"
inline constexpr std::uint64_t kXfsChunksMagic = 0x49414254;       ///< "IABT"
inline constexpr std::uint64_t kXfsChunksMagic5 = 0x49414233;      ///< "IAB3"
inline constexpr std::uint64_t kXfsFreeChunksMagic5 = 0x46494233;  ///< "FIB3"
inline constexpr std::uint64_t kXfsOwnersMagic5 = 0x524D4233;      ///< "RMB3"
inline constexpr std::uint64_t kXfsSharesMagic5 = 0x52334643;      ///< "R3FC"
inline constexpr std::uint64_t kXfsExtentsMagic = 0x424D4150;      ///< "BMAP"
inline constexpr std::uint64_t kXfsExtentsMagic5 = 0x424D4133;     ///< "BMA3"

inline constexpr Field kXfsFreeRunFields[] = {
    u32("start", 0, "first block of the group"),
    u32("blocks", 4, "blocks"),
};
inline constexpr Structure kXfsFreeRun = structure(
    "XFS free run", "Linux fs/xfs/libxfs/xfs_format.h, struct xfs_alloc_rec", 8, kXfsFreeRunFields);

inline constexpr std::uint64_t kXfsChunkInodes = 64;
inline constexpr Field kXfsChunkFields[] = {
    u32("first", 0, "first inode, counted in the group"),
    u32("free_count", 4, "free inodes"),
    u64("free", 8, "bit n: inode n of the chunk is free"),
};
inline constexpr Structure kXfsChunk =
    structure("XFS inode chunk", "Linux fs/xfs/libxfs/xfs_format.h, struct xfs_inobt_rec", 16,
              kXfsChunkFields);
/// The same with chunks in parts (version 5): no inodes where a bit of `holes` stands for 4.
inline constexpr Field kXfsSparseChunkFields[] = {
    u32("first", 0, "first inode, counted in the group"),
    u16("holes", 4, "bit n: the inodes from 4 n on are not there"),
    u8("count", 6, "inodes that are there"),
    u8("free_count", 7, "free inodes"),
    u64("free", 8, "bit n: inode n of the chunk is free"),
};
inline constexpr Structure kXfsSparseChunk =
    structure("XFS inode chunk in parts", "Linux fs/xfs/libxfs/xfs_format.h, struct xfs_inobt_rec",
              16, kXfsSparseChunkFields);

// ---- Inodes

inline constexpr std::uint64_t kXfsInodeMagic = 0x494E;  ///< "IN"

inline constexpr Name kXfsForkFormats[] = {{0, "device number"},
                                           {1, "inside the inode"},
                                           {2, "list of extents"},
                                           {3, "tree of extents"},
                                           {4, "identifier"}};
inline constexpr std::uint64_t kXfsForkDevice = 0;
inline constexpr std::uint64_t kXfsForkInside = 1;
inline constexpr std::uint64_t kXfsForkExtents = 2;
inline constexpr std::uint64_t kXfsForkTree = 3;

inline constexpr Field kXfsInodeFields[] = {
    u16("magic", 0, "0x494E"),
    u16("mode", 2, "type and permissions"),
    u8("version", 4, "1: 16 bits for links; 3: with checksums"),
    u8("format", 5, "how the content is stored", unit::none, kXfsForkFormats),
    u16("old_links", 6, "names, version 1"),
    u32("uid", 8, "owner"),
    u32("gid", 12, "group"),
    u32("links", 16, "names, from version 2 on"),
    u16("project", 20, "project"),
    u16("project_high", 22, "upper half of the project"),
    u64("wide_extents", 24, "extents of the content where flags2 says so"),
    s32("accessed", 32, "last access", unit::unix_time),
    u32("accessed_nanoseconds", 36, "and nanoseconds"),
    s32("modified", 40, "last change of the content", unit::unix_time),
    u32("modified_nanoseconds", 44, "and nanoseconds"),
    s32("changed", 48, "last change of the inode", unit::unix_time),
    u32("changed_nanoseconds", 52, "and nanoseconds"),
    u64("bytes", 56, "size", unit::bytes),
    u64("blocks", 64, "blocks of content and attributes"),
    u32("extent_hint", 72, "extents should have so many blocks"),
    u32("extents", 76, "extents of the content"),
    u16("attribute_extents", 80, "extents of the attributes"),
    u8("attributes_start", 82, "where the attributes start behind the core, 0: none",
       "8-byte words"),
    u8("attributes_format", 83, "how attributes are stored", unit::none, kXfsForkFormats),
    u32("event_mask", 84, "events"),
    u16("event_state", 88, "state of events"),
    u16("flags", 90, "bit 0: the content lies in the realtime part"),
    u32("generation", 92, "changes when the inode is used again"),
    u32("next_unlinked", 96, "next inode without a name"),
};
inline constexpr Structure kXfsInode = structure(
    "XFS inode", "Linux fs/xfs/libxfs/xfs_format.h, struct xfs_dinode", 100, kXfsInodeFields);

inline constexpr Field kXfsInode3Fields[] = {
    le32("sum", 0, "CRC-32C of the inode"),
    u64("changes", 4, "number of changes"),
    u64("sequence", 12, "place in the log of the last change"),
    u64("flags2", 20, "bit 3: late times; bit 4: wide counts of extents"),
    u32("copy_hint", 28, "extents of copies should have so many blocks"),
    reserved(32, 12),
    s32("created", 44, "made", unit::unix_time),
    u32("created_nanoseconds", 48, "and nanoseconds"),
    u64("number", 52, "number of the inode"),
    bytes("uuid", 60, 16, "identifier of the volume"),
};
inline constexpr Structure kXfsInode3 =
    structure("XFS inode, version 3", "Linux fs/xfs/libxfs/xfs_format.h, struct xfs_dinode", 76,
              kXfsInode3Fields);

inline constexpr std::uint64_t kXfsInRealtime = 0x1;        ///< of flags
inline constexpr std::uint64_t kXfsNewBitmap = 0x4;         ///< of flags
inline constexpr std::uint64_t kXfsLateTimes = 0x8;         ///< of flags2
inline constexpr std::uint64_t kXfsWideExtentCount = 0x10;  ///< of flags2

/// Content of a device's inode. 14 bits of the major number, 18 of the minor.
inline constexpr Field kXfsDeviceFields[] = {u32("number", 0, "major << 18 | minor")};
inline constexpr Structure kXfsDevice =
    structure("XFS device number",
              "Linux fs/xfs/libxfs/xfs_format.h, xfs_dinode_get_rdev; "
              "include/linux/kdev_t.h, sysv_encode_dev",
              4, kXfsDeviceFields);

/// In version 5 in front of each run of a symbolic link's text.
inline constexpr std::uint64_t kXfsLinkMagic5 = 0x58534C4D;  ///< "XSLM"
inline constexpr Field kXfsLinkHeadFields[] = {
    u32("magic", 0, "0x58534C4D"),
    u32("offset", 4, "where in the text", unit::bytes),
    u32("bytes", 8, "text behind this", unit::bytes),
    le32("sum", 12, "CRC-32C"),
    bytes("uuid", 16, 16, "identifier of the volume"),
    u64("owner", 32, "inode"),
    u64("place", 40, "where this lies", unit::blocks),
    u64("sequence", 48, "place in the log of the last change"),
};
inline constexpr Structure kXfsLinkHead =
    structure("XFS link text", "Linux fs/xfs/libxfs/xfs_format.h, struct xfs_dsymlink_hdr", 56,
              kXfsLinkHeadFields);

// ---- The log

inline constexpr std::uint64_t kXfsLogMagic = 0xFEEDBABE;
inline constexpr std::uint64_t kXfsLogBlock = 512;
inline constexpr std::uint64_t kXfsLogUnmount = 0x20;  ///< of `flags`

inline constexpr Field kXfsLogRecordFields[] = {
    u32("magic", 0, "0xFEEDBABE"),
    u32("cycle", 4, "times the log was written from its start"),
    u32("version", 8, "1 or 2"),
    u32("bytes", 12, "of what follows", unit::bytes),
    u64("place", 16, "cycle and block"),
    u64("tail", 24, "cycle and block of the oldest change that may not be in its place"),
    le32("sum", 32, "checksum"),
    u32("previous", 36, "block of the record before"),
    u32("operations", 40, "in this record"),
    array_of(64, u32("first_words", 44, "first words of the blocks, where cycles stand now")),
    u32("format", 300, "1: little-endian; 2 and 3: big-endian"),
    bytes("uuid", 304, 16, "identifier of the volume"),
    u32("size", 320, "of the buffer, version 2", unit::bytes),
};
inline constexpr Structure kXfsLogRecord =
    structure("XFS log record", "Linux fs/xfs/libxfs/xfs_log_format.h, struct xlog_rec_header", 324,
              kXfsLogRecordFields);

inline constexpr Field kXfsLogOperationFields[] = {
    u32("transaction", 0, "which it belongs to"),
    u32("bytes", 4, "of what follows", unit::bytes),
    u8("client", 8, "who wrote it"),
    u8("flags", 9, "0x20: the volume was left in order"),
    reserved(10, 2),
};
inline constexpr Structure kXfsLogOperation =
    structure("XFS log operation", "Linux fs/xfs/libxfs/xfs_log_format.h, struct xlog_op_header",
              12, kXfsLogOperationFields);

}  // namespace platter::filesystem
