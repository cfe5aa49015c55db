// Structures of the Minix filesystem, versions 1, 2 and 3, shared by the decoder and the writer.
#pragma once

#include "core/layout.h"

namespace platter::filesystem {

inline constexpr std::uint64_t kMinixSuperblockPlace = 1024;

inline constexpr std::uint64_t kMinixMagic1 = 0x137F;      ///< version 1, names of 14 characters
inline constexpr std::uint64_t kMinixMagic1Long = 0x138F;  ///< version 1, names of 30
inline constexpr std::uint64_t kMinixMagic2 = 0x2468;
inline constexpr std::uint64_t kMinixMagic2Long = 0x2478;
inline constexpr std::uint64_t kMinixMagic3 = 0x4D5A;  ///< version 3, names of 60

inline constexpr Field kMinixSuperFields[] = {
    u16("ninodes", 0, "inodes"),
    u16("nzones", 2, "zones of a version 1 volume"),
    u16("imap_blocks", 4, "blocks of the inode map"),
    u16("zmap_blocks", 6, "blocks of the zone map"),
    u16("first_data_zone", 8, "first zone for files"),
    u16("log_zone_size", 10, "a zone is a block << this"),
    u32("max_size", 12, "largest file", unit::bytes),
    u16("magic", 16, "0x137F, 0x138F, 0x2468 or 0x2478"),
    u16("state", 18, "1 clean, 2 errors; unused in the oldest systems"),
    u32("zones", 20, "zones of a version 2 volume"),
};
inline constexpr Structure kMinixSuper = structure(
    "Minix superblock", "linux/minix_fs.h, struct minix_super_block", 24, kMinixSuperFields);

inline constexpr Field kMinixSuper3Fields[] = {
    u32("ninodes", 0, "inodes"),
    reserved(4, 2),
    u16("imap_blocks", 6, "blocks of the inode map"),
    u16("zmap_blocks", 8, "blocks of the zone map"),
    u16("first_data_zone", 10, "first zone for files; 0: to be computed"),
    u16("log_zone_size", 12, "a zone is a block << this"),
    reserved(14, 2),
    u32("max_size", 16, "largest file", unit::bytes),
    u32("zones", 20, "zones"),
    u16("magic", 24, "0x4D5A"),
    reserved(26, 2),
    u16("block_bytes", 28, "block", unit::bytes),
    u8("disk_version", 30, "sub-version"),
    reserved(31, 1),
};
inline constexpr Structure kMinixSuper3 =
    structure("Minix superblock, version 3", "linux/minix_fs.h, struct minix3_super_block", 32,
              kMinixSuper3Fields);

inline constexpr Field kMinixInode1Fields[] = {
    u16("mode", 0, "type and permissions"),
    u16("uid", 2, "user"),
    u32("size", 4, "size", unit::bytes),
    u32("mtime", 8, "last change", unit::unix_time),
    u8("gid", 12, "group"),
    u8("links", 13, "names"),
    array_of(9, u16("zone", 14, "7 zones, then blocks of pointers one and two deep")),
};
inline constexpr Structure kMinixInode1 = structure(
    "Minix inode, version 1", "linux/minix_fs.h, struct minix_inode", 32, kMinixInode1Fields);

inline constexpr Field kMinixInode2Fields[] = {
    u16("mode", 0, "type and permissions"),
    u16("links", 2, "names"),
    u16("uid", 4, "user"),
    u16("gid", 6, "group"),
    u32("size", 8, "size", unit::bytes),
    u32("atime", 12, "last access", unit::unix_time),
    u32("mtime", 16, "last change of the content", unit::unix_time),
    u32("ctime", 20, "last change of the inode", unit::unix_time),
    array_of(10, u32("zone", 24, "7 zones, then blocks of pointers one, two and three deep")),
};
inline constexpr Structure kMinixInode2 = structure(
    "Minix inode, version 2", "linux/minix_fs.h, struct minix2_inode", 64, kMinixInode2Fields);

// Directory entries: an inode and a name that is filled up with NULs.
inline constexpr Field kMinixEntry14Fields[] = {u16("inode", 0, "inode; 0: free"),
                                                bytes("name", 2, 14, "name")};
inline constexpr Structure kMinixEntry14 =
    structure("Minix directory entry of 16 bytes", "linux/minix_fs.h, struct minix_dir_entry", 16,
              kMinixEntry14Fields);
inline constexpr Field kMinixEntry30Fields[] = {u16("inode", 0, "inode; 0: free"),
                                                bytes("name", 2, 30, "name")};
inline constexpr Structure kMinixEntry30 =
    structure("Minix directory entry of 32 bytes", "linux/minix_fs.h, struct minix_dir_entry", 32,
              kMinixEntry30Fields);
inline constexpr Field kMinixEntry60Fields[] = {u32("inode", 0, "inode; 0: free"),
                                                bytes("name", 4, 60, "name")};
inline constexpr Structure kMinixEntry60 =
    structure("Minix directory entry of 64 bytes", "linux/minix_fs.h, struct minix3_dir_entry", 64,
              kMinixEntry60Fields);

}  // namespace platter::filesystem
