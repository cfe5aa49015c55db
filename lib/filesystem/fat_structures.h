// Structures of FAT12, FAT16 and FAT32, shared by the decoder and the fixture writer. All numbers
// are little-endian.
#pragma once

#include "core/layout.h"

namespace platter::filesystem {

inline constexpr std::uint64_t kFatSignature = 0xAA55;

inline constexpr Field kFatParameterFields[] = {
    u16("sector_bytes", 0, "bytes per sector", unit::bytes),
    u8("cluster_sectors", 2, "sectors per cluster, a power of two", unit::sectors),
    u16("reserved_sectors", 3, "sectors before the first allocation table", unit::sectors),
    u8("fat_copies", 5, "copies of the allocation table"),
    u16("root_entries", 6, "entries of the root directory; 0 on FAT32"),
    u16("sectors", 8, "sectors of the volume; 0: see large_sectors", unit::sectors),
    u8("media", 10, "kind of medium: 0xF0, or 0xF8 to 0xFF"),
    u16("fat_sectors", 11, "sectors per allocation table; 0 on FAT32", unit::sectors),
    u16("track_sectors", 13, "sectors per track"),
    u16("heads", 15, "heads"),
    u32("hidden_sectors", 17, "sectors before the volume; 16 bits before release 3.31",
        unit::sectors),
    u32("large_sectors", 21, "sectors of the volume when sectors is 0", unit::sectors),
};
inline constexpr Structure kFatParameters =
    structure("FAT parameter block", "ECMA-107, clause 9; Linux msdos_fs.h, struct fat_boot_sector",
              25, kFatParameterFields);

inline constexpr Field kFatBootSectorFields[] = {
    bytes("jump", 0, 3, "jump over the parameter block"),
    text("system", 3, 8, "name of the system that made it"),
    records("parameters", 11, 1, kFatParameters, "geometry of the volume"),
    u8("drive", 36, "drive number for the boot code"),
    u8("state", 37, "bit 0: not unmounted; bit 1: errors were met"),
    u8("extension", 38, "0x28: serial follows; 0x29: label and type too"),
    u32("serial", 39, "serial number"),
    text("label", 43, 11, "volume label"),
    text("type_text", 54, 8, "type as text; not authoritative"),
    bytes("boot_code", 62, 448, "boot code"),
    u16("signature", 510, "0xAA55"),
};
inline constexpr Structure kFatBootSector =
    structure("FAT boot sector", "ECMA-107, clause 9; Linux msdos_fs.h, struct fat_boot_sector",
              512, kFatBootSectorFields);

inline constexpr Field kFat32BootSectorFields[] = {
    bytes("jump", 0, 3, "jump over the parameter block"),
    text("system", 3, 8, "name of the system that made it"),
    records("parameters", 11, 1, kFatParameters, "geometry of the volume"),
    u32("fat_sectors", 36, "sectors per allocation table", unit::sectors),
    u16("flags", 40, "bit 7: only the copy of bits 0 to 3 is in use"),
    u16("version", 42, "version, 0"),
    u32("root_cluster", 44, "first cluster of the root directory"),
    u16("info_sector", 48, "sector of the free counts", unit::sectors),
    u16("backup_sector", 50, "sector of the copy of this one", unit::sectors),
    reserved(52, 12),
    u8("drive", 64, "drive number for the boot code"),
    u8("state", 65, "bit 0: not unmounted; bit 1: errors were met"),
    u8("extension", 66, "0x29: serial, label and type follow"),
    u32("serial", 67, "serial number"),
    text("label", 71, 11, "volume label"),
    text("type_text", 82, 8, "type as text; not authoritative"),
    bytes("boot_code", 90, 420, "boot code"),
    u16("signature", 510, "0xAA55"),
};
inline constexpr Structure kFat32BootSector = structure(
    "FAT32 boot sector", "Linux msdos_fs.h, struct fat_boot_sector", 512, kFat32BootSectorFields);

inline constexpr std::uint64_t kFatInfoLead = 0x41615252;
inline constexpr std::uint64_t kFatInfoSignature = 0x61417272;
inline constexpr std::uint64_t kFatInfoUnknown = 0xFFFFFFFF;

inline constexpr Field kFatInfoFields[] = {
    u32("lead", 0, "0x41615252"),
    reserved(4, 480),
    u32("info_signature", 484, "0x61417272"),
    u32("free_clusters", 488, "free clusters, all ones: unknown"),
    u32("next_cluster", 492, "where to look for a free cluster, all ones: unknown"),
    reserved(496, 12),
    u32("trail", 508, "0xAA550000"),
};
inline constexpr Structure kFatInfo =
    structure("FAT32 info sector", "Linux msdos_fs.h, struct fat_boot_fsinfo", 512, kFatInfoFields);

namespace fat_attribute {
inline constexpr std::uint64_t label = 0x08;
inline constexpr std::uint64_t directory = 0x10;
inline constexpr std::uint64_t long_name = 0x0F;
inline constexpr std::uint64_t all = 0x3F;
}  // namespace fat_attribute

inline constexpr std::uint64_t kFatLowerBase = 0x08;
inline constexpr std::uint64_t kFatLowerExtension = 0x10;
inline constexpr std::uint8_t kFatDeleted = 0xE5;
inline constexpr std::uint8_t kFatRealE5 = 0x05;

inline constexpr Field kFatEntryFields[] = {
    bytes("name", 0, 8, "name, padded with blanks; first byte 0: end, 0xE5: deleted, 5: 0xE5"),
    bytes("name_extension", 8, 3, "extension, padded with blanks"),
    u8("attributes", 11, "1 read-only, 2 hidden, 4 system, 8 label, 16 directory, 32 archive"),
    u8("case_flags", 12, "8: name in lower case, 16: extension in lower case"),
    u8("created_hundredths", 13, "hundredths of a second to add to created_time, 0 to 199"),
    u16("created_time", 14, "hour, minute, half seconds in 5, 6 and 5 bits"),
    u16("created_date", 16, "years since 1980, month, day in 7, 4 and 5 bits"),
    u16("accessed_date", 18, "as created_date"),
    u16("cluster_high", 20, "first cluster, upper half; FAT32 only"),
    u16("modified_time", 22, "as created_time"),
    u16("modified_date", 24, "as created_date"),
    u16("cluster_low", 26, "first cluster, lower half; 0: none"),
    u32("size", 28, "length of a file; 0 for directories", unit::bytes),
};
inline constexpr Structure kFatEntry =
    structure("FAT directory entry",
              "ECMA-107, clause 11; Linux msdos_fs.h, struct msdos_dir_entry", 32, kFatEntryFields);

inline constexpr std::size_t kFatPartUnits = 13;  ///< UTF-16 units in one part of a long name
inline constexpr std::size_t kFatMostParts = 20;

inline constexpr Field kFatLongNameFields[] = {
    u8("sequence", 0, "number of the part from 1 on; 0x40: the last, which comes first"),
    bytes("first_units", 1, 10, "five UTF-16 units"),
    u8("attributes", 11, "0x0F"),
    u8("kind", 12, "0"),
    u8("checksum", 13, "sum over the short name"),
    bytes("second_units", 14, 12, "six UTF-16 units"),
    u16("cluster", 26, "0"),
    bytes("third_units", 28, 4, "two UTF-16 units"),
};
inline constexpr Structure kFatLongName = structure(
    "FAT long name part", "Linux msdos_fs.h, struct msdos_dir_slot", 32, kFatLongNameFields);

}  // namespace platter::filesystem
