// Structures of the boot filesystem of SVR4 systems, shared by the decoder and the writer.
#pragma once

#include "core/layout.h"

namespace platter::filesystem {

inline constexpr std::uint64_t kBfsMagic = 0x1BADFACE;
inline constexpr std::uint64_t kBfsBlock = 512;
inline constexpr std::uint64_t kBfsRoot = 2;
inline constexpr std::uint64_t kBfsIdle = 0xFFFFFFFF;  ///< no block is being moved
inline constexpr std::uint64_t kBfsFile = 1;
inline constexpr std::uint64_t kBfsDirectory = 2;

inline constexpr Field kBfsSuperFields[] = {
    u32("magic", 0, "0x1BADFACE"),
    u32("start", 4, "first byte for files", unit::bytes),
    u32("end", 8, "last byte of the volume", unit::bytes),
    u32("from", 12, "block that is moved; all ones: none"),
    u32("to", 16, "where it is moved to"),
    u32("backup_from", 20, "copy of from"),
    u32("backup_to", 24, "copy of to"),
    text("name", 28, 6, "name of the filesystem"),
    text("volume", 34, 6, "name of the volume"),
    reserved(40, 472),
};
inline constexpr Structure kBfsSuper = structure(
    "boot filesystem superblock", "linux/bfs_fs.h, struct bfs_super_block", 512, kBfsSuperFields);

inline constexpr Field kBfsInodeFields[] = {
    u16("number", 0, "its own number; 0: free"),
    reserved(2, 2),
    u32("first", 4, "first block; 0: the file is empty", unit::blocks),
    u32("last", 8, "last block", unit::blocks),
    u32("end", 12, "last byte, from the start of the volume", unit::bytes),
    u32("type", 16, "1: file, 2: directory"),
    u32("mode", 20, "permissions"),
    u32("uid", 24, "user"),
    u32("gid", 28, "group"),
    u32("links", 32, "names"),
    u32("atime", 36, "last access", unit::unix_time),
    u32("mtime", 40, "last change of the content", unit::unix_time),
    u32("ctime", 44, "last change of the inode", unit::unix_time),
    reserved(48, 16),
};
inline constexpr Structure kBfsInode =
    structure("boot filesystem inode", "linux/bfs_fs.h, struct bfs_inode", 64, kBfsInodeFields);

inline constexpr Field kBfsEntryFields[] = {u16("inode", 0, "inode; 0: free"),
                                            bytes("name", 2, 14, "name")};
inline constexpr Structure kBfsEntry = structure(
    "boot filesystem directory entry", "linux/bfs_fs.h, struct bfs_dirent", 16, kBfsEntryFields);

}  // namespace platter::filesystem
