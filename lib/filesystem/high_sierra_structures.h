// Structures of a High Sierra volume, the proposal of 1986 that ISO 9660 grew out of.
//
// What is not listed here (system area, sectors, both-endian numbers, the order of records) is as
// in iso9660_structures.h, whose lists stand where the form is the same. The sources that can be
// looked up stop at the root record; what stands behind it is from memory, see
// docs/formats/high-sierra.md.
#pragma once

#include "core/layout.h"
#include "filesystem/iso9660_structures.h"

namespace platter::filesystem::high_sierra {

inline constexpr std::string_view kStandardId = "CDROM";

// Like the recording time of ISO 9660, but without a zone.
inline constexpr Structure kDate6 = structure(
    "High Sierra recording time", "Linux fs/isofs/util.c, iso_date", 6, iso9660::kDate6Fields);

inline constexpr Structure kDate16 =
    structure("High Sierra volume time", "from memory", 16, iso9660::kDate16Fields);

// The identifier follows, then a pad byte when its length is even.
inline constexpr FieldList kDirectoryRecordFields = {
    iso9660::kRecordPlaceFields,        records("recorded", 18, 1, kDate6, "recording time"),
    at(24, iso9660::kRecordFlagsField), reserved(25, 1),
    at(26, iso9660::kRecordEndFields),
};
inline constexpr Structure kDirectoryRecord = structure(
    "High Sierra directory record",
    "Linux include/uapi/linux/iso_fs.h, struct iso_directory_record, and fs/isofs/inode.c", 33,
    kDirectoryRecordFields);

// The fields of ISO 9660 in another order. The identifier follows, and a pad byte when its length
// is odd.
inline constexpr Field kPathRecordFields[] = {
    u32("extent", 0, "place of the directory", unit::logical_blocks),
    u8("attribute_blocks", 4, "extended attribute record of the directory", unit::logical_blocks),
    u8("identifier_length", 5, "of the identifier that follows", unit::bytes),
    u16("parent", 6, "number of the parent's record; the root has 1"),
};
inline constexpr Structure kPathRecord =
    structure("High Sierra path table record", "from memory", 8, kPathRecordFields);

inline constexpr FieldList kDescriptorHeadFields = {
    both32("block", 0, "place of this descriptor", unit::logical_blocks),
    u8("type", 8, "kind of descriptor", unit::none, iso9660::kDescriptorTypes),
    text("standard_id", 9, 5, "CDROM"),
    u8("version", 14, "1"),
};
inline constexpr Structure kDescriptorHead = structure(
    "High Sierra descriptor head", "Linux include/uapi/linux/iso_fs.h, struct hs_volume_descriptor",
    15, kDescriptorHeadFields);

inline constexpr FieldList kVolumeDescriptorFields = {
    kDescriptorHeadFields,
    reserved(15, 1),
    at(16, iso9660::kVolumeNameFields),
    bytes("escape_sequences", 96, 32, "character sets"),
    at(128, iso9660::kVolumeSizeFields),
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
    at(790, iso9660::volume_time_fields(kDate16)),
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
