// What the kernel's drivers show in their own way, each with the place where they do so.
#pragma once

#include "kernel/images.h"

namespace platter::test {

/// Times before 1970 as large numbers: the 32 bits are taken as unsigned. Linux fs/sysv/inode.c,
/// fs/efs/inode.c, fs/minix/inode.c, fs/bfs/inode.c.
[[nodiscard]] DriverHabit unsigned_times();

/// A hole is read as zeros, and the kernel's log says that no extent was found for it. Linux
/// fs/efs/inode.c, efs_map_block.
[[nodiscard]] DriverHabit holes_logged();

/// Device numbers come from the first 32 bits of an address: in UFS2 of a big-endian machine these
/// are the upper half of 64, so that all are 0. Linux fs/ufs/util.c, ufs_get_inode_dev.
[[nodiscard]] DriverHabit upper_half_devices();

/// A symbolic link inside an inode has 59 bytes at most. Linux fs/ufs/inode.c, ufs1_read_inode.
[[nodiscard]] DriverHabit links_cut();

/// Device numbers have 16 bits, and a clean byte of 0x17 is not known. Linux fs/ufs/util.c,
/// ufs_get_inode_dev, and fs/ufs/super.c.
[[nodiscard]] DriverHabit low_device_bits();

/// The directory of those that lie too deep is shown, besides where they belong: the driver hides
/// entries that are marked RE and nothing else (Linux fs/isofs/rock.c, get_rock_ridge_filename).
[[nodiscard]] DriverHabit moved_shown();

/// Device numbers are split after 12 bits, as inside the kernel, and not after 8. Linux
/// fs/hfsplus/inode.c, hfsplus_cat_read_inode.
[[nodiscard]] DriverHabit kernel_device_split();

/// Resource forks are not listed. Linux fs/hfs/dir.c, hfs_readdir; fs/hfsplus/dir.c,
/// hfsplus_readdir.
[[nodiscard]] DriverHabit data_forks_only();

/// Files of an ISO 9660 volume without Rock Ridge under map=off: identifiers as they stand, with
/// the version. Linux fs/isofs/dir.c, do_isofs_readdir.
[[nodiscard]] DriverHabit versions_shown();

/// The driver tells once that it will not know version 4 for ever. Linux fs/xfs/xfs_super.c,
/// xfs_fs_fill_super.
[[nodiscard]] DriverHabit version_warned();

}  // namespace platter::test
