// Structures of the El Torito boot catalog. The boot record, the validation entry and the default
// entry are those of the ISO 9660 volume's tables.
#pragma once

#include "core/layout.h"
#include "filesystem/iso9660_structures.h"

namespace platter::boot {

using filesystem::iso9660::kBootMedia;
using filesystem::iso9660::kBootPlatforms;
using filesystem::iso9660::kCatalogEntry;
using filesystem::iso9660::kCatalogEntryBytes;
using filesystem::iso9660::kCatalogKey;
using filesystem::iso9660::kCatalogValidation;
using filesystem::iso9660::kElToritoId;
using filesystem::iso9660::kElToritoRecord;

inline constexpr std::uint64_t kOpticalBlock = 2048;
inline constexpr std::uint64_t kVirtualSector = 512;   // what load counts count
inline constexpr std::uint64_t kBootRecordBlock = 17;  // El Torito 1.0, section 2.0
inline constexpr std::uint64_t kValidationHeader = 0x01;
inline constexpr std::uint64_t kBootable = 0x88;
inline constexpr std::uint64_t kMoreHeaders = 0x90;
inline constexpr std::uint64_t kLastHeader = 0x91;
inline constexpr std::uint64_t kExtension = 0x44;
inline constexpr std::uint64_t kExtensionFollows = 0x20;
inline constexpr std::uint64_t kMediaMask = 0x0F;
inline constexpr std::uint64_t kMediaNone = 0;
inline constexpr std::uint64_t kMediaHardDisk = 4;
inline constexpr std::uint64_t kPlatformI386 = 0;
inline constexpr std::uint64_t kPlatformEfi = 0xEF;
inline constexpr std::uint64_t kUsualSegment = 0x7C0;

inline constexpr Name kHeaderIds[] = {{kMoreHeaders, "more headers follow"}, {kLastHeader, "last"}};
inline constexpr Name kCriteria[] = {{0, "none"}, {1, "language and version"}};

inline constexpr Field kSectionHeaderFields[] = {
    u8("header_id", 0, "0x90 or 0x91", unit::none, kHeaderIds),
    u8("platform", 1, "machine", unit::none, kBootPlatforms),
    le16("entries", 2, "entries that follow this header"),
    text("id", 4, 28, "name of the section"),
};
inline constexpr Structure kSectionHeader = structure(
    "El Torito section header", "El Torito specification 1.0, figure 4", 32, kSectionHeaderFields);

inline constexpr Field kSectionEntryFields[] = {
    u8("boot_indicator", 0, "0x88 bootable, 0 not"),
    u8("media", 1,
       "low four bits: what the image poses as; 0x20 extension follows, 0x40 holds an "
       "ATAPI driver, 0x80 holds SCSI drivers",
       unit::none, kBootMedia),
    le16("load_segment", 2, "0 = 0x7C0"),
    u8("system_type", 4, "type byte of the image's partition"),
    reserved(5, 1),
    le16("load_blocks", 6, "how much firmware loads at first", unit::blocks),
    le32("image", 8, "place of the image", unit::optical_sectors),
    u8("criteria_type", 12, "how the entry is selected", unit::none, kCriteria),
    bytes("criteria", 13, 19, "what selects the entry"),
};
inline constexpr Structure kSectionEntry = structure(
    "El Torito section entry", "El Torito specification 1.0, figure 5", 32, kSectionEntryFields);

inline constexpr Field kSectionExtensionFields[] = {
    u8("extension_id", 0, "0x44"),
    u8("flags", 1, "0x20 another extension follows"),
    bytes("criteria", 2, 30, "more of what selects the entry"),
};
inline constexpr Structure kSectionExtension =
    structure("El Torito section entry extension", "El Torito specification 1.0, figure 6", 32,
              kSectionExtensionFields);

/// What mastering programs write into a boot image so that it finds its disc; stands at byte 8.
inline constexpr std::uint64_t kBootInfoOffset = 8;
inline constexpr std::uint64_t kBootInfoSummed = 64;  // the checksum is over what follows
inline constexpr Field kBootInfoFields[] = {
    le32("descriptor", 0, "block of the primary volume descriptor", unit::optical_sectors),
    le32("image", 4, "place of this image", unit::optical_sectors),
    le32("bytes", 8, "length of this image", unit::bytes),
    le32("checksum", 12, "sum of all 32-bit words from byte 64 of the image on"),
    reserved(16, 40),
};
inline constexpr Structure kBootInfo =
    structure("boot information table", "genisoimage(1), EL TORITO BOOT INFORMATION TABLE", 56,
              kBootInfoFields);

}  // namespace platter::boot
