// Structures of the Ultrix disk label, shared by the decoder and the fixture writers.
#pragma once

#include "core/layout.h"

namespace platter::label {

inline constexpr std::uint64_t kUltrixMagic = 0x00032957;
/// The last bytes of the filesystem's first 16 KiB.
inline constexpr std::uint64_t kUltrixPlace = 16384 - 72;

inline constexpr Field kUltrixEntryFields[] = {
    s32("blocks", 0, "length; 0 = not defined", unit::blocks),
    u32("first", 4, "first block of the disk", unit::blocks),
};
inline constexpr Structure kUltrixEntry = structure(
    "Ultrix label entry", "Linux block/partitions/ultrix.c, pt_info", 8, kUltrixEntryFields);

inline constexpr Field kUltrixLabelFields[] = {
    u32("magic", 0, "0x00032957"),
    s32("valid", 4, "1: the table is in force"),
    records("entry", 8, 8, kUltrixEntry, "slices a to h"),
};
inline constexpr Structure kUltrixLabel =
    structure("Ultrix disk label", "Linux block/partitions/ultrix.c, ultrix_disklabel", 72,
              kUltrixLabelFields);

}  // namespace platter::label
