// Superblock of VxFS; its byte order is the machine's.
#pragma once

#include "core/layout.h"

namespace platter::filesystem {

inline constexpr std::uint64_t kVxfsMagic = 0xA501FCF5;

inline constexpr Field kVxfsSuperblockFields[] = {
    u32("magic", 0, "0xA501FCF5"),
    u32("version", 4, "version of the layout"),
    u32("created", 8, "creation", unit::unix_time),
    u32("created_microseconds", 12, "and microseconds"),
    reserved(16, 8),
    u32("old_log_start", 24, "log, version 1"),
    u32("old_log_end", 28, "end of the log, version 1"),
    u32("block_bytes", 32, "block", unit::bytes),
    u32("blocks", 36, "blocks of the volume"),
    u32("data_blocks", 40, "blocks for data"),
    u32("old_inodes", 44, "inodes, version 1"),
    u32("old_units", 48, "allocation units, version 1"),
    reserved(52, 4),
    u32("old_extent_blocks", 56, "default extent, version 1"),
    u32("old_inode_list_blocks", 60, "inode list block, version 1"),
    u32("immediate_bytes", 64, "data that an inode can hold", unit::bytes),
    u32("direct_extents", 68, "extents that an inode can hold"),
    u32("first_unit", 72, "first allocation unit"),
    array_of(10, u32("unit_layout", 76, "maps and lists within allocation units")),
    u32("indirect_entries", 116, "entries of an indirect block"),
    u32("unit_blocks", 120, "blocks in an allocation unit"),
    array_of(4, u32("unit_parts", 124, "lengths of an allocation unit's parts")),
    u32("unit_data_blocks", 140, "data blocks in an allocation unit"),
    u32("unit_data_log", 144, "unit_data_blocks is 2 to this"),
    u32("inodes_per_block", 148, "inodes in a block"),
    array_of(3, u32("old_inode_numbers", 152, "inodes in units, version 1")),
    u32("indirect_bytes", 164, "indirect extent"),
    u32("block_log", 168, "block_bytes is 2 to this"),
    u32("inodes_log", 172, "inodes_per_block is 2 to this"),
    u32("block_mask", 176, "ones above the bits of an offset within a block"),
    u32("offset_mask", 180, "block_bytes - 1"),
    u32("old_inode_mask", 184, "version 1"),
    u32("checksum", 188, "checksum of the fields before"),
    u32("free_blocks", 192, "free blocks"),
    u32("free_inodes", 196, "free inodes"),
    array_of(32, u32("free_extents", 200, "free extents by size")),
    u32("flags", 328, "flags"),
    u8("changed", 332, "not 0: changed since it was checked"),
    u8("clean", 333, "state when it was unmounted"),
    reserved(334, 2),
    u32("first_log_id", 336, "log id of the mount"),
    u32("modified", 340, "last write", unit::unix_time),
    u32("modified_microseconds", 344, "and microseconds"),
    text("name", 348, 6, "name of the filesystem"),
    text("volume_name", 354, 6, "name of the volume"),
    u32("log_version", 360, "version of the log"),
    reserved(364, 4),
};
inline constexpr Structure kVxfsSuperblock = structure(
    "VxFS superblock", "Linux fs/freevxfs/vxfs.h, struct vxfs_sb", 368, kVxfsSuperblockFields);

}  // namespace platter::filesystem
