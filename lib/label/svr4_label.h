// Structures of the System V/386 label (UnixWare and other SVR4), shared by the decoder and the
// fixture writers.
#pragma once

#include "core/layout.h"

namespace platter::label {

inline constexpr std::uint64_t kSvr4Magic = 0xCA5E600D;
/// The same with two nibbles exchanged, as libblkid looks for it.
inline constexpr std::uint64_t kSvr4OtherMagic = 0xCAE5600D;
inline constexpr std::uint64_t kSvr4VtocMagic = 0x600DDEEE;
inline constexpr std::uint64_t kSvr4Slots = 16;
/// From the start of the MBR slice.
inline constexpr std::uint64_t kSvr4Place = 29 * 512;
inline constexpr std::uint64_t kSvr4ValidFlag = 0x0200;

// Linux block/partitions/msdos.c and util-linux libblkid/src/partitions/unixware.c, tags
inline constexpr Name kSvr4Tags[] = {{0, "unused"},
                                     {1, "boot"},
                                     {2, "root"},
                                     {3, "swap"},
                                     {4, "usr"},
                                     {5, "whole slice"},
                                     {6, "alternate sectors"},
                                     {7, "other"},
                                     {8, "alternate tracks"},
                                     {9, "stand"},
                                     {10, "var"},
                                     {11, "home"},
                                     {12, "dump"},
                                     {13, "alternate sectors and tracks"},
                                     {14, "volume manager public"},
                                     {15, "volume manager private"}};

inline constexpr Field kSvr4EntryFields[] = {
    u16("tag", 0, "what the slice is for", unit::none, kSvr4Tags),
    u16("flags", 2, "0x0200: valid"),
    u32("first", 4, "first sector of the disk", unit::sectors),
    u32("sectors", 8, "length", unit::sectors),
};
inline constexpr Structure kSvr4Entry = structure(
    "SVR4 label entry", "Linux block/partitions/msdos.c, unixware_slice", 12, kSvr4EntryFields);

inline constexpr Field kSvr4LabelFields[] = {
    u32("drive_type", 0, "drive type"),
    u32("magic", 4, "0xCA5E600D"),
    u32("version", 8, "version"),
    text("serial", 12, 12, "serial number of the drive"),
    u32("cylinders", 24, "cylinders", unit::cylinders),
    u32("tracks", 28, "tracks per cylinder", unit::heads),
    u32("sectors_per_track", 32, "sectors per track", unit::sectors),
    u32("sector_bytes", 36, "bytes per sector", unit::bytes),
    u32("slice_first", 40, "first sector of the MBR slice", unit::sectors),
    reserved(44, 48, "unknown"),
    u32("alternates_start", 92, "place of the table of alternates", unit::bytes),
    u32("alternates_bytes", 96, "its length", unit::bytes),
    u32("physical_cylinders", 100, "physical cylinders", unit::cylinders),
    u32("physical_tracks", 104, "physical tracks per cylinder", unit::heads),
    u32("physical_sectors", 108, "physical sectors per track", unit::sectors),
    u32("physical_bytes", 112, "physical bytes per sector", unit::bytes),
    reserved(116, 40, "unknown"),
    u32("vtoc_magic", 156, "0x600DDEEE"),
    u32("vtoc_version", 160, "version of the table"),
    text("volume_name", 164, 8, "volume name"),
    u16("slices", 172, "number of slices"),
    reserved(174, 2, "unknown"),
    reserved(176, 40),
    records("slice", 216, 16, kSvr4Entry, "the table"),
};
inline constexpr Structure kSvr4Label = structure(
    "SVR4 label", "Linux block/partitions/msdos.c, unixware_disklabel", 408, kSvr4LabelFields);

}  // namespace platter::label
