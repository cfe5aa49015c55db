// Structures of the Solaris label of i386 machines, shared by the decoder and the fixture writers.
#pragma once

#include "core/layout.h"
#include "label/sun_label.h"

namespace platter::label {

/// From the start of the MBR slice.
inline constexpr std::uint64_t kSolarisX86Place = 512;
inline constexpr std::uint64_t kSolarisX86Slots = 16;

inline constexpr Field kSolarisX86EntryFields[] = {
    u16("tag", 0, "what the slice is for", unit::none, kSunTags),
    u16("flag", 2, "0x01 not mountable, 0x10 read-only"),
    u32("first", 4, "first sector, from the start of the MBR slice", unit::sectors),
    u32("sectors", 8, "length; 0 = not defined", unit::sectors),
};
inline constexpr Structure kSolarisX86Entry = structure(
    "Solaris-x86 entry", "illumos sys/vtoc.h, struct partition", 12, kSolarisX86EntryFields);

// illumos usr/src/uts/common/sys/dklabel.h, struct dk_label as compiled for one-level disks
inline constexpr Field kSolarisX86LabelFields[] = {
    array_of(3, u32("bootinfo", 0, "not used")),
    u32("sanity", 12, "0x600DDEEE"),
    u32("version", 16, "1"),
    text("volume_name", 20, 8, "volume name"),
    u16("sector_bytes", 28, "bytes per sector", unit::bytes),
    u16("slices", 30, "number of slices"),
    reserved(32, 40),
    records("slice", 72, 16, kSolarisX86Entry, "the table"),
    array_of(16, u32("timestamp", 264, "last use of each slice", unit::unix_time)),
    text("ascii_label", 328, 128, "drive name and geometry in words"),
    u32("pcyl", 456, "physical cylinders", unit::cylinders),
    u32("ncyl", 460, "data cylinders", unit::cylinders),
    u16("acyl", 464, "alternate cylinders behind the data cylinders", unit::cylinders),
    u16("bcyl", 466, "offset of cylinders"),
    u32("nhead", 468, "heads", unit::heads),
    u32("nsect", 472, "sectors per track", unit::sectors),
    u16("intrlv", 476, "interleave"),
    u16("skew", 478, "skew"),
    u16("apc", 480, "alternate sectors per cylinder", unit::sectors),
    u16("rpm", 482, "rotation speed", unit::rpm),
    u16("write_reinstruct", 484, "sectors to skip on writes", unit::sectors),
    u16("read_reinstruct", 486, "sectors to skip on reads", unit::sectors),
    reserved(488, 8),
    reserved(496, 12),
    u16("magic", 508, "0xDABE"),
    u16("checksum", 510, "makes the exclusive-or of all 256 words 0"),
};
inline constexpr Structure kSolarisX86Label =
    structure("Solaris-x86 label", "illumos sys/dklabel.h, struct dk_label (i386)", 512,
              kSolarisX86LabelFields);

}  // namespace platter::label
