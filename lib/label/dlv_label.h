// Structures of the dlV label, versions 1 to 3, shared by the decoder and the fixture writers.
#pragma once

#include <array>

#include "core/layout.h"

namespace platter::label {

inline constexpr std::uint64_t kDlv1 = 0x4E655854;
inline constexpr std::uint64_t kDlv2 = 0x646C5632;
inline constexpr std::uint64_t kDlv3 = 0x646C5633;
inline constexpr std::uint64_t kDlvNotInitialised = 0x80000000;

inline constexpr Name kDlvVersions[] = {
    {kDlv1, "version 1"}, {kDlv2, "version 2"}, {kDlv3, "version 3"}};

// The structures are packed as m68k compilers do it, to 2 bytes.
inline constexpr Field kDlvEntryFields[] = {
    s32("base", 0, "first sector behind the front porch; -1: unused", unit::label_sectors),
    s32("sectors", 4, "length; not above 0: unused", unit::label_sectors),
    s16("block_bytes", 8, "filesystem block size", unit::bytes),
    s16("fragment_bytes", 10, "filesystem fragment size", unit::bytes),
    text("optimisation", 12, 1, "s: for space, t: for time"),
    reserved(13, 1, "alignment"),
    s16("cylinders_per_group", 14, "cylinders per group", unit::cylinders),
    s16("density", 16, "bytes per inode", unit::bytes),
    s8("min_free", 18, "space kept free", unit::percent),
    u8("newfs", 19, "1: make the filesystem when the disk is initialised"),
    text("mount_point", 20, 16, "usual mount point"),
    u8("automount", 36, "1: mount when inserted"),
    text("type", 37, 8, "what the slice holds, in words"),
    reserved(45, 1, "alignment"),
};
inline constexpr Structure kDlvEntry = structure(
    "dlV label entry", "Darwin bsd/sys/disktab.h, struct partition; NetBSD sys/sys/bootblock.h", 46,
    kDlvEntryFields);

// What all versions have in common.
inline constexpr Field kDlvHeadFields[] = {
    u32("version", 0, "magic and version", unit::none, kDlvVersions),
    s32("block", 4, "device block that this copy stands on"),
    s32("sectors", 8, "size of the medium; often 0", unit::label_sectors),
    text("label", 12, 24, "volume name"),
    u32("flags", 36, "0x80000000: not initialised"),
    u32("tag", 40, "volume tag, a time stamp"),
    text("drive_name", 44, 24, "name of the drive"),
    text("drive_type", 68, 24, "kind of the drive, e.g. fixed_rw_scsi"),
    s32("sector_bytes", 92, "bytes per label sector", unit::bytes),
    s32("tracks", 96, "tracks per cylinder", unit::tracks),
    s32("sectors_per_track", 100, "sectors per track", unit::label_sectors),
    s32("cylinders", 104, "cylinders", unit::cylinders),
    s32("rpm", 108, "rotation speed", unit::rpm),
    s16("front_porch", 112, "sectors before the first slice", unit::label_sectors),
    s16("back_porch", 114, "sectors behind the last slice", unit::label_sectors),
    s16("groups", 116, "groups with alternates"),
    s16("group_sectors", 118, "size of a group", unit::label_sectors),
    s16("group_alternates", 120, "alternates per group", unit::label_sectors),
    s16("group_offset", 122, "first alternate in a group", unit::label_sectors),
    array_of(2, s32("boot_block", 124, "start of the boot program; -1: none", unit::label_sectors)),
    text("bootfile", 132, 24, "kernel to load"),
    text("host_name", 156, 32, "host that labelled the disk"),
    text("root_slice", 188, 1, "letter of the root slice"),
    text("rw_slice", 189, 1, "letter of the slice to write to"),
    records("entry", 190, 8, kDlvEntry, "slices a to h"),
};
inline constexpr Structure kDlvHead = structure(
    "dlV label head", "Darwin bsd/dev/disk_label.h and bsd/sys/disktab.h", 558, kDlvHeadFields);

inline constexpr Field kDlvShortFields[] = {
    records("head", 0, 1, kDlvHead, "common part"),
    u16("checksum", 558, "folded sum of the words before it"),
};
inline constexpr Structure kDlvShort =
    structure("dlV label, version 3", "Darwin bsd/dev/disk_label.h", 560, kDlvShortFields);

inline constexpr Field kDlvLongFields[] = {
    records("head", 0, 1, kDlvHead, "common part"),
    array_of(1670, s32("bad", 558, "number of a bad block")),
    u16("checksum", 7238, "folded sum of the words before it"),
};
inline constexpr Structure kDlvLong =
    structure("dlV label, version 1 or 2", "Darwin bsd/dev/disk_label.h", 7240, kDlvLongFields);

/// Device block sizes that decide where the copies stand: copy n starts at block
/// n * ceil(7240 / block size).
inline constexpr std::array<std::uint64_t, 3> kDlvDeviceBlocks = {512, 1024, 2048};
inline constexpr std::uint64_t kDlvCopies = 4;
[[nodiscard]] constexpr std::uint64_t dlv_copy_at(std::uint64_t copy,
                                                  std::uint64_t device_block) noexcept {
  return copy * ((kDlvLong.bytes + device_block - 1) / device_block) * device_block;
}

}  // namespace platter::label
