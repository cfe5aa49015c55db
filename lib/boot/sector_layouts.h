// Boot sectors of alpha, vax and pmax machines, shared by the decoders and the fixture writers. All
// three stand in sector 0, all are little-endian, and their fields do not collide.
#pragma once

#include "core/layout.h"

namespace platter::boot {

inline constexpr std::uint64_t kBootBlock = 512;

inline constexpr Field kAlphaSectorFields[] = {
    bytes("data", 0, 480, "anything, often a 4.4BSD label at 64"),
    u64("blocks", 480, "length of the program", unit::blocks),
    u64("first", 488, "first block of the program", unit::blocks),
    u64("flags", 496, "0"),
    u64("checksum", 504, "sum of the 63 words before it"),
};
inline constexpr Structure kAlphaSector =
    structure("alpha boot sector",
              "Alpha Architecture Reference Manual, (III) 3.6.1; NetBSD sys/sys/bootblock.h", 512,
              kAlphaSectorFields);

inline constexpr Field kVaxHeadFields[] = {
    reserved(0, 2),
    u8("id_at", 2, "place of the identification", "16-bit words"),
    u8("one", 3, "1"),
    u16("first_high", 4, "first block of the program, high half", unit::blocks),
    u16("first_low", 6, "first block of the program, low half", unit::blocks),
};
inline constexpr Structure kVaxHead = structure(
    "vax boot sector", "NetBSD sys/sys/bootblock.h, struct vax_boot_block", 8, kVaxHeadFields);

inline constexpr std::uint64_t kVaxIdMagic = 0x18;
inline constexpr Field kVaxIdFields[] = {
    u8("magic", 0, "0x18"),
    u8("zero_1", 1, "0"),
    u8("any", 2, "any value"),
    u8("complement", 3, "complement of the sum of the three bytes before it"),
    u8("zero_2", 4, "0"),
    u8("volume", 5, "0 nothing special, 0x01 single-sided, 0x81 double-sided"),
    reserved(6, 2, "any value"),
    u32("blocks", 8, "length of the program", unit::blocks),
    u32("load", 12, "where to load it, from the start of free memory", unit::bytes),
    u32("entry", 16, "where to start, from the start of the program", unit::bytes),
    u32("sum", 20, "sum of the three numbers before it"),
};
inline constexpr Structure kVaxId =
    structure("vax boot identification", "NetBSD sys/sys/bootblock.h, struct vax_boot_block", 24,
              kVaxIdFields);

inline constexpr Field kPmaxExtentFields[] = {
    s32("blocks", 0, "length; 0 ends the list", unit::blocks),
    s32("first", 4, "first block", unit::blocks),
};
inline constexpr Structure kPmaxExtent =
    structure("pmax boot map entry", "NetBSD sys/sys/bootblock.h, struct pmax_boot_map", 8,
              kPmaxExtentFields);

inline constexpr std::uint64_t kPmaxMagic = 0x0002757A;
inline constexpr Field kPmaxSectorFields[] = {
    reserved(0, 8),
    u32("magic", 8, "0x0002757A"),
    u32("mode", 12, "0: one piece, 1: pieces up to one of no blocks"),
    u32("load", 16, "address to load to"),
    u32("entry", 20, "address to start at"),
    records("extent", 24, 61, kPmaxExtent, "pieces of the program"),
};
inline constexpr Structure kPmaxSector =
    structure("pmax boot sector", "NetBSD sys/sys/bootblock.h, struct pmax_boot_block", 512,
              kPmaxSectorFields);

// What stands at the start of programs in a LIF volume.
inline constexpr Field kLifLoadFields[] = {
    u32("address", 0, "address to load to"),
    u32("length", 4, "length behind this header", unit::bytes),
};
inline constexpr Structure kLifLoad = structure(
    "LIF program header", "NetBSD sys/sys/bootblock.h, struct hppa_lifload", 8, kLifLoadFields);

}  // namespace platter::boot
