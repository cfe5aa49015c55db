// Structures of the sysv68 label, shared by the decoder and the fixture writers.
#pragma once

#include <array>

#include "core/layout.h"

namespace platter::label {

/// Eight letters at 248.
inline constexpr std::array<std::uint8_t, 8> kSysv68Magic = {0x4D, 0x4F, 0x54, 0x4F,
                                                             0x52, 0x4F, 0x4C, 0x41};
/// Slices that fit the table's first sector.
inline constexpr std::uint64_t kSysv68MostSlices = 64;

// Linux block/partitions/sysv68.c, dkblk0
inline constexpr Field kSysv68LabelFields[] = {
    bytes("volume_id", 0, 248, "volume identification; a scattered 4.4BSD label may stand here"),
    bytes("magic", 248, 8, "maker's name in eight letters"),
    bytes("configuration_1", 256, 128, "drive configuration"),
    u32("table", 384, "where the slice table stands", unit::blocks),
    u16("slices", 388, "slices in the table; the last one is the whole disk"),
    bytes("configuration_2", 390, 122, "drive configuration"),
};
inline constexpr Structure kSysv68Label = structure(
    "sysv68 label", "Linux block/partitions/sysv68.c, struct dkblk0", 512, kSysv68LabelFields);

inline constexpr Field kSysv68EntryFields[] = {
    u32("blocks", 0, "length; 0 = not defined", unit::blocks),
    u32("first", 4, "first block of the disk", unit::blocks),
};
inline constexpr Structure kSysv68Entry = structure(
    "sysv68 slice", "Linux block/partitions/sysv68.c, struct slice", 8, kSysv68EntryFields);

}  // namespace platter::label
