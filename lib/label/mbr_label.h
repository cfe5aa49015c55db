// Structures of the master boot record and its extended chain, shared by the decoder and the
// fixture writers.
#pragma once

#include "core/layout.h"

namespace platter::label {

inline constexpr std::uint64_t kMbrSignature = 0xAA55;

// NetBSD sys/sys/bootblock.h (MBR_PTYPE_*), Linux include/linux/msdos_partition.h
inline constexpr Name kMbrTypes[] = {{0x00, "empty"},
                                     {0x01, "FAT12"},
                                     {0x02, "XENIX root"},
                                     {0x03, "XENIX usr"},
                                     {0x04, "FAT16 below 32 MiB"},
                                     {0x05, "extended"},
                                     {0x06, "FAT16"},
                                     {0x07, "HPFS, NTFS or QNX2"},
                                     {0x08, "AIX"},
                                     {0x09, "AIX boot or Coherent"},
                                     {0x0B, "FAT32"},
                                     {0x0C, "FAT32 LBA"},
                                     {0x0E, "FAT16 LBA"},
                                     {0x0F, "extended LBA"},
                                     {0x11, "hidden FAT12"},
                                     {0x14, "hidden FAT16 below 32 MiB"},
                                     {0x16, "hidden FAT16"},
                                     {0x17, "hidden HPFS or NTFS"},
                                     {0x1B, "hidden FAT32"},
                                     {0x1C, "hidden FAT32 LBA"},
                                     {0x1E, "hidden FAT16 LBA"},
                                     {0x39, "Plan 9"},
                                     {0x40, "Venix"},
                                     {0x41, "PReP boot"},
                                     {0x4D, "QNX4"},
                                     {0x4E, "QNX4 second"},
                                     {0x4F, "QNX4 third"},
                                     {0x50, "translation driver"},
                                     {0x51, "translation driver"},
                                     {0x53, "translation driver"},
                                     {0x54, "translation driver"},
                                     {0x55, "translation driver"},
                                     {0x63, "System V/386"},
                                     {0x64, "NetWare 286"},
                                     {0x65, "NetWare 386"},
                                     {0x75, "PC/IX"},
                                     {0x80, "old Minix"},
                                     {0x81, "Minix"},
                                     {0x82, "Linux swap or Solaris"},
                                     {0x83, "Linux"},
                                     {0x85, "Linux extended"},
                                     {0x8E, "Linux LVM"},
                                     {0x96, "ISO 9660 (CHRP)"},
                                     {0x9F, "BSD/OS"},
                                     {0xA5, "386BSD or FreeBSD"},
                                     {0xA6, "OpenBSD"},
                                     {0xA7, "dlV label"},
                                     {0xA8, "Darwin UFS"},
                                     {0xA9, "NetBSD"},
                                     {0xAB, "Darwin boot"},
                                     {0xAF, "HFS"},
                                     {0xB7, "BSDI"},
                                     {0xB8, "BSDI swap"},
                                     {0xBE, "Solaris boot"},
                                     {0xBF, "Solaris"},
                                     {0xCD, "protective ISO 9660"},
                                     {0xDB, "CP/M"},
                                     {0xEB, "BFS"},
                                     {0xEE, "GPT protective"},
                                     {0xEF, "EFI system"},
                                     {0xF0, "hppa Linux boot loader"},
                                     {0xFD, "Linux RAID"},
                                     {0xFF, "XENIX bad-block table"}};

inline constexpr Name kMbrFlags[] = {{0x00, "not active"}, {0x80, "active"}};

inline constexpr Field kMbrEntryFields[] = {
    u8("flag", 0, "0x80: the slice to start from", unit::none, kMbrFlags),
    u8("start_head", 1, "head of the first sector"),
    u8("start_sector", 2, "bits 0 to 5: sector from 1 on; bits 6 and 7: cylinder bits 8 and 9"),
    u8("start_cylinder", 3, "cylinder bits 0 to 7"),
    u8("type", 4, "what the slice holds", unit::none, kMbrTypes),
    u8("end_head", 5, "head of the last sector"),
    u8("end_sector", 6, "coded as start_sector"),
    u8("end_cylinder", 7, "cylinder bits 0 to 7"),
    u32("first", 8, "first sector; what it counts from depends on the table", unit::sectors),
    u32("sectors", 12, "length", unit::sectors),
};
inline constexpr Structure kMbrEntry =
    structure("MBR entry", "NetBSD sys/sys/bootblock.h, struct mbr_partition", 16, kMbrEntryFields);

inline constexpr Field kMbrFields[] = {
    bytes("boot_code", 0, 440, "first stage of the start-up code"),
    u32("disk_id", 440, "disk identifier"),
    reserved(444, 2),
    records("entry", 446, 4, kMbrEntry, "the table"),
    u16("signature", 510, "0xAA55"),
};
inline constexpr Structure kMbr = structure(
    "master boot record", "NetBSD sys/sys/bootblock.h, struct mbr_sector", 512, kMbrFields);

/// The parameter block of a FAT boot sector, as far as it tells such a sector from an MBR.
inline constexpr Field kBootSectorFields[] = {
    bytes("jump", 0, 3, "jump over the parameter block"),
    text("system", 3, 8, "name of the system that made it"),
    u16("sector_bytes", 11, "bytes per sector", unit::bytes),
    u8("cluster_sectors", 13, "sectors per cluster", unit::sectors),
    u16("reserved_sectors", 14, "sectors before the first table", unit::sectors),
    u8("tables", 16, "allocation tables"),
    u16("root_entries", 17, "entries of the root directory"),
    u16("sectors", 19, "sectors of the volume; 0: see elsewhere", unit::sectors),
    u8("media", 21, "0xF0, or 0xF8 to 0xFF"),
};
inline constexpr Structure kBootSector =
    structure("FAT boot sector", "ECMA-107, clause 9", 22, kBootSectorFields);

}  // namespace platter::label
