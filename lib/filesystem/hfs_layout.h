// Where the parts of an HFS volume lie, and keys of its trees.
#pragma once

#include <optional>
#include <string_view>

#include "core/facts.h"
#include "core/view.h"
#include "filesystem/hfs_structures.h"

namespace platter::filesystem {

using HfsHeader = Record<kHfsHeader>;

/// The header, when its fields make sense together: block size, bitmap before the blocks, name,
/// counts, and the first extents of both trees inside the volume.
[[nodiscard]] std::optional<HfsHeader> hfs_header_at(const View& view, std::uint64_t place);

/// The volume's length up to the end of its last allocation block.
[[nodiscard]] std::uint64_t hfs_blocks_end(const HfsHeader& header);
/// The spare copy of the header: in the last but one 512-byte block of the volume, which leaves
/// less than an allocation block and the copy behind the last allocation block.
[[nodiscard]] std::optional<HfsHeader> hfs_spare(const View& view, const HfsHeader& header);

/// Seconds since 1904 in local time, taken as UTC; 0 is no date.
[[nodiscard]] std::optional<Timestamp> hfs_time(std::uint64_t seconds);

/// The text of a length byte and what follows it, never more than `most` bytes.
[[nodiscard]] std::string_view hfs_name(std::uint64_t length, std::span<const std::byte> bytes);

/// The key of a catalog record. A record whose key is cut short has the lowest key there is.
struct HfsCatalogKey {
  std::uint64_t parent = 0;
  std::string_view name = {};
};
[[nodiscard]] HfsCatalogKey hfs_catalog_key(std::span<const std::byte> record);

/// Orders names as the catalog does: without regard to case and some accents (Linux
/// fs/hfs/string.c). Below, at or above 0.
[[nodiscard]] int compare_hfs_names(std::string_view a, std::string_view b);

}  // namespace platter::filesystem
