// Structures of AdvFS. All numbers are little-endian.
#pragma once

#include "core/layout.h"

namespace platter::filesystem {

inline constexpr std::uint64_t kAdvfsMagic = 0x11081953;
inline constexpr std::uint64_t kAdvfsMagicPlace = 16 * 512 + 1372;
/// The first page of the metadata table lies behind the blocks that are kept back.
inline constexpr std::uint64_t kAdvfsPagePlace = 32 * 512;
inline constexpr std::uint64_t kAdvfsPageBytes = 8192;
inline constexpr std::uint64_t kAdvfsCells = 28;

inline constexpr Field kAdvfsPageFields[] = {
    u32("next_free_cell", 0, "next free cell of the page"),
    u32("next_free_page", 4, "next page with free cells"),
    u32("free_cells", 8, "free cells of the page, at most 28"),
    u32("page_and_version", 12, "bits 0 to 26: number of the page; 27 to 31: version"),
};
inline constexpr Structure kAdvfsPage =
    structure("AdvFS metadata page header", "bs_ods.h, struct bsMPg", 16, kAdvfsPageFields);

inline constexpr Field kAdvfsCellFields[] = {
    u32("next_cell", 0, "next cell of the file"),
    u16("next_volume", 4, "volume of that cell"),
    u16("segment", 6, "number of the cell in its file"),
    u64("tag", 8, "file"),
    u64("set_tag", 16, "set of files that it belongs to"),
    bytes("records", 24, 268, "records: length, type and version in 4 bytes, then data"),
};
inline constexpr Structure kAdvfsCell =
    structure("AdvFS metadata cell", "bs_ods.h, struct bsMC", 292, kAdvfsCellFields);

inline constexpr Field kAdvfsRecordFields[] = {
    u16("bytes", 0, "length, with these four bytes", unit::bytes),
    u8("type", 2, "type, 0: no more records"),
    u8("version", 3, "version of the type"),
};
inline constexpr Structure kAdvfsRecord =
    structure("AdvFS record header", "bs_ods.h, struct bsMR", 4, kAdvfsRecordFields);

inline constexpr std::uint64_t kAdvfsVolumeRecord = 3;
inline constexpr std::uint64_t kAdvfsDomainRecord = 4;

inline constexpr Field kAdvfsVolumeFields[] = {
    u32("mounted", 0, "last mount", unit::unix_time),
    u32("mounted_microseconds", 4, "and microseconds"),
    u32("state", 8, "state"),
    u16("index", 12, "number of the volume in its domain"),
    reserved(14, 2),
    u32("blocks", 16, "length of the volume", unit::blocks),
    u32("cluster_blocks", 20, "blocks that a bit of the bitmap stands for"),
    u32("most_page_bytes", 24, "largest page", unit::blocks),
    u32("extent_pages", 28, "pages by which the metadata table grows"),
};
inline constexpr Structure kAdvfsVolume =
    structure("AdvFS volume attributes", "bs_ods.h, struct bsVdAttr", 32, kAdvfsVolumeFields);

inline constexpr Field kAdvfsDomainFields[] = {
    u32("created", 0, "creation of the domain; its identifier", unit::unix_time),
    u32("created_microseconds", 4, "and microseconds"),
    u32("most_volumes", 8, "most volumes in the domain"),
};
inline constexpr Structure kAdvfsDomain =
    structure("AdvFS domain attributes", "bs_ods.h, struct bsDmnAttr", 12, kAdvfsDomainFields);

}  // namespace platter::filesystem
