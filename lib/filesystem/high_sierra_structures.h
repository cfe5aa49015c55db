// Structures of a High Sierra volume, the proposal of 1986 that ISO 9660 grew out of.
//
// What is not listed here (system area, sectors, both-endian numbers, the order of records) is as
// in iso9660_structures.h. The sources that can be looked up stop at the root record; what stands
// behind it is from memory, see docs/formats/high-sierra.md.
#pragma once

#include "core/layout.h"
#include "filesystem/iso9660_structures.h"

namespace platter::filesystem::high_sierra {

inline constexpr std::string_view kStandardId = "CDROM";

// Like the recording time of ISO 9660, but without a zone.
inline constexpr Field kDate6Fields[] = {
    u8("year", 0, "years since 1900"), u8("month", 1, "1 to 12"),  u8("day", 2, "1 to 31"),
    u8("hour", 3, "0 to 23"),          u8("minute", 4, "0 to 59"), u8("second", 5, "0 to 59"),
};
inline constexpr Structure kDate6 =
    structure("High Sierra recording time", "Linux fs/isofs/util.c, iso_date", 6, kDate6Fields);

inline constexpr Field kDate16Fields[] = {
    text("year", 0, 4, "digits, 1 to 9999; all digits 0 = not given"),
    text("month", 4, 2, "digits, 1 to 12"),
    text("day", 6, 2, "digits, 1 to 31"),
    text("hour", 8, 2, "digits, 0 to 23"),
    text("minute", 10, 2, "digits, 0 to 59"),
    text("second", 12, 2, "digits, 0 to 59"),
    text("hundredths", 14, 2, "digits, hundredths of a second"),
};
inline constexpr Structure kDate16 =
    structure("High Sierra volume time", "from memory", 16, kDate16Fields);

// The identifier follows, then a pad byte when its length is even.
inline constexpr Field kDirectoryRecordFields[] = {
    u8("length", 0, "of the record; 0 = no more records in this sector", unit::bytes),
    u8("attribute_blocks", 1, "extended attribute record in front of the data",
       unit::logical_blocks),
    both32("extent", 2, "place of the data", unit::logical_blocks),
    both32("bytes", 10, "length of the data", unit::bytes),
    records("recorded", 18, 1, kDate6, "recording time"),
    u8("flags", 24,
       "0x01 hidden, 0x02 directory, 0x04 associated, 0x08 record format, 0x10 protection, "
       "0x80 more extents follow"),
    reserved(25, 1),
    u8("unit_blocks", 26, "file unit when interleaved", unit::logical_blocks),
    u8("gap_blocks", 27, "gap between file units when interleaved", unit::logical_blocks),
    both16("sequence_number", 28, "volume of the set that holds the data"),
    u8("identifier_length", 32, "of the identifier that follows", unit::bytes),
};
inline constexpr Structure kDirectoryRecord = structure(
    "High Sierra directory record",
    "Linux include/uapi/linux/iso_fs.h, struct iso_directory_record, and fs/isofs/inode.c", 33,
    kDirectoryRecordFields);

// The identifier follows, and a pad byte when its length is odd.
inline constexpr Field kPathRecordFields[] = {
    u32("extent", 0, "place of the directory", unit::logical_blocks),
    u8("attribute_blocks", 4, "extended attribute record of the directory", unit::logical_blocks),
    u8("identifier_length", 5, "of the identifier that follows", unit::bytes),
    u16("parent", 6, "number of the parent's record; the root has 1"),
};
inline constexpr Structure kPathRecord =
    structure("High Sierra path table record", "from memory", 8, kPathRecordFields);

inline constexpr Field kDescriptorHeadFields[] = {
    both32("block", 0, "place of this descriptor", unit::logical_blocks),
    u8("type", 8, "kind of descriptor", unit::none, iso9660::kDescriptorTypes),
    text("standard_id", 9, 5, "CDROM"),
    u8("version", 14, "1"),
};
inline constexpr Structure kDescriptorHead = structure(
    "High Sierra descriptor head", "Linux include/uapi/linux/iso_fs.h, struct hs_volume_descriptor",
    15, kDescriptorHeadFields);

inline constexpr Field kVolumeDescriptorFields[] = {
    both32("block", 0, "place of this descriptor", unit::logical_blocks),
    u8("type", 8, "kind of descriptor", unit::none, iso9660::kDescriptorTypes),
    text("standard_id", 9, 5, "CDROM"),
    u8("version", 14, "1"),
    reserved(15, 1),
    text("system_id", 16, 32, "system that uses sectors 0 to 15"),
    text("volume_id", 48, 32, "name of the volume"),
    reserved(80, 8),
    both32("blocks", 88, "volume space size", unit::logical_blocks),
    bytes("escape_sequences", 96, 32, "character sets"),
    both16("set_size", 128, "volumes in the set"),
    both16("sequence_number", 132, "number of this volume in the set"),
    both16("block_bytes", 136, "size of a logical block", unit::bytes),
    both32("path_table_bytes", 140, "length of each path table", unit::bytes),
    array_of(4, le32("path_table_l", 148, "little-endian path table and copies; 0 = none",
                     unit::logical_blocks)),
    array_of(4, be32("path_table_m", 164, "big-endian path table and copies; 0 = none",
                     unit::logical_blocks)),
    records("root", 180, 1, kDirectoryRecord, "directory record of the root directory"),
    u8("root_identifier", 213, "identifier of the root directory: one byte 0"),
    text("volume_set_id", 214, 128, "name of the volume set"),
    text("publisher_id", 342, 128, "publisher"),
    text("preparer_id", 470, 128, "who prepared the data"),
    text("application_id", 598, 128, "how the data are recorded"),
    text("copyright_file", 726, 32, "copyright statement, a file in the root directory"),
    text("abstract_file", 758, 32, "abstract, a file in the root directory"),
    records("created", 790, 1, kDate16, "creation of the volume"),
    records("modified", 806, 1, kDate16, "last modification of the volume"),
    records("expires", 822, 1, kDate16, "may be regarded as obsolete after"),
    records("effective", 838, 1, kDate16, "may be used after"),
    u8("structure_version", 854, "1"),
    reserved(855, 1),
    bytes("application_use", 856, 512, "free for applications"),
    reserved(1368, 680),
};
inline constexpr Structure kVolumeDescriptor =
    structure("High Sierra volume descriptor",
              "Linux include/uapi/linux/iso_fs.h, struct hs_primary_descriptor; from memory behind "
              "the root record",
              2048, kVolumeDescriptorFields);

}  // namespace platter::filesystem::high_sierra
