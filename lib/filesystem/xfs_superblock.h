// Superblock of XFS. All numbers are big-endian.
#pragma once

#include "core/layout.h"

namespace platter::filesystem {

inline constexpr std::uint64_t kXfsMagic = 0x58465342;  ///< "XFSB"

inline constexpr Field kXfsSuperblockFields[] = {
    u32("magic", 0, "0x58465342"),
    u32("block_bytes", 4, "block", unit::bytes),
    u64("data_blocks", 8, "blocks of the data part"),
    u64("realtime_blocks", 16, "blocks of the realtime part"),
    u64("realtime_extents", 24, "extents of the realtime part"),
    bytes("uuid", 32, 16, "identifier"),
    u64("log_start", 48, "first block of the log, 0: on a device of its own"),
    u64("root_inode", 56, "inode of the root directory"),
    u64("realtime_bitmap_inode", 64, "inode of the realtime bitmap"),
    u64("realtime_summary_inode", 72, "inode of the realtime summary"),
    u32("realtime_extent_blocks", 80, "blocks in a realtime extent"),
    u32("group_blocks", 84, "blocks in an allocation group"),
    u32("groups", 88, "allocation groups"),
    u32("realtime_bitmap_blocks", 92, "blocks of the realtime bitmap"),
    u32("log_blocks", 96, "blocks of the log"),
    u16("version", 100, "bits 0 to 3: version; the others: features"),
    u16("sector_bytes", 102, "sector", unit::bytes),
    u16("inode_bytes", 104, "inode", unit::bytes),
    u16("inodes_per_block", 106, "inodes in a block"),
    text("volume_name", 108, 12, "volume name"),
    u8("block_log", 120, "block_bytes is 2 to this"),
    u8("sector_log", 121, "sector_bytes is 2 to this"),
    u8("inode_log", 122, "inode_bytes is 2 to this"),
    u8("inodes_log", 123, "inodes_per_block is 2 to this"),
    u8("group_log", 124, "group_blocks is at most 2 to this"),
    u8("realtime_log", 125, "realtime extents: 2 to this"),
    u8("in_progress", 126, "not 0: mkfs did not finish"),
    u8("inode_percent", 127, "most space for inodes", unit::percent),
    u64("inodes", 128, "allocated inodes"),
    u64("free_inodes", 136, "free ones of these"),
    u64("free_blocks", 144, "free data blocks"),
    u64("free_realtime_extents", 152, "free realtime extents"),
    u64("user_quota_inode", 160, "inode of user quotas"),
    u64("group_quota_inode", 168, "inode of group quotas"),
    u16("quota_flags", 176, "quota flags"),
    u8("flags", 178, "bit 0: read-only"),
    u8("shared_version", 179, "0"),
    u32("inode_alignment", 180, "alignment of inode chunks"),
    u32("stripe_unit", 184, "stripe unit"),
    u32("stripe_width", 188, "stripe width"),
    u8("directory_log", 192, "a directory block is 2 to this blocks"),
    u8("log_sector_log", 193, "log_sector_bytes is 2 to this"),
    u16("log_sector_bytes", 194, "sector of the log", unit::bytes),
    u32("log_unit", 196, "stripe unit of the log", unit::bytes),
    u32("more_features", 200, "features"),
    u32("more_features_misplaced", 204, "a copy of more_features"),
};
inline constexpr Structure kXfsSuperblock =
    structure("XFS superblock", "Linux fs/xfs/libxfs/xfs_format.h, struct xfs_dsb", 208,
              kXfsSuperblockFields);

/// What follows in version 5.
inline constexpr Field kXfsSuperblock5Fields[] = {
    u32("features_compatible", 0, "features that a reader need not know"),
    u32("features_read_only", 4, "features that a writer must know"),
    u32("features_incompatible", 8, "features that a reader must know"),
    u32("features_log", 12, "features of the log"),
    le32("sum", 16, "CRC-32C of the superblock's sector"),
    u32("sparse_alignment", 20, "alignment of inode chunks in parts"),
    u64("project_quota_inode", 24, "inode of project quotas"),
    u64("sequence", 32, "place in the log of the last change"),
    bytes("metadata_uuid", 40, 16, "identifier in other records, when it is another one"),
};
inline constexpr Structure kXfsSuperblock5 =
    structure("XFS superblock, version 5", "Linux fs/xfs/libxfs/xfs_format.h, struct xfs_dsb", 56,
              kXfsSuperblock5Fields);

// Bits of `version`.
inline constexpr std::uint64_t kXfsVersionMask = 0xF;
inline constexpr std::uint64_t kXfsNumbers = 4;  ///< the version from which on bits tell features
inline constexpr std::uint64_t kXfsChecksums = 5;
inline constexpr std::uint64_t kXfsAttributes = 0x10;
inline constexpr std::uint64_t kXfsWideLinks = 0x20;
inline constexpr std::uint64_t kXfsQuotas = 0x40;
inline constexpr std::uint64_t kXfsAlignment = 0x80;
inline constexpr std::uint64_t kXfsLog2 = 0x400;
inline constexpr std::uint64_t kXfsUnwritten = 0x1000;
inline constexpr std::uint64_t kXfsDirectory2 = 0x2000;
inline constexpr std::uint64_t kXfsMoreFeatures = 0x8000;
// Bits of `more_features`.
inline constexpr std::uint64_t kXfsLazyCounts = 0x2;
inline constexpr std::uint64_t kXfsMovingAttributes = 0x8;
inline constexpr std::uint64_t kXfsTypesInNames = 0x200;
// Bits of `features_incompatible`.
inline constexpr std::uint64_t kXfsIncompatTypes = 0x1;
inline constexpr std::uint64_t kXfsIncompatSparseChunks = 0x2;
inline constexpr std::uint64_t kXfsIncompatLateTimes = 0x8;
inline constexpr std::uint64_t kXfsIncompatNeedsRepair = 0x10;
inline constexpr std::uint64_t kXfsIncompatKnown = 0x3F;  ///< metadata uuid, wide extent counts

/// An inode number that stands for none.
inline constexpr std::uint64_t kXfsNoInode = 0xFFFFFFFFFFFFFFFF;

}  // namespace platter::filesystem
