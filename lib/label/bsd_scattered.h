// The 4.4BSD label as the mvme ports write it: its fields stand between those of the volume
// identification and the drive configuration that the machine's firmware reads.
#pragma once

#include <optional>

#include "core/claim.h"
#include "label/bsd_label.h"

namespace platter::label {

inline constexpr std::uint64_t kScatteredMostSlices = 16;

// NetBSD sys/arch/mvme68k/include/disklabel.h, struct cpu_disklabel, up to the checksum
inline constexpr Field kScatteredFront68Fields[] = {
    bytes("volume_id", 0, 36, "volume identification, for the firmware"),
    u16("slices", 36, "number of entries"),
    text("type_name", 38, 16, "name of the drive type"),
    u32("boot_bytes", 54, "size of the boot area", unit::bytes),
    u32("magic", 58, "0x82564557"),
    u16("drive_type", 62, "kind of drive", unit::none, kBsdDriveTypes),
    u16("drive_subtype", 64, "depends on the kind"),
    text("pack_name", 66, 16, "name of the pack"),
    u32("flags", 82, "1 removable, 2 ECC, 4 bad-sector table, 8 RAM disk"),
    bytes("drive_data", 86, 20, "depends on the kind of drive"),
    bytes("spare", 106, 20, "reserved"),
    u16("checksum", 126, "of the label before it was scattered"),
};
inline constexpr Structure kScatteredFront68 =
    structure("scattered 4.4BSD label, front", "NetBSD sys/arch/mvme68k/include/disklabel.h", 128,
              kScatteredFront68Fields);

// OpenBSD sys/arch/mvme88k/include/disklabel.h: a version in front, so the rest comes two bytes
// later
inline constexpr Field kScatteredFront88Fields[] = {
    bytes("volume_id", 0, 34, "volume identification, for the firmware"),
    u16("version", 34, "version of the label"),
    u16("checksum", 36, "of the label before it was scattered"),
    u16("slices", 38, "number of entries"),
    text("type_name", 40, 16, "name of the drive type"),
    u32("boot_bytes", 56, "size of the boot area", unit::bytes),
    u32("magic", 60, "0x82564557"),
    u16("drive_type", 64, "kind of drive", unit::none, kBsdDriveTypes),
    u16("drive_subtype", 66, "depends on the kind"),
    text("pack_name", 68, 16, "name of the pack"),
    u32("flags", 84, "1 removable, 2 ECC, 4 bad-sector table, 8 RAM disk"),
    bytes("drive_data", 88, 20, "depends on the kind of drive"),
    bytes("spare", 108, 20, "reserved"),
};
inline constexpr Structure kScatteredFront88 =
    structure("scattered 4.4BSD label, front", "OpenBSD sys/arch/mvme88k/include/disklabel.h", 128,
              kScatteredFront88Fields);

// The same on both; offsets count from byte 128 of the sector.
inline constexpr Field kScatteredRearFields[] = {
    u32("sectors_per_cylinder", 0, "data sectors per cylinder", unit::label_sectors),
    u32("sectors_per_unit", 4, "data sectors of the unit", unit::label_sectors),
    u32("head_switch", 8, "head switch time", unit::microseconds),
    reserved(12, 12, "volume identification"),
    records("entry_low", 24, 4, kBsdEntry, "slices a to d"),
    reserved(88, 28, "volume identification"),
    u32("superblock_bytes", 116, "largest superblock", unit::bytes),
    bytes("maker", 120, 8, "maker's name in eight letters"),
    reserved(128, 10, "drive configuration"),
    u16("block_bytes", 138, "block size of the firmware, 256", unit::bytes),
    u16("spares_per_track", 140, "spare sectors per track", unit::label_sectors),
    u16("spares_per_cylinder", 142, "spare sectors per cylinder", unit::label_sectors),
    u32("alternate_cylinders", 144, "alternate cylinders", unit::cylinders),
    u16("rpm", 148, "rotation speed", unit::rpm),
    u16("cylinder_skew", 150, "skew from cylinder to cylinder", unit::label_sectors),
    u8("sectors_per_track", 152, "sectors per track", unit::label_sectors),
    u8("tracks", 153, "tracks per cylinder", unit::tracks),
    u16("cylinders", 154, "data cylinders", unit::cylinders),
    u8("interleave", 156, "interleave"),
    u8("track_skew", 157, "skew from track to track", unit::label_sectors),
    u16("sector_bytes", 158, "bytes per label sector", unit::bytes),
    reserved(160, 28, "drive configuration"),
    u32("magic2", 188, "0x82564557 again"),
    records("entry_high", 192, 12, kBsdEntry, "slices e to p"),
};
inline constexpr Structure kScatteredRear =
    structure("scattered 4.4BSD label, rear", "NetBSD sys/arch/mvme68k/include/disklabel.h", 384,
              kScatteredRearFields);

/// The label at the start of the view, if one stands there. It has no checksum that could be
/// verified: the system computes it anew after it has put the fields together.
[[nodiscard]] std::optional<Claim> scattered_bsd_claim(const View& view);

/// Whether a sector has the magics of such a label; a label of another kind may share it.
[[nodiscard]] bool is_scattered_bsd(const View& view);

}  // namespace platter::label
