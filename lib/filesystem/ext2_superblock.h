// Superblock of ext2 and its successors, shared by the decoder and the tests.
#pragma once

#include "core/layout.h"

namespace platter::filesystem {

inline constexpr std::uint64_t kExt2Magic = 0xEF53;
inline constexpr std::uint64_t kExt2SuperblockPlace = 1024;

inline constexpr Name kExt2Creators[] = {
    {0, "Linux"}, {1, "Hurd"}, {2, "Masix"}, {3, "FreeBSD"}, {4, "Lites"}};
inline constexpr Name kExt2ErrorRules[] = {{1, "go on"}, {2, "remount read-only"}, {3, "panic"}};

// Feature bits that decide something here.
inline constexpr std::uint64_t kExt2CompatJournal = 0x4;
inline constexpr std::uint64_t kExt2CompatAttributes = 0x8;
inline constexpr std::uint64_t kExt2CompatSparse2 = 0x200;
inline constexpr std::uint64_t kExt2IncompatCompression = 0x1;
inline constexpr std::uint64_t kExt2IncompatTypes = 0x2;
inline constexpr std::uint64_t kExt2IncompatRecovery = 0x4;
inline constexpr std::uint64_t kExt2IncompatJournalDevice = 0x8;
inline constexpr std::uint64_t kExt2IncompatMetaGroups = 0x10;
inline constexpr std::uint64_t kExt2IncompatExtents = 0x40;
inline constexpr std::uint64_t kExt2Incompat64Bit = 0x80;
inline constexpr std::uint64_t kExt2IncompatMountProtection = 0x100;
inline constexpr std::uint64_t kExt2IncompatFlexible = 0x200;
inline constexpr std::uint64_t kExt2IncompatValueInodes = 0x400;
inline constexpr std::uint64_t kExt2IncompatEncryption = 0x10000;
/// Those with which files can be listed: compression, types, recovery, meta groups, extents, 64-bit
/// numbers, multiple mount protection, flexible groups, attributes in inodes of their own, a
/// checksum seed, large directories, content in inodes, encryption, folded names.
inline constexpr std::uint64_t kExt2IncompatKnown = 0x3E7D7;
inline constexpr std::uint64_t kExt2ReadOnlyDescriptorSums = 0x10;
inline constexpr std::uint64_t kExt2ReadOnlySums = 0x400;
inline constexpr std::uint64_t kExt2ReadOnlySparse = 0x1;
inline constexpr std::uint64_t kExt2ReadOnlyLargeFiles = 0x2;
inline constexpr std::uint64_t kExt2ReadOnlyTrees = 0x4;
inline constexpr std::uint64_t kExt2ReadOnlyClusters = 0x200;

inline constexpr Field kExt2SuperblockFields[] = {
    u32("inodes_count", 0, "inodes"),
    u32("blocks_count", 4, "blocks, lower half"),
    u32("r_blocks_count", 8, "blocks kept back, lower half"),
    u32("free_blocks_count", 12, "free blocks, lower half"),
    u32("free_inodes_count", 16, "free inodes"),
    u32("first_data_block", 20, "block of the superblock in use"),
    u32("log_block_size", 24, "block size is 1024 << this"),
    u32("log_cluster_size", 28, "fragment, later cluster size is 1024 << this"),
    u32("blocks_per_group", 32, "blocks in a group"),
    u32("clusters_per_group", 36, "fragments, later clusters in a group"),
    u32("inodes_per_group", 40, "inodes in a group"),
    u32("mtime", 44, "last mount", unit::unix_time),
    u32("wtime", 48, "last write", unit::unix_time),
    u16("mnt_count", 52, "mounts since the last check"),
    s16("max_mnt_count", 54, "mounts until a check is due"),
    u16("magic", 56, "0xEF53"),
    u16("state", 58, "1 clean, 2 errors, 4 orphans are being recovered"),
    u16("errors", 60, "what to do on errors", unit::none, kExt2ErrorRules),
    u16("minor_rev_level", 62, "minor revision"),
    u32("lastcheck", 64, "last check", unit::unix_time),
    u32("checkinterval", 68, "time between checks", unit::seconds),
    u32("creator_os", 72, "system that made it", unit::none, kExt2Creators),
    u32("rev_level", 76, "revision: 0, or 1 with the fields from 84 on"),
    u16("def_resuid", 80, "user who may use the blocks kept back"),
    u16("def_resgid", 82, "group that may use the blocks kept back"),
    u32("first_ino", 84, "first inode for files"),
    u16("inode_size", 88, "inode", unit::bytes),
    u16("block_group_nr", 90, "group that holds this copy"),
    u32("feature_compat", 92, "features that may be ignored"),
    u32("feature_incompat", 96, "features that must be known"),
    u32("feature_ro_compat", 100, "features that must be known for writing"),
    bytes("uuid", 104, 16, "identifier"),
    text("volume_name", 120, 16, "volume name"),
    text("last_mounted", 136, 64, "where it was last mounted"),
    u32("algorithm_usage_bitmap", 200, "compression methods in use"),
    u8("prealloc_blocks", 204, "blocks to allocate ahead for files"),
    u8("prealloc_dir_blocks", 205, "blocks to allocate ahead for directories"),
    u16("reserved_gdt_blocks", 206, "descriptor blocks kept for growth, a group"),
    bytes("journal_uuid", 208, 16, "identifier of the journal"),
    u32("journal_inum", 224, "inode of the journal"),
    u32("journal_dev", 228, "device of the journal"),
    u32("last_orphan", 232, "first inode that is to be deleted"),
    array_of(4, u32("hash_seed", 236, "seed of directory hashes")),
    u8("def_hash_version", 252, "directory hash"),
    u8("jnl_backup_type", 253, "what jnl_blocks holds"),
    u16("desc_size", 254, "group descriptor (64-bit feature)", unit::bytes),
    u32("default_mount_opts", 256, "mount options"),
    u32("first_meta_bg", 260, "first meta block group"),
    u32("mkfs_time", 264, "creation", unit::unix_time),
    array_of(17, u32("jnl_blocks", 268, "copy of the journal's inode")),
    u32("blocks_count_hi", 336, "blocks, upper half"),
    u32("r_blocks_count_hi", 340, "blocks kept back, upper half"),
    u32("free_blocks_hi", 344, "free blocks, upper half"),
    u16("min_extra_isize", 348, "all inodes have so many more bytes", unit::bytes),
    u16("want_extra_isize", 350, "new inodes get so many more bytes", unit::bytes),
    u32("flags", 352, "flags"),
    u16("raid_stride", 356, "stride"),
    u16("mmp_update_interval", 358, "multiple mount protection", unit::seconds),
    u64("mmp_block", 360, "multiple mount protection"),
    u32("raid_stripe_width", 368, "stripe"),
    u8("log_groups_per_flex", 372, "flexible groups: 1 << this"),
    u8("checksum_type", 373, "1: CRC32C"),
    reserved(374, 2),
    u64("kbytes_written", 376, "KiB written in its life"),
    reserved(384, 128, "snapshots and error records of later kernels"),
    text("mount_opts", 512, 64, "mount options as text"),
    u32("usr_quota_inum", 576, "inode of the user quotas"),
    u32("grp_quota_inum", 580, "inode of the group quotas"),
    u32("overhead_clusters", 584, "blocks or clusters of the volume's own records"),
    array_of(2, u32("backup_bgs", 588, "groups with copies (sparse_super2 feature)")),
    reserved(596, 20, "encryption"),
    u32("lpf_ino", 616, "inode of lost+found"),
    u32("prj_quota_inum", 620, "inode of the project quotas"),
    reserved(624, 16, "checksum seed, upper parts of times, encoding of names"),
    u32("orphan_file_inum", 640, "inode of the file that lists orphans"),
    reserved(644, 376, "later kernels"),
    u32("checksum", 1020, "CRC32C of the superblock (metadata checksum feature)"),
};
inline constexpr Structure kExt2Superblock =
    structure("ext2 superblock", "e2fsprogs ext2fs/ext2_fs.h, struct ext2_super_block", 1024,
              kExt2SuperblockFields);

}  // namespace platter::filesystem
