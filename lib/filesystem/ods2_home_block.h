// Home block of ODS-2 and ODS-5. All numbers are little-endian.
#pragma once

#include "core/layout.h"

namespace platter::filesystem {

inline constexpr Field kOds2HomeFields[] = {
    u32("home_lbn", 0, "logical block of this home block"),
    u32("alternate_home_lbn", 4, "logical block of another one"),
    u32("alternate_index_lbn", 8, "logical block of the copy of the index file's header"),
    u8("minor_level", 12, "version of the structure"),
    u8("major_level", 13, "2: ODS-2, 5: ODS-5"),
    u16("cluster_blocks", 14, "blocks in a cluster"),
    u16("home_vbn", 16, "block of this one in the index file"),
    u16("alternate_home_vbn", 18, "block of the other one in the index file"),
    u16("alternate_index_vbn", 20, "block of that copy in the index file"),
    u16("bitmap_vbn", 22, "first block of the index file's bitmap in that file"),
    u32("bitmap_lbn", 24, "logical block of the index file's bitmap"),
    u32("most_files", 28, "most files on the volume"),
    u16("bitmap_blocks", 32, "blocks of the index file's bitmap"),
    u16("reserved_files", 34, "files that are the system's own, 5 or more"),
    u16("device_type", 36, "0"),
    u16("volume_number", 38, "number in its volume set"),
    u16("set_count", 40, "volumes in the set"),
    u16("characteristics", 42, "volume characteristics"),
    u32("owner", 44, "owner, group in the upper half"),
    u32("security_mask", 48, "security mask"),
    u16("protection", 52, "volume protection"),
    u16("file_protection", 54, "protection of new files"),
    u16("record_protection", 56, "0"),
    u16("checksum_1", 58, "sum of the 16-bit words before this one"),
    u64("created", 60, "creation, 100 ns since 1858-11-17"),
    u8("window", 68, "window"),
    u8("lru_limit", 69, "directories to keep in memory"),
    u16("extend", 70, "blocks by which files grow"),
    u64("least_retention", 72, "least retention"),
    u64("most_retention", 80, "most retention"),
    u64("revised", 88, "last change of the volume's attributes, 100 ns since 1858-11-17"),
    reserved(96, 360, "security classes"),
    u32("serial", 456, "serial number of the medium"),
    text("structure_name", 460, 12, "name of the volume set"),
    text("volume_name", 472, 12, "volume name"),
    text("owner_name", 484, 12, "name of the owner"),
    text("format", 496, 12, "DECFILE11B"),
    reserved(508, 2),
    u16("checksum_2", 510, "sum of the 16-bit words before this one"),
};
inline constexpr Structure kOds2Home =
    structure("ODS-2 home block", "Files-11 On-Disk Structure specification, home block", 512,
              kOds2HomeFields);

}  // namespace platter::filesystem
