// Structures of the fast file system behind its superblock: group block, inode, directory entry.
#pragma once

#include "core/field_list.h"
#include "core/layout.h"
#include "filesystem/ffs_superblock.h"

namespace platter::filesystem {

inline constexpr std::uint64_t kFfsGroupMagic = 0x00090255;
inline constexpr std::uint64_t kFfsRootInode = 2;
inline constexpr std::uint64_t kFfsDirectBlocks = 12;
inline constexpr std::uint64_t kFfsInodeBytes = 128;
inline constexpr std::uint64_t kUfs2InodeBytes = 256;
/// Inode flag of 4.3BSD's and dialect V's line: the link's text stands over the addresses.
inline constexpr std::uint64_t kFfsFastLinkFlag = 1;
/// Inode flag of the 4.4BSD line: a snapshot, where addresses 1 and 2 stand for no block.
inline constexpr std::uint64_t kFfsSnapshotFlag = 0x00200000;
/// Types of the SVR4 line for inodes without a name: a list of access rights, and a directory of
/// extended attributes. The attributes in it are files with the flag.
inline constexpr std::uint32_t kFfsAccessListType = 0130000;
inline constexpr std::uint32_t kFfsAttributeDirectoryType = 0160000;
inline constexpr std::uint64_t kFfsAttributeFlag = 1;
/// Type of an entry that hides a name of a lower layer (4.4BSD); its inode number is 1.
inline constexpr std::uint64_t kFfsWhiteout = 14;

inline constexpr FieldList kFfsGroupCountFields = {
    s32("time", 0, "last write", unit::unix_time),
    u32("cgx", 4, "number of the group"),
    u16("ncyl", 8, "cylinders in this group", unit::cylinders),
    u16("niblk", 10, "inodes in this group"),
    u32("ndblk", 12, "this group", unit::fragments),
    records("summary", 16, 1, kFfsSummary, "this group's counts"),
    u32("rotor", 32, "block used last", unit::fragments),
    u32("frotor", 36, "fragment used last", unit::fragments),
    u32("irotor", 40, "inode used last"),
    array_of(8, u32("frsum", 44, "free runs of 0 to 7 fragments in partly used blocks")),
};

// The maps follow behind, at the offsets that the block names.
inline constexpr FieldList kFfsGroupFields = {
    u32("link", 0, "meaningful in memory only"),
    u32("magic", 4, "0x00090255"),
    at(8, kFfsGroupCountFields),
    u32("btotoff", 84, "free blocks of each cylinder", unit::bytes),
    u32("boff", 88, "free blocks of each rotational position", unit::bytes),
    u32("iusedoff", 92, "map of used inodes", unit::bytes),
    u32("freeoff", 96, "map of free fragments", unit::bytes),
    u32("nextfreeoff", 100, "first byte not in use", unit::bytes),
    u32("clustersumoff", 104, "counts of free clusters (4.4BSD)", unit::bytes),
    u32("clusteroff", 108, "map of free clusters (4.4BSD)", unit::bytes),
    u32("nclusterblks", 112, "blocks in that map (4.4BSD)"),
    u32("wide_niblk", 116, "inodes in this group (UFS2)"),
    u32("initediblk", 120, "inodes that were ever written (UFS2)"),
    reserved(124, 12),
    s64("wide_time", 136, "last write (UFS2)", unit::unix_time),
    reserved(144, 24),
};
inline constexpr Structure kFfsGroup =
    structure("FFS group block", "NetBSD sys/ufs/ffs/fs.h, struct cg", 168, kFfsGroupFields);

// 4.2BSD and 4.3BSD: everything at fixed places; the map of free fragments follows behind.
inline constexpr FieldList kFfsOldGroupFields = {
    u32("link", 0, "meaningful in memory only"),
    u32("rlink", 4, "meaningful in memory only"),
    at(8, kFfsGroupCountFields),
    array_of(32, u32("btot", 84, "free blocks of each cylinder")),
    array_of(256, u16("b", 212, "free blocks of 8 rotational positions in 32 cylinders")),
    bytes("iused", 724, 256, "map of used inodes"),
    u32("magic", 980, "0x00090255"),
};
inline constexpr Structure kFfsOldGroup = structure(
    "FFS group block, old form", "NetBSD sys/ufs/ffs/fs.h, struct ocg", 984, kFfsOldGroupFields);

inline constexpr Field kFfsInodeFields[] = {
    u16("mode", 0, "type and permissions"),
    s16("nlink", 2, "names of this file"),
    u16("uid", 4, "owner; 65535: see the wide field (SVR4 line)"),
    u16("gid", 6, "group; 65535: see the wide field (SVR4 line)"),
    u64("size", 8, "length", unit::bytes),
    s32("atime", 16, "last access", unit::unix_time),
    u32("atime_parts", 20, "nanoseconds (4.4BSD) or microseconds (SVR4 line) of it"),
    s32("mtime", 24, "last change of the content", unit::unix_time),
    u32("mtime_parts", 28, "nanoseconds (4.4BSD) or microseconds (SVR4 line) of it"),
    s32("ctime", 32, "last change of the inode", unit::unix_time),
    u32("ctime_parts", 36, "nanoseconds (4.4BSD) or microseconds (SVR4 line) of it"),
    array_of(12, u32("direct", 40, "first twelve blocks", unit::fragments)),
    array_of(3, u32("indirect", 88, "blocks of addresses, one to three levels", unit::fragments)),
    u32("flags", 100, "flags"),
    u32("blocks", 104, "space that is held", unit::blocks),
    u32("generation", 108, "generation"),
    array_of(4, u32("wide_ids", 112,
                    "4.4BSD: owner, group; SVR4 line: access list, owner, group, flag")),
};
inline constexpr Structure kFfsInode =
    structure("FFS inode", "NetBSD sys/ufs/ufs/dinode.h, struct ufs1_dinode", 128, kFfsInodeFields);

inline constexpr Field kUfs2InodeFields[] = {
    u16("mode", 0, "type and permissions"),
    s16("nlink", 2, "names of this file"),
    u32("uid", 4, "owner"),
    u32("gid", 8, "group"),
    u32("blksize", 12, "block of this file; not used", unit::bytes),
    u64("size", 16, "length", unit::bytes),
    u64("blocks", 24, "space that is held", unit::blocks),
    s64("atime", 32, "last access", unit::unix_time),
    s64("mtime", 40, "last change of the content", unit::unix_time),
    s64("ctime", 48, "last change of the inode", unit::unix_time),
    s64("birthtime", 56, "creation", unit::unix_time),
    u32("mtime_parts", 64, "nanoseconds of mtime"),
    u32("atime_parts", 68, "nanoseconds of atime"),
    u32("ctime_parts", 72, "nanoseconds of ctime"),
    u32("birthtime_parts", 76, "nanoseconds of birthtime"),
    u32("generation", 80, "generation"),
    u32("kernel_flags", 84, "flags of the kernel"),
    u32("flags", 88, "flags"),
    u32("extsize", 92, "length of the extended attributes", unit::bytes),
    array_of(2, u64("extended", 96, "blocks of the extended attributes", unit::fragments)),
    array_of(12, u64("direct", 112, "first twelve blocks", unit::fragments)),
    array_of(3, u64("indirect", 208, "blocks of addresses, one to three levels", unit::fragments)),
    reserved(232, 24),
};
inline constexpr Structure kUfs2Inode = structure(
    "UFS2 inode", "NetBSD sys/ufs/ufs/dinode.h, struct ufs2_dinode", 256, kUfs2InodeFields);

// The fixed part; the name follows, ended by a NUL and padded to a multiple of four bytes.
inline constexpr Field kFfsEntryFields[] = {
    u32("inode", 0, "0 = not in use"),
    u16("reclen", 4, "length of the entry", unit::bytes),
    u8("type", 6, "type of the file (mode >> 12)"),
    u8("namlen", 7, "length of the name", unit::bytes),
};
inline constexpr Structure kFfsEntry =
    structure("FFS directory entry", "NetBSD sys/ufs/ufs/dir.h, struct direct", 8, kFfsEntryFields);

inline constexpr Field kFfsOldEntryFields[] = {
    u32("inode", 0, "0 = not in use"),
    u16("reclen", 4, "length of the entry", unit::bytes),
    u16("namlen", 6, "length of the name", unit::bytes),
};
inline constexpr Structure kFfsOldEntry = structure(
    "FFS directory entry, old form", "4.3BSD sys/dir.h, struct direct", 8, kFfsOldEntryFields);

// The log of the SVR4 line: a block of extents that the superblock names. Places and lengths count
// blocks of 512 bytes.
inline constexpr Field kFfsLogFields[] = {
    u32("type", 0, "0"),
    u32("checksum", 4, "sum of the block's 32-bit words without this one"),
    u32("extents", 8, "extents behind this"),
    u32("log_bytes", 12, "the whole log", unit::bytes),
    u32("next", 16, "the next such block; not used"),
};
inline constexpr Structure kFfsLog =
    structure("FFS log allocation", "illumos usr/src/uts/common/sys/fs/ufs_log.h, extent_block", 20,
              kFfsLogFields);

inline constexpr Field kFfsLogExtentFields[] = {
    u32("logical", 0, "block of the log", unit::blocks),
    u32("first", 4, "block of the volume", unit::blocks),
    u32("count", 8, "length", unit::blocks),
};
inline constexpr Structure kFfsLogExtent =
    structure("FFS log extent", "illumos usr/src/uts/common/sys/fs/ufs_log.h, extent", 12,
              kFfsLogExtentFields);

}  // namespace platter::filesystem
