// Superblocks of both generations of JFS.
#pragma once

#include "core/layout.h"

namespace platter::filesystem {

inline constexpr std::uint64_t kJfs1Place = 4096;
inline constexpr std::uint64_t kJfs1CopyPlace = 31 * 4096;

inline constexpr Name kJfs1States[] = {
    {0, "clean"}, {1, "mounted"}, {2, "not clean"}, {3, "log redo failed"}};

inline constexpr Field kJfs1Fields[] = {
    bytes("magic", 0, 4, "43 21 87 65, or 65 87 21 43 with fragments"),
    bytes("flags", 4, 4, "processor and type codes"),
    u32("group_fragments", 8, "fragments in an allocation group"),
    u32("log_serial", 12, "serial number of the log"),
    u32("volume_blocks", 16, "length of the volume", unit::blocks),
    u16("block_bytes", 20, "block, 4096", unit::bytes),
    reserved(22, 2),
    text("name", 24, 6, "name of the filesystem"),
    text("volume_name", 30, 6, "volume name"),
    u32("log_device", 36, "device of the log"),
    u8("state", 40, "state", unit::none, kJfs1States),
    u8("read_only", 41, "read-only"),
    reserved(42, 2),
    u32("modified", 44, "last write of the superblock", unit::unix_time),
    u32("version", 48, "0, or 1 with fragments"),
    u32("fragment_bytes", 52, "fragment (with fragments only)", unit::bytes),
    u32("group_inodes", 56, "inodes in an allocation group (with fragments only)"),
    u32("compressed", 60, "not 0: data are compressed"),
};
inline constexpr Structure kJfs1 = structure("JFS superblock, first generation",
                                             "jfs/filsys.h, struct superblock", 64, kJfs1Fields);

inline constexpr std::uint64_t kJfs2Place = 32768;

inline constexpr Field kJfs2Fields[] = {
    text("magic", 0, 4, "JFS1"),
    u32("version", 4, "1 or 2"),
    u64("volume_blocks", 8, "length of the volume in blocks of the device"),
    u32("block_bytes", 16, "block", unit::bytes),
    u16("block_log", 20, "block_bytes is 2 to this"),
    u16("factor_log", 22, "block_bytes / device_block_bytes is 2 to this"),
    u32("device_block_bytes", 24, "block of the device", unit::bytes),
    u16("device_block_log", 28, "device_block_bytes is 2 to this"),
    reserved(30, 2),
    u32("group_blocks", 32, "blocks in an allocation group"),
    u32("flags", 36, "attributes"),
    u32("state", 40, "0: clean"),
    u32("compressed", 44, "not 0: data are compressed"),
    bytes("second_inode_table", 48, 8, "extent of the second inode table"),
    bytes("second_inode_map", 56, 8, "extent of the second inode map"),
    u32("log_device", 64, "device of the log"),
    u32("log_serial", 68, "serial number of the log"),
    bytes("log_extent", 72, 8, "extent of the log"),
    bytes("check_extent", 80, 8, "work space of checks"),
    u32("modified", 88, "last change", unit::unix_time),
    u32("modified_nanoseconds", 92, "and nanoseconds"),
    u32("check_log_blocks", 96, "blocks of the log of checks"),
    u8("check_log", 100, "which log of checks is the younger one"),
    text("pack_name", 101, 11, "volume name of version 1"),
    u64("new_blocks", 112, "length while the volume is being enlarged"),
    bytes("new_check_extent", 120, 8, "work space after that"),
    bytes("new_log_extent", 128, 8, "log after that"),
    bytes("uuid", 136, 16, "identifier"),
    text("volume_name", 152, 16, "volume name"),
    bytes("log_uuid", 168, 16, "identifier of the log"),
};
inline constexpr Structure kJfs2 = structure("JFS superblock, second generation",
                                             "Linux fs/jfs/jfs_superblock.h", 184, kJfs2Fields);

}  // namespace platter::filesystem
