// Structures of the Atari root sector (AHDI, with the entries of ICD drivers), shared by the
// decoder and the fixture writers.
#pragma once

#include "core/layout.h"

namespace platter::label {

inline constexpr std::uint64_t kAtariBootSum = 0x1234;

// Linux block/partitions/atari.h, struct partition_info
inline constexpr Field kAtariEntryFields[] = {
    u8("flags", 0, "bit 0: in use, bit 7: can be started from"),
    text("id", 1, 3, "what the slice holds, in three letters"),
    u32("first", 4, "first sector; what it counts from depends on the table", unit::blocks),
    u32("blocks", 8, "length", unit::blocks),
};
inline constexpr Structure kAtariEntry = structure(
    "Atari entry", "Linux block/partitions/atari.h, struct partition_info", 12, kAtariEntryFields);

// Linux block/partitions/atari.h, struct rootsector
inline constexpr Field kAtariRootFields[] = {
    bytes("boot_code", 0, 342, "start-up code"),
    records("icd_entry", 342, 8, kAtariEntry, "more slices, as ICD drivers have them"),
    reserved(438, 12),
    u32("disk_blocks", 450, "length of the disk", unit::blocks),
    records("entry", 454, 4, kAtariEntry, "the table"),
    u32("bad_first", 502, "first sector of the list of bad sectors", unit::blocks),
    u32("bad_blocks", 506, "its length", unit::blocks),
    u16("checksum", 510, "makes the sum of all 256 words 0x1234 when the sector can be started"),
};
inline constexpr Structure kAtariRoot =
    structure("Atari root sector", "Linux block/partitions/atari.h, struct rootsector", 512,
              kAtariRootFields);

}  // namespace platter::label
