// Structures of an ISO 9660 volume, shared by the decoder and the fixture writers.
//
// Clause numbers are those of the second edition of ECMA-119, which has the text of ISO 9660:1988.
// Its byte positions count from 1; offsets here count from 0. Places on the volume are numbers of
// logical blocks; descriptors and directories are laid out in sectors of 2048 bytes.
#pragma once

#include "core/field_list.h"
#include "core/layout.h"

namespace platter::filesystem::iso9660 {

inline constexpr std::uint64_t kSectorBytes = 2048;       // ECMA-119 6.1.2
inline constexpr std::uint64_t kFirstDescriptor = 16;     // 6.2.1: sectors 0 to 15 are the system's
inline constexpr std::uint64_t kMostDescriptors = 64;     // a bound of ours; discs have two to five
inline constexpr std::string_view kStandardId = "CD001";  // 8.1.2
inline constexpr std::string_view kElToritoId = "EL TORITO SPECIFICATION";

// ECMA-119 8.1.1
inline constexpr std::uint64_t kBootRecordType = 0;
inline constexpr std::uint64_t kPrimaryType = 1;
inline constexpr std::uint64_t kSupplementaryType = 2;
inline constexpr std::uint64_t kPartitionType = 3;
inline constexpr std::uint64_t kTerminatorType = 255;
inline constexpr Name kDescriptorTypes[] = {{kBootRecordType, "boot record"},
                                            {kPrimaryType, "primary"},
                                            {kSupplementaryType, "supplementary or enhanced"},
                                            {kPartitionType, "volume partition"},
                                            {kTerminatorType, "set terminator"}};

// ECMA-119 9.1.6, bits of the flags of a directory record
inline constexpr std::uint64_t kHiddenFlag = 0x01;
inline constexpr std::uint64_t kDirectoryFlag = 0x02;
inline constexpr std::uint64_t kAssociatedFlag = 0x04;
inline constexpr std::uint64_t kRecordFlag = 0x08;
inline constexpr std::uint64_t kProtectionFlag = 0x10;
inline constexpr std::uint64_t kMoreExtentsFlag = 0x80;

// What High Sierra has in the same form, at other offsets, is a list of its own.

inline constexpr FieldList kDate6Fields = {
    u8("year", 0, "years since 1900"), u8("month", 1, "1 to 12"),  u8("day", 2, "1 to 31"),
    u8("hour", 3, "0 to 23"),          u8("minute", 4, "0 to 59"), u8("second", 5, "0 to 59"),
};
inline constexpr FieldList kDate7Fields = {
    kDate6Fields,
    s8("zone", 6, "offset from Greenwich, east positive", "quarter hours"),
};
inline constexpr Structure kDate7 =
    structure("ISO 9660 recording time", "ECMA-119 9.1.5", 7, kDate7Fields);

inline constexpr FieldList kDate16Fields = {
    text("year", 0, 4, "digits, 1 to 9999; all digits 0 = not given"),
    text("month", 4, 2, "digits, 1 to 12"),
    text("day", 6, 2, "digits, 1 to 31"),
    text("hour", 8, 2, "digits, 0 to 23"),
    text("minute", 10, 2, "digits, 0 to 59"),
    text("second", 12, 2, "digits, 0 to 59"),
    text("hundredths", 14, 2, "digits, hundredths of a second"),
};
inline constexpr FieldList kDate17Fields = {
    kDate16Fields,
    s8("zone", 16, "offset from Greenwich, east positive", "quarter hours"),
};
inline constexpr Structure kDate17 =
    structure("ISO 9660 volume time", "ECMA-119 8.4.26.1", 17, kDate17Fields);

inline constexpr FieldList kRecordPlaceFields = {
    u8("length", 0, "of the record; 0 = no more records in this sector", unit::bytes),
    u8("attribute_blocks", 1, "extended attribute record in front of the data",
       unit::logical_blocks),
    both32("extent", 2, "place of the data", unit::logical_blocks),
    both32("bytes", 10, "length of the data", unit::bytes),
};
inline constexpr Field kRecordFlagsField =
    u8("flags", 0,
       "0x01 hidden, 0x02 directory, 0x04 associated, 0x08 record format, 0x10 protection, "
       "0x80 more extents follow");
inline constexpr FieldList kRecordEndFields = {
    u8("unit_blocks", 0, "file unit when interleaved", unit::logical_blocks),
    u8("gap_blocks", 1, "gap between file units when interleaved", unit::logical_blocks),
    both16("sequence_number", 2, "volume of the set that holds the data"),
    u8("identifier_length", 6, "of the identifier that follows", unit::bytes),
};

// The identifier follows: `identifier_length` bytes, a pad byte when that number is even, then the
// system use field up to `length`.
inline constexpr FieldList kDirectoryRecordFields = {
    kRecordPlaceFields,
    records("recorded", 18, 1, kDate7, "recording time"),
    at(25, kRecordFlagsField),
    at(26, kRecordEndFields),
};
inline constexpr Structure kDirectoryRecord =
    structure("ISO 9660 directory record", "ECMA-119 9.1", 33, kDirectoryRecordFields);

// Stands in front of a file's data when its directory record says so; what is free for applications
// and escape sequences follow.
inline constexpr Field kAttributeRecordFields[] = {
    both16("owner", 0, "owner; 0 = none"),
    both16("group", 4, "group; 0 = none"),
    be16("permissions", 8,
         "set = denied: 0x0001 system reads, 0x0004 runs; 0x0010, 0x0040 owner; 0x0100, 0x0400 "
         "group; 0x1000, 0x4000 others; the bits between are set"),
    records("created", 10, 1, kDate17, "creation of the file"),
    records("modified", 27, 1, kDate17, "last modification of the file"),
    records("expires", 44, 1, kDate17, "may be regarded as obsolete after"),
    records("effective", 61, 1, kDate17, "may be used after"),
    u8("record_format", 78, "0 none, 1 fixed, 2 and 3 variable length"),
    u8("record_attributes", 79, "how records are to be shown"),
    both16("record_bytes", 80, "length of the records", unit::bytes),
    text("system_id", 84, 32, "system that can use the next field"),
    bytes("system_use", 116, 64, "as the system likes"),
    u8("version", 180, "1"),
    u8("escape_bytes", 181, "length of the escape sequences", unit::bytes),
    reserved(182, 64),
    both16("application_bytes", 246, "length of what is free for applications", unit::bytes),
};
inline constexpr Structure kAttributeRecord =
    structure("ISO 9660 extended attribute record", "ECMA-119 9.5", 250, kAttributeRecordFields);

// CD-ROM XA puts this at the start of the system use field.
inline constexpr Field kXaAttributesFields[] = {
    be16("group", 0, "group"),
    be16("user", 2, "owner"),
    be16(
        "attributes", 4,
        "set = allowed: 0x0010, 0x0040 owner reads, runs; 0x0100, 0x0400 group; 0x1000, 0x4000 "
        "others; 0x0800 form 1, 0x1000 form 2, 0x2000 interleaved, 0x4000 audio, 0x8000 directory"),
    text("signature", 6, 2, "XA"),
    u8("file_number", 8, "file number in the subheaders"),
    reserved(9, 5),
};
inline constexpr Structure kXaAttributes =
    structure("CD-ROM XA attributes", "libcdio cdio/xa.h, iso9660_xa_t", 14, kXaAttributesFields);

// The identifier follows: `identifier_length` bytes, and a pad byte when that number is odd. Table
// L is read as little-endian, table M as big-endian.
inline constexpr Field kPathRecordFields[] = {
    u8("identifier_length", 0, "of the identifier that follows", unit::bytes),
    u8("attribute_blocks", 1, "extended attribute record of the directory", unit::logical_blocks),
    u32("extent", 2, "place of the directory", unit::logical_blocks),
    u16("parent", 6, "number of the parent's record; the root has 1"),
};
inline constexpr Structure kPathRecord =
    structure("ISO 9660 path table record", "ECMA-119 9.4", 8, kPathRecordFields);

// What all descriptors begin with.
inline constexpr FieldList kDescriptorHeadFields = {
    u8("type", 0, "kind of descriptor", unit::none, kDescriptorTypes),
    text("standard_id", 1, 5, "CD001"),
    u8("version", 6, "1; 2 in an enhanced descriptor"),
};
inline constexpr Structure kDescriptorHead =
    structure("ISO 9660 descriptor head", "ECMA-119 8.1", 7, kDescriptorHeadFields);

inline constexpr FieldList kVolumeNameFields = {
    text("system_id", 0, 32, "system that uses sectors 0 to 15"),
    text("volume_id", 32, 32, "name of the volume"),
    reserved(64, 8),
    both32("blocks", 72, "volume space size", unit::logical_blocks),
};
inline constexpr FieldList kVolumeSizeFields = {
    both16("set_size", 0, "volumes in the set"),
    both16("sequence_number", 4, "number of this volume in the set"),
    both16("block_bytes", 8, "size of a logical block", unit::bytes),
    both32("path_table_bytes", 12, "length of each path table", unit::bytes),
};
/// The volume's four times; a time is recorded in 17 bytes here, in 16 in High Sierra.
consteval auto volume_time_fields(const Structure& time) {
  return FieldList{
      records("created", 0, 1, time, "creation of the volume"),
      records("modified", time.bytes, 1, time, "last modification of the volume"),
      records("expires", 2 * time.bytes, 1, time, "may be regarded as obsolete after"),
      records("effective", 3 * time.bytes, 1, time, "may be used after"),
  };
}

// Primary and supplementary descriptors have one layout; what only a supplementary one uses is zero
// in a primary one. In a Joliet descriptor the texts are UCS-2, most significant byte first.
inline constexpr FieldList kVolumeDescriptorFields = {
    kDescriptorHeadFields,
    u8("flags", 7, "supplementary: 0x01 an escape sequence is not registered"),
    at(8, kVolumeNameFields),
    bytes("escape_sequences", 88, 32, "supplementary: character sets (ISO 2022)"),
    at(120, kVolumeSizeFields),
    le32("path_table_l", 140, "little-endian path table", unit::logical_blocks),
    le32("optional_path_table_l", 144, "its copy; 0 = none", unit::logical_blocks),
    be32("path_table_m", 148, "big-endian path table", unit::logical_blocks),
    be32("optional_path_table_m", 152, "its copy; 0 = none", unit::logical_blocks),
    records("root", 156, 1, kDirectoryRecord, "directory record of the root directory"),
    u8("root_identifier", 189, "identifier of the root directory: one byte 0"),
    text("volume_set_id", 190, 128, "name of the volume set"),
    text("publisher_id", 318, 128, "publisher; _NAME = a file in the root directory"),
    text("preparer_id", 446, 128, "who prepared the data; _NAME = a file"),
    text("application_id", 574, 128, "how the data are recorded; _NAME = a file"),
    text("copyright_file", 702, 37, "copyright statement, a file in the root directory"),
    text("abstract_file", 739, 37, "abstract, a file in the root directory"),
    text("bibliographic_file", 776, 37, "bibliography, a file in the root directory"),
    at(813, volume_time_fields(kDate17)),
    u8("structure_version", 881, "file structure: 1; 2 in an enhanced descriptor"),
    reserved(882, 1),
    bytes("application_use", 883, 512, "free for applications"),
    reserved(1395, 653, "for future standardization"),
};
inline constexpr Structure kVolumeDescriptor =
    structure("ISO 9660 volume descriptor", "ECMA-119 8.4 and 8.5", 2048, kVolumeDescriptorFields);

inline constexpr FieldList kBootRecordFields = {
    kDescriptorHeadFields,
    text("boot_system_id", 7, 32, "system that can act on this record"),
    text("boot_id", 39, 32, "boot system that is described"),
    bytes("system_use", 71, 1977, "as the boot system likes"),
};
inline constexpr Structure kBootRecord =
    structure("ISO 9660 boot record", "ECMA-119 8.2", 2048, kBootRecordFields);

// The same bytes read as an El Torito boot record.
inline constexpr FieldList kElToritoRecordFields = {
    kDescriptorHeadFields, text("boot_system_id", 7, 32, "EL TORITO SPECIFICATION"),
    reserved(39, 32),      le32("catalog", 71, "place of the boot catalog", unit::optical_sectors),
    reserved(75, 1973),
};
inline constexpr Structure kElToritoRecord = structure(
    "El Torito boot record", "El Torito specification 1.0, figure 7", 2048, kElToritoRecordFields);

inline constexpr FieldList kPartitionDescriptorFields = {
    kDescriptorHeadFields,
    reserved(7, 1),
    text("system_id", 8, 32, "system that can use the partition"),
    text("partition_id", 40, 32, "name of the partition"),
    both32("extent", 72, "first block", unit::logical_blocks),
    both32("blocks", 80, "length", unit::logical_blocks),
    bytes("system_use", 88, 1960, "as the system likes"),
};
inline constexpr Structure kPartitionDescriptor =
    structure("ISO 9660 partition descriptor", "ECMA-119 8.6", 2048, kPartitionDescriptorFields);

inline constexpr FieldList kTerminatorFields = {
    kDescriptorHeadFields,
    reserved(7, 2041),
};
inline constexpr Structure kTerminator =
    structure("ISO 9660 set terminator", "ECMA-119 8.3", 2048, kTerminatorFields);

// CD-ROM XA writes its mark into the application use of the primary descriptor.
inline constexpr std::uint64_t kXaMarkOffset =
    1024;  // libcdio cdio/iso9660.h, ISO_XA_MARKER_OFFSET
inline constexpr std::string_view kXaMark = "CD-XA001";

// Joliet specification, "SVD Escape Sequences Field": UCS-2 levels 1, 2 and 3.
inline constexpr std::string_view kJolietEscapes[] = {"%/@", "%/C", "%/E"};

// Boot catalog: 32-byte entries.
inline constexpr std::uint64_t kCatalogEntryBytes = 32;
inline constexpr std::uint64_t kCatalogKey = 0xAA55;
inline constexpr Name kBootPlatforms[] = {
    {0, "i386"}, {1, "ppc"}, {2, "m68k or ppc desktop"}, {0xEF, "EFI"}};
inline constexpr Name kBootMedia[] = {{0, "no emulation"},
                                      {1, "1.2 MB diskette"},
                                      {2, "1.44 MB diskette"},
                                      {3, "2.88 MB diskette"},
                                      {4, "hard disk"}};

inline constexpr Field kCatalogValidationFields[] = {
    u8("header_id", 0, "1"),
    u8("platform", 1, "machine", unit::none, kBootPlatforms),
    reserved(2, 2),
    text("id", 4, 24, "who made the disc"),
    le16("checksum", 28, "makes the sum of all 16 words 0"),
    le16("key", 30, "0xAA55"),
};
inline constexpr Structure kCatalogValidation =
    structure("El Torito validation entry", "El Torito specification 1.0, figure 2", 32,
              kCatalogValidationFields);

inline constexpr Field kCatalogEntryFields[] = {
    u8("boot_indicator", 0, "0x88 bootable, 0 not"),
    u8("media", 1, "low four bits: what the image poses as", unit::none, kBootMedia),
    le16("load_segment", 2, "0 = 0x7C0"),
    u8("system_type", 4, "type byte of the image's partition"),
    reserved(5, 1),
    le16("load_blocks", 6, "how much firmware loads at first", unit::blocks),
    le32("image", 8, "place of the image", unit::optical_sectors),
    reserved(12, 20),
};
inline constexpr Structure kCatalogEntry = structure(
    "El Torito default entry", "El Torito specification 1.0, figure 3", 32, kCatalogEntryFields);

}  // namespace platter::filesystem::iso9660
