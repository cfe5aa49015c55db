// On-disk structures of the Extent File System, shared by the reader and the fixture writer. All
// numbers are big-endian; a basic block (bb) has 512 bytes.
//
// Sources: NetBSD sys/fs/efs/efs_sb.h, efs_dinode.h, efs_dir.h, efs_extent.h; Linux fs/efs.
#pragma once

#include "core/layout.h"

namespace platter::filesystem {

inline constexpr std::uint64_t kEfsBlock = 512;
inline constexpr std::uint64_t kEfsSuperblockPlace = 512;
inline constexpr std::uint32_t kEfsMagic = 0x00072959;
inline constexpr std::uint32_t kEfsGrownMagic = 0x0007295A;
inline constexpr std::uint64_t kEfsBitmapBlock = 2;  ///< unless the superblock says otherwise
inline constexpr std::uint64_t kEfsRootInode = 2;
inline constexpr std::uint64_t kEfsFirstFileInode = 2;         ///< 0 and 1 are never used
inline constexpr std::uint64_t kEfsLargestVolume = 0x1000000;  ///< bb
inline constexpr std::uint32_t kEfsDirectExtents = 12;
inline constexpr std::uint32_t kEfsLongestExtent = 248;  ///< bb
inline constexpr std::uint32_t kEfsInlineText = 96;      ///< of a short symbolic link
inline constexpr std::uint32_t kEfsDirectoryMagic = 0xBEEF;
inline constexpr std::uint32_t kEfsMostSlots = 72;

inline constexpr Field kEfsSuperblockFields[] = {
    s32("size", 0, "whole volume", unit::blocks),
    s32("firstcg", 4, "first group", unit::blocks),
    s32("cgfsize", 8, "a group", unit::blocks),
    s16("cgisize", 12, "inodes at the start of a group", unit::blocks),
    s16("sectors", 14, "sectors in a track"),
    s16("heads", 16, "heads"),
    s16("ncg", 18, "groups"),
    s16("dirty", 20, "0: clean"),
    reserved(22, 2),
    s32("time", 24, "last change of the superblock", unit::unix_time),
    u32("magic", 28, "0x00072959, or 0x0007295A since release 3.3"),
    text("fname", 32, 6, "filesystem name"),
    text("fpack", 38, 6, "pack name"),
    s32("bmsize", 44, "bitmap", unit::bytes),
    s32("tfree", 48, "free data blocks", unit::blocks),
    s32("tinode", 52, "free inodes"),
    s32("bmblock", 56, "place of the bitmap of a grown volume; 0: block 2", unit::blocks),
    s32("replsb", 60, "copy of the superblock; 0: none", unit::blocks),
    s32("lastialloc", 64, "last inode that was allocated"),
    reserved(68, 20),
    u32("checksum", 88, "of the 88 bytes before"),
};
inline constexpr Structure kEfsSuperblock =
    structure("EFS superblock", "efs_sb.h, struct efs_sb", 92, kEfsSuperblockFields);

inline constexpr Field kEfsExtentFields[] = {
    u8("magic", 0, "0"),
    u24("block", 1, "first block", unit::blocks),
    u8("length", 4, "length", unit::blocks),
    u24("offset", 5, "place in the file; of the first indirect one: how many there are",
        unit::blocks),
};
inline constexpr Structure kEfsExtent =
    structure("EFS extent", "efs_extent.h, struct efs_dextent", 8, kEfsExtentFields);

inline constexpr Field kEfsInodeFields[] = {
    u16("mode", 0, "type and permissions; 0: free"),
    u16("nlink", 2, "names"),
    u16("uid", 4, "owner"),
    u16("gid", 6, "group"),
    s32("size", 8, "size", unit::bytes),
    u32("atime", 12, "last access", unit::unix_time),
    u32("mtime", 16, "last change of the content", unit::unix_time),
    u32("ctime", 20, "last change of the inode", unit::unix_time),
    u32("generation", 24, "counted up when the inode is used again"),
    s16("numextents", 28, "extents; more than 12: those below are indirect"),
    u8("version", 30, "version"),
    u8("spare", 31, "unused"),
    records("extents", 32, kEfsDirectExtents, kEfsExtent, "extents, or text, or a device"),
};
inline constexpr Structure kEfsInode =
    structure("EFS inode", "efs_dinode.h, struct efs_dinode", 128, kEfsInodeFields);

inline constexpr Field kEfsDeviceFields[] = {
    u16("old", 0, "major and minor, 8 bits each; 0xFFFF: see new"),
    reserved(2, 2),
    u32("new", 4, "major and minor, 14 and 18 bits"),
};
/// A device number in the place of an inode's first extent.
inline constexpr Structure kEfsDevice =
    structure("EFS device", "Linux fs/efs/efs.h, struct efs_devs", 8, kEfsDeviceFields);

inline constexpr Field kEfsDirectoryFields[] = {
    u16("magic", 0, "0xBEEF"),
    u8("firstused", 2, "half the offset of the lowest entry"),
    u8("slots", 3, "offsets that follow"),
    bytes("space", 4, 508, "halved offsets from the front, entries from the back"),
};
inline constexpr Structure kEfsDirectory =
    structure("EFS directory block", "efs_dir.h, struct efs_dirblk", 512, kEfsDirectoryFields);

inline constexpr Field kEfsEntryFields[] = {
    u32("inode", 0, "inode"),
    u8("namelen", 4, "length of the name that follows", unit::bytes),
};
/// The fixed part of a directory entry.
inline constexpr Structure kEfsEntry =
    structure("EFS directory entry", "efs_dir.h, struct efs_dirent", 5, kEfsEntryFields);

}  // namespace platter::filesystem
