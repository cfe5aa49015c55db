// On-disk structures of XFS directories, shared by the reader and the fixture writer. All numbers
// are big-endian. See xfs_structures.h for sources.
#pragma once

#include "core/layout.h"

namespace platter::filesystem {

// ---- Second form

inline constexpr std::uint64_t kXfsBlockMagic = 0x58443242;   ///< "XD2B": names and their index
inline constexpr std::uint64_t kXfsDataMagic = 0x58443244;    ///< "XD2D": names
inline constexpr std::uint64_t kXfsFreeMagic = 0x58443246;    ///< "XD2F": index of free space
inline constexpr std::uint64_t kXfsBlockMagic5 = 0x58444233;  ///< "XDB3"
inline constexpr std::uint64_t kXfsDataMagic5 = 0x58444433;   ///< "XDD3"
inline constexpr std::uint64_t kXfsLeafOneMagic = 0xD2F1;     ///< the only block of the index
inline constexpr std::uint64_t kXfsLeafMagic = 0xD2FF;        ///< one of several
inline constexpr std::uint64_t kXfsNodeMagic = 0xFEBE;        ///< leads to others; first form too
/// Where in the directory's own bytes the index and the free space stand.
inline constexpr std::uint64_t kXfsIndexPlace = std::uint64_t{1} << 35U;
inline constexpr std::uint64_t kXfsFreePlace = std::uint64_t{2} << 35U;
inline constexpr std::uint64_t kXfsEntryUnit = 8;  ///< entries start at multiples of it

/// The second form inside an inode. The parent's number has 4 bytes, or 8 when any number has.
inline constexpr Field kXfsShortHeadFields[] = {
    u8("entries", 0, "names"),
    u8("wide_entries", 1, "numbers that need 8 bytes; 0: all have 4"),
    u32("parent", 2, "inode of the directory above"),
};
inline constexpr Structure kXfsShortHead =
    structure("XFS short directory", "Linux fs/xfs/libxfs/xfs_da_format.h, struct xfs_dir2_sf_hdr",
              6, kXfsShortHeadFields);
/// Then the name, its type in one byte where names have one, and the inode.
inline constexpr Field kXfsShortEntryFields[] = {
    u8("name_bytes", 0, "length of the name"),
    u16("offset", 1, "where the entry would stand in a block"),
};
inline constexpr Structure kXfsShortEntry = structure(
    "XFS short directory entry", "Linux fs/xfs/libxfs/xfs_da_format.h, struct xfs_dir2_sf_entry", 3,
    kXfsShortEntryFields);

inline constexpr Field kXfsFreePieceFields[] = {
    u16("offset", 0, "in the block"),
    u16("bytes", 2, "length"),
};
inline constexpr Structure kXfsFreePiece =
    structure("XFS free piece", "Linux fs/xfs/libxfs/xfs_da_format.h, struct xfs_dir2_data_free", 4,
              kXfsFreePieceFields);
inline constexpr Field kXfsDataHeadFields[] = {
    u32("magic", 0, "0x58443244; with an index: 0x58443242"),
    records("free", 4, 3, kXfsFreePiece, "the longest free pieces"),
};
inline constexpr Structure kXfsDataHead = structure(
    "XFS directory block", "Linux fs/xfs/libxfs/xfs_da_format.h, struct xfs_dir2_data_hdr", 16,
    kXfsDataHeadFields);
inline constexpr std::uint32_t kXfsDataHead5 = 64;  ///< bytes with checksums

/// Then the name, its type in one byte where names have one, and in the last two bytes of the
/// rounded length the offset of the entry.
inline constexpr Field kXfsEntryFields[] = {
    u64("inode", 0, "where it leads"),
    u8("name_bytes", 8, "length of the name"),
};
inline constexpr Structure kXfsEntry = structure(
    "XFS directory entry", "Linux fs/xfs/libxfs/xfs_da_format.h, struct xfs_dir2_data_entry", 9,
    kXfsEntryFields);
inline constexpr std::uint64_t kXfsUnusedTag = 0xFFFF;
inline constexpr Field kXfsUnusedFields[] = {
    u16("tag", 0, "0xFFFF"),
    u16("bytes", 2, "length"),
};
inline constexpr Structure kXfsUnused = structure(
    "XFS unused directory entry",
    "Linux fs/xfs/libxfs/xfs_da_format.h, struct xfs_dir2_data_unused", 4, kXfsUnusedFields);
/// At the end of entries and unused pieces.
inline constexpr Field kXfsEntryTagFields[] = {u16("offset", 0, "where the entry starts")};
inline constexpr Structure kXfsEntryTag = structure(
    "XFS directory entry tag", "Linux fs/xfs/libxfs/xfs_da_format.h", 2, kXfsEntryTagFields);

inline constexpr Field kXfsHashFields[] = {
    u32("hash", 0, "of the name"),
    u32("address", 4, "of the entry in the directory; 0: unused", "8-byte units"),
};
inline constexpr Structure kXfsHash =
    structure("XFS directory index entry",
              "Linux fs/xfs/libxfs/xfs_da_format.h, struct xfs_dir2_leaf_entry", 8, kXfsHashFields);
/// At the end of a block that has an index; the index stands in front of it.
inline constexpr Field kXfsBlockTailFields[] = {
    u32("entries", 0, "of the index"),
    u32("stale", 4, "unused ones among them"),
};
inline constexpr Structure kXfsBlockTail = structure(
    "XFS directory block tail", "Linux fs/xfs/libxfs/xfs_dir2_priv.h, struct xfs_dir2_block_tail",
    8, kXfsBlockTailFields);

/// Head of a block of the index, in both forms of directories.
inline constexpr Field kXfsIndexHeadFields[] = {
    u32("right", 0, "right neighbour, block of the directory; 0: none"),
    u32("left", 4, "left neighbour"),
    u16("magic", 8, "kind of block"),
    reserved(10, 2),
    u16("entries", 12, "in this block"),
    u16("stale_or_level", 14, "leaves: unused entries; others: levels below"),
};
inline constexpr Structure kXfsIndexHead = structure(
    "XFS directory index", "Linux fs/xfs/libxfs/xfs_da_format.h, struct xfs_dir2_leaf_hdr", 16,
    kXfsIndexHeadFields);
inline constexpr Field kXfsNodeEntryFields[] = {
    u32("hash", 0, "largest below"),
    u32("block", 4, "of the directory"),
};
inline constexpr Structure kXfsNodeEntry = structure(
    "XFS directory index pointer", "Linux fs/xfs/libxfs/xfs_da_format.h, struct xfs_da_node_entry",
    8, kXfsNodeEntryFields);
inline constexpr Field kXfsFreeHeadFields[] = {
    u32("magic", 0, "0x58443246"),
    u32("first", 4, "block of names that the first entry is about"),
    u32("valid", 8, "entries"),
    u32("used", 12, "entries that are not 0xFFFF"),
};
inline constexpr Structure kXfsFreeHead = structure(
    "XFS directory free space", "Linux fs/xfs/libxfs/xfs_da_format.h, struct xfs_dir2_free_hdr", 16,
    kXfsFreeHeadFields);

// ---- First form

inline constexpr std::uint64_t kXfsOldLeafMagic = 0xFEEB;

/// The first form inside an inode.
inline constexpr Field kXfsOldShortHeadFields[] = {
    u64("parent", 0, "inode of the directory above"),
    u8("entries", 8, "names"),
};
inline constexpr Structure kXfsOldShortHead =
    structure("XFS short directory, first form",
              "Linux 2.6.12 fs/xfs/xfs_dir_sf.h, struct xfs_dir_sf_hdr", 9, kXfsOldShortHeadFields);
/// Then the name. In blocks the length stands in the index instead.
inline constexpr Field kXfsOldShortEntryFields[] = {
    u64("inode", 0, "where it leads"),
    u8("name_bytes", 8, "length of the name"),
};
inline constexpr Structure kXfsOldShortEntry = structure(
    "XFS short directory entry, first form",
    "Linux 2.6.12 fs/xfs/xfs_dir_sf.h, struct xfs_dir_sf_entry", 9, kXfsOldShortEntryFields);

inline constexpr Field kXfsOldLeafFields[] = {
    u32("right", 0, "right neighbour, block of the directory; 0: none"),
    u32("left", 4, "left neighbour"),
    u16("magic", 8, "0xFEEB"),
    reserved(10, 2),
    u16("entries", 12, "in this block"),
    u16("name_bytes", 14, "of all names", unit::bytes),
    u16("first_used", 16, "first byte of the names"),
    u8("holes", 18, "not 0: names are not packed"),
    reserved(19, 1),
    records("free", 20, 3, kXfsFreePiece, "the longest free pieces"),
};
inline constexpr Structure kXfsOldLeaf =
    structure("XFS directory block, first form",
              "Linux 2.6.12 fs/xfs/xfs_dir_leaf.h, struct xfs_dir_leaf_hdr", 32, kXfsOldLeafFields);
inline constexpr Field kXfsOldHashFields[] = {
    u32("hash", 0, "of the name"),
    u16("offset", 4, "of inode and name in the block"),
    u8("name_bytes", 6, "length of the name"),
    reserved(7, 1),
};
inline constexpr Structure kXfsOldHash = structure(
    "XFS directory entry, first form",
    "Linux 2.6.12 fs/xfs/xfs_dir_leaf.h, struct xfs_dir_leaf_entry", 8, kXfsOldHashFields);
/// Inode in front of a name in a block: kXfsWide.

}  // namespace platter::filesystem
