// Structures of the LIF volume, shared by the decoder and the fixture writers.
#pragma once

#include "core/layout.h"

namespace platter::label {

inline constexpr std::uint64_t kLifMagic = 0x8000;
inline constexpr std::uint64_t kLifOctal = 0x1000;
inline constexpr std::uint64_t kLifSector = 256;
inline constexpr std::uint64_t kLifEnd = 0xFFFF;
inline constexpr std::uint64_t kLifPurged = 0;

// NetBSD sys/sys/bootblock.h, LIF directory types; 1 from memory
inline constexpr Name kLifTypes[] = {{0x0000, "purged"},
                                     {0x0001, "text"},
                                     {0x5243, "swap"},
                                     {0xCD38, "filesystem"},
                                     {0xCD60, "I/O map"},
                                     {0xCD80, "kernel loader"},
                                     {0xCE00, "initial system loader"},
                                     {0xCFFE, "padding"},
                                     {0xCFFF, "start-up command"},
                                     {0xD001, "diagnostics table"},
                                     {0xE942, "m68k start-up program"},
                                     {0xFFFF, "end of the directory"}};

// NetBSD sys/sys/bootblock.h: the volume header of the hppa port; that of the m68k port is its
// first 36 bytes.
inline constexpr Field kLifVolumeFields[] = {
    u16("id", 0, "0x8000"),
    text("label", 2, 6, "volume name"),
    u32("directory_first", 8, "start of the directory", "256-byte sectors"),
    u16("octal", 12, "0x1000"),
    u16("zero_1", 14, "0"),
    u32("directory_sectors", 16, "length of the directory", "256-byte sectors"),
    u16("version", 20, "0 or 1"),
    u16("zero_2", 22, "0"),
    u32("number", 24, "number of the volume, or tracks per surface"),
    u32("last_volume", 28, "last volume, or surfaces"),
    u32("length", 32, "length of the volume; writers disagree on the unit"),
    bytes("created", 36, 6, "creation as BCD: year, month, day, hour, minute, second"),
    reserved(42, 198),
    u32("ipl_start", 240, "hppa: start of the initial program", unit::bytes),
    u32("ipl_bytes", 244, "hppa: its length", unit::bytes),
    u32("ipl_entry", 248, "hppa: entry, from its start", unit::bytes),
    reserved(252, 4),
};
inline constexpr Structure kLifVolume = structure(
    "LIF volume header", "NetBSD sys/sys/bootblock.h, hppa volume header", 256, kLifVolumeFields);

inline constexpr Field kLifEntryFields[] = {
    text("name", 0, 10, "file name"),
    u16("type", 10, "what the file is", unit::none, kLifTypes),
    u32("first", 12, "start, from the start of the volume", "256-byte sectors"),
    u32("sectors", 16, "length", "256-byte sectors"),
    bytes("created", 20, 6, "creation as BCD: year, month, day, hour, minute, second"),
    u16("flag", 26, "bit 15: last volume; the rest: volume number"),
    u32("implementation", 28, "depends on the type; execution address of start-up programs"),
};
inline constexpr Structure kLifEntry = structure(
    "LIF directory entry", "NetBSD sys/sys/bootblock.h, hppa directory entry", 32, kLifEntryFields);

}  // namespace platter::label
