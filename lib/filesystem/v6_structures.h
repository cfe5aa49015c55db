// On-disk structures of the Sixth Edition filesystem. Numbers are 16-bit little-endian words; long
// values have the high word first (PDP-11 order).
//
// Source: Sixth Edition manual, section V, file system (V) and directory (V).
#pragma once

#include "core/layout.h"

namespace platter::filesystem {

inline constexpr std::uint64_t kV6Block = 512;
inline constexpr std::uint64_t kV6SuperblockPlace = 512;
inline constexpr std::uint64_t kV6InodeListBlock = 2;
inline constexpr std::uint64_t kV6RootInode = 1;
inline constexpr std::uint32_t kV6Addresses = 8;

// Bits of the mode word.
inline constexpr std::uint32_t kV6Allocated = 0100000;
inline constexpr std::uint32_t kV6TypeMask = 0060000;
inline constexpr std::uint32_t kV6Directory = 0040000;
inline constexpr std::uint32_t kV6CharDevice = 0020000;
inline constexpr std::uint32_t kV6BlockDevice = 0060000;
inline constexpr std::uint32_t kV6Large = 0010000;
inline constexpr std::uint32_t kV6Permissions = 07777;

inline constexpr Field kV6SuperblockFields[] = {
    u16("isize", 0, "inode list", unit::blocks),
    u16("fsize", 2, "whole volume", unit::blocks),
    u16("nfree", 4, "numbers in free"),
    array_of(100, u16("free", 6, "some free blocks; the first leads to more")),
    u16("ninode", 206, "numbers in inode"),
    array_of(100, u16("inode", 208, "some free inodes")),
    u8("flock", 408, "lock of the free list"),
    u8("ilock", 409, "lock of the inode list"),
    u8("fmod", 410, "the superblock was changed in memory"),
    u8("ronly", 411, "mounted read-only"),
    s32("time", 412, "last change", unit::unix_time),
};
inline constexpr Structure kV6Superblock =
    structure("V6 superblock", "6th Edition manual, file system (V)", 416, kV6SuperblockFields);

inline constexpr Field kV6ChainFields[] = {
    u16("nfree", 0, "numbers in free"),
    array_of(100, u16("free", 2, "free blocks; the first leads to more"))};
inline constexpr Structure kV6Chain =
    structure("V6 free list block", "6th Edition manual, file system (V)", 202, kV6ChainFields);

inline constexpr Field kV6InodeFields[] = {
    u16("mode", 0, "allocated, type, large and permissions"),
    u8("nlink", 2, "names"),
    u8("uid", 3, "owner"),
    u8("gid", 4, "group"),
    u8("size_high", 5, "size, bits 23 to 16"),
    u16("size_low", 6, "size, bits 15 to 0", unit::bytes),
    array_of(kV6Addresses, u16("address", 8, "blocks, or indirect blocks of a large file; device")),
    s32("atime", 24, "last access", unit::unix_time),
    s32("mtime", 28, "last change", unit::unix_time),
};
inline constexpr Structure kV6Inode =
    structure("V6 inode", "6th Edition manual, file system (V)", 32, kV6InodeFields);

}  // namespace platter::filesystem
