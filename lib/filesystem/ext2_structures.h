// Group descriptors, inodes, directory entries and extent trees of ext2 and its successors, shared
// by the decoder and the tests.
#pragma once

#include "core/layout.h"

namespace platter::filesystem {

inline constexpr Field kExt2GroupFields[] = {
    u32("block_bitmap", 0, "block of the block bitmap, lower half"),
    u32("inode_bitmap", 4, "block of the inode bitmap, lower half"),
    u32("inode_table", 8, "first block of the inode table, lower half"),
    u16("free_blocks", 12, "free blocks or clusters, lower half"),
    u16("free_inodes", 14, "free inodes, lower half"),
    u16("used_dirs", 16, "directories, lower half"),
    u16("flags", 18, "1: inode bitmap not written yet, 2: block bitmap, 4: inode table is zero"),
    u32("exclude_bitmap", 20, "snapshots"),
    u16("block_bitmap_csum", 24, "checksum"),
    u16("inode_bitmap_csum", 26, "checksum"),
    u16("itable_unused", 28, "inodes at the table's end that were never used, lower half"),
    u16("checksum", 30, "checksum of the descriptor"),
};
inline constexpr Structure kExt2Group =
    structure("ext2 group descriptor", "e2fsprogs ext2fs/ext2_fs.h, struct ext2_group_desc", 32,
              kExt2GroupFields);

inline constexpr Field kExt2GroupUpperFields[] = {
    u32("block_bitmap_hi", 0, "block of the block bitmap, upper half"),
    u32("inode_bitmap_hi", 4, "block of the inode bitmap, upper half"),
    u32("inode_table_hi", 8, "first block of the inode table, upper half"),
    u16("free_blocks_hi", 12, "free blocks or clusters, upper half"),
    u16("free_inodes_hi", 14, "free inodes, upper half"),
    u16("used_dirs_hi", 16, "directories, upper half"),
    u16("itable_unused_hi", 18, "inodes never used, upper half"),
    u32("exclude_bitmap_hi", 20, "snapshots"),
    u16("block_bitmap_csum_hi", 24, "checksum"),
    u16("inode_bitmap_csum_hi", 26, "checksum"),
    reserved(28, 4),
};
inline constexpr Structure kExt2GroupUpper =
    structure("ext2 group descriptor, second half",
              "e2fsprogs ext2fs/ext2_fs.h, struct ext4_group_desc", 32, kExt2GroupUpperFields);

// Flags of a group: what was not written yet is as a new group has it.
inline constexpr std::uint64_t kExt2GroupNoInodeBitmap = 1;
inline constexpr std::uint64_t kExt2GroupNoBlockBitmap = 2;

inline constexpr Field kExt2InodeFields[] = {
    u16("mode", 0, "type and permissions"),
    u16("uid", 2, "user, lower half"),
    u32("size", 4, "size, lower half", unit::bytes),
    s32("atime", 8, "last access", unit::unix_time),
    s32("ctime", 12, "last change of the inode", unit::unix_time),
    s32("mtime", 16, "last change of the content", unit::unix_time),
    u32("dtime", 20, "deletion", unit::unix_time),
    u16("gid", 24, "group, lower half"),
    u16("links", 26, "names"),
    u32("blocks", 28, "space taken, lower half", unit::blocks),
    u32("flags", 32, "flags"),
    u32("os1", 36, "for the system that made it: version, or the block of a Hurd translator"),
    array_of(15, u32("block", 40, "12 blocks, then blocks of pointers one, two and three deep")),
    u32("generation", 100, "generation"),
    u32("file_acl", 104, "block of extended attributes, lower half"),
    u32("size_high", 108, "size of a file, upper half"),
    u32("fragment", 112, "fragments were never used"),
    u16("blocks_high", 116, "space taken, upper half"),
    u16("file_acl_high", 118, "block of extended attributes, upper half"),
    u16("uid_high", 120, "user, upper half"),
    u16("gid_high", 122, "group, upper half"),
    u16("checksum", 124, "checksum, lower half"),
    reserved(126, 2),
};
inline constexpr Structure kExt2Inode =
    structure("ext2 inode", "e2fsprogs ext2fs/ext2_fs.h, struct ext2_inode", 128, kExt2InodeFields);

inline constexpr Field kExt2InodeExtraFields[] = {
    u16("extra_isize", 0, "how much of this is in use", unit::bytes),
    u16("checksum_hi", 2, "checksum, upper half"),
    u32("ctime_extra", 4, "nanoseconds << 2, and seconds >> 32"),
    u32("mtime_extra", 8, "nanoseconds << 2, and seconds >> 32"),
    u32("atime_extra", 12, "nanoseconds << 2, and seconds >> 32"),
    s32("crtime", 16, "creation", unit::unix_time),
    u32("crtime_extra", 20, "nanoseconds << 2, and seconds >> 32"),
    u32("version_hi", 24, "version, upper half"),
    u32("projid", 28, "project"),
};
inline constexpr Structure kExt2InodeExtra =
    structure("ext2 inode, second part", "e2fsprogs ext2fs/ext2_fs.h, struct ext2_inode_large", 32,
              kExt2InodeExtraFields);

// Flags of an inode that decide something here.
inline constexpr std::uint64_t kExt2InodeCompressed = 0x4;
inline constexpr std::uint64_t kExt2InodeEncrypted = 0x800;
inline constexpr std::uint64_t kExt2InodeExtents = 0x80000;
/// The inode holds the value of an extended attribute.
inline constexpr std::uint64_t kExt2InodeValue = 0x200000;
inline constexpr std::uint64_t kExt2InodeInline = 0x10000000;

inline constexpr Field kExt2EntryFields[] = {
    u32("inode", 0, "inode; 0 for none"),
    u16("rec_len", 4, "from here to the next entry", unit::bytes),
    u8("name_len", 6, "length of the name", unit::bytes),
    u8("type", 7, "type, or the upper half of the length"),
};
inline constexpr Structure kExt2Entry =
    structure("ext2 directory entry", "e2fsprogs ext2fs/ext2_fs.h, struct ext2_dir_entry_2", 8,
              kExt2EntryFields);

inline constexpr std::uint64_t kExt2ExtentMagic = 0xF30A;

inline constexpr Field kExt2ExtentHeaderFields[] = {
    u16("magic", 0, "0xF30A"),
    u16("entries", 2, "entries in use"),
    u16("max", 4, "entries that have room"),
    u16("depth", 6, "levels below; 0: the entries are extents"),
    u32("generation", 8, "generation"),
};
inline constexpr Structure kExt2ExtentHeader =
    structure("ext4 extent node", "e2fsprogs ext2fs/ext3_extents.h, struct ext3_extent_header", 12,
              kExt2ExtentHeaderFields);

inline constexpr Field kExt2ExtentFields[] = {
    u32("block", 0, "first block of the file"),
    u16("len", 4, "blocks; above 32768: not written yet, 32768 less"),
    u16("start_hi", 6, "block on the volume, upper half"),
    u32("start", 8, "block on the volume, lower half"),
};
inline constexpr Structure kExt2Extent = structure(
    "ext4 extent", "e2fsprogs ext2fs/ext3_extents.h, struct ext3_extent", 12, kExt2ExtentFields);

inline constexpr Field kExt2ExtentIndexFields[] = {
    u32("block", 0, "first block of the file below"),
    u32("leaf", 4, "node below, lower half"),
    u16("leaf_hi", 8, "node below, upper half"),
    reserved(10, 2),
};
inline constexpr Structure kExt2ExtentIndex =
    structure("ext4 extent index", "e2fsprogs ext2fs/ext3_extents.h, struct ext3_extent_idx", 12,
              kExt2ExtentIndexFields);

inline constexpr std::uint64_t kExt2AttributeMagic = 0xEA020000;
inline constexpr std::uint64_t kExt2OldAttributeMagic = 0xEA010000;

inline constexpr Field kExt2AttributeBlockFields[] = {
    u32("magic", 0, "0xEA020000"),        u32("refcount", 4, "inodes that name the block"),
    u32("blocks", 8, "blocks in use; 1"), u32("hash", 12, "hash of all attributes"),
    u32("checksum", 16, "checksum"),      reserved(20, 12),
};
inline constexpr Structure kExt2AttributeBlock = structure(
    "ext2 block of extended attributes",
    "e2fsprogs ext2fs/ext2_ext_attr.h, struct ext2_ext_attr_header", 32, kExt2AttributeBlockFields);

inline constexpr Field kExt2AttributeFields[] = {
    u8("name_len", 0, "length of the name behind it", unit::bytes),
    u8("name_index", 1, "what stands before the name; 7: \"system.\""),
    u16("value_offs", 2, "value, from the first entry", unit::bytes),
    u32("value_inum", 4, "inode that holds the value"),
    u32("value_size", 8, "value", unit::bytes),
    u32("hash", 12, "hash of name and value"),
};
inline constexpr Structure kExt2Attribute =
    structure("ext2 extended attribute", "e2fsprogs ext2fs/ext2_ext_attr.h, ext2_ext_attr_entry",
              16, kExt2AttributeFields);

}  // namespace platter::filesystem
