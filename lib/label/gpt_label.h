// Structures of the GUID partition table, shared by the decoder and the fixture writers.
#pragma once

#include "core/layout.h"

namespace platter::label {

inline constexpr std::string_view kGptSignature = "EFI PART";
inline constexpr std::uint64_t kGptRevision = 0x00010000;

// UEFI Specification, chapter "GUID Partition Table (GPT) Disk Layout", table "GPT Header"
inline constexpr Field kGptHeaderFields[] = {
    text("signature", 0, 8, "\"EFI PART\""),
    u32("revision", 8, "0x00010000"),
    u32("header_bytes", 12, "length of the header; 92 or more", unit::bytes),
    u32("header_crc", 16, "CRC-32 of the header with this field as zero"),
    reserved(20, 4),
    u64("my_lba", 24, "where this copy stands", unit::logical_blocks),
    u64("alternate_lba", 32, "where the other copy stands", unit::logical_blocks),
    u64("first_usable", 40, "first block that slices may use", unit::logical_blocks),
    u64("last_usable", 48, "last block that slices may use", unit::logical_blocks),
    bytes("disk_guid", 56, 16, "identifier of the disk"),
    u64("entries_lba", 72, "first block of the entries", unit::logical_blocks),
    u32("entries", 80, "number of entries"),
    u32("entry_bytes", 84, "length of an entry; 128 times a power of two", unit::bytes),
    u32("entries_crc", 88, "CRC-32 of all entries"),
};
inline constexpr Structure kGptHeader = structure(
    "GPT header", "UEFI Specification, GPT disk layout, GPT header", 92, kGptHeaderFields);

inline constexpr Field kGptEntryFields[] = {
    bytes("type_guid", 0, 16, "what the slice holds; all zero: unused"),
    bytes("unique_guid", 16, 16, "identifier of the slice"),
    u64("first", 32, "first block", unit::logical_blocks),
    u64("last", 40, "last block, inclusive", unit::logical_blocks),
    u64("attributes", 48, "bit 0: demanded by the platform, 1: not for firmware, 2: PC start-up"),
    text("name", 56, 72, "name in UTF-16"),
};
inline constexpr Structure kGptEntry = structure(
    "GPT entry", "UEFI Specification, GPT disk layout, partition entry", 128, kGptEntryFields);

struct GuidName {
  std::string_view guid;  ///< as the UEFI Specification writes it, upper case
  std::string_view name;
  bool is_swap = false;
};

// UEFI Specification (system, legacy MBR); the others from NetBSD sys/sys/disklabel_gpt.h, FreeBSD
// sys/sys/disk/gpt.h and illumos sys/efi_partition.h
inline constexpr GuidName kGptTypes[] = {
    {"C12A7328-F81F-11D2-BA4B-00A0C93EC93B", "EFI system"},
    {"024DEE41-33E7-11D3-9D69-0008C781F39F", "legacy MBR"},
    {"21686148-6449-6E6F-744E-656564454649", "BIOS boot"},
    {"EBD0A0A2-B9E5-4433-87C0-68B6B72699C7", "basic data"},
    {"0FC63DAF-8483-4772-8E79-3D69D8477DE4", "Linux data"},
    {"0657FD6D-A4AB-43C4-84E5-0933C84B4F4F", "Linux swap", true},
    {"E6D6D379-F507-44C2-A23C-238F2A3DF928", "Linux LVM"},
    {"A19D880F-05FC-4D3B-A006-743F0F84911E", "Linux RAID"},
    {"83BD6B9D-7F41-11DC-BE0B-001560B84F0F", "FreeBSD boot"},
    {"516E7CB4-6ECF-11D6-8FF8-00022D09712B", "FreeBSD data"},
    {"516E7CB5-6ECF-11D6-8FF8-00022D09712B", "FreeBSD swap", true},
    {"516E7CB6-6ECF-11D6-8FF8-00022D09712B", "FreeBSD UFS"},
    {"49F48D32-B10E-11DC-B99B-0019D1879648", "NetBSD swap", true},
    {"49F48D5A-B10E-11DC-B99B-0019D1879648", "NetBSD FFS"},
    {"49F48D82-B10E-11DC-B99B-0019D1879648", "NetBSD LFS"},
    {"48465300-0000-11AA-AA11-00306543ECAC", "HFS+"},
    {"6A85CF4D-1DD2-11B2-99A6-080020736631", "Solaris root"},
    {"6A87C46F-1DD2-11B2-99A6-080020736631", "Solaris swap", true},
    {"9E1A2D38-C612-4316-AA26-8B49521E5A8B", "PReP boot"},
};

}  // namespace platter::label
