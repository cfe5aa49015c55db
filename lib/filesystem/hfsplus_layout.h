// Where the parts of an HFS+ volume lie, and keys of its catalog.
#pragma once

#include <optional>
#include <string_view>
#include <vector>

#include "core/claim.h"
#include "core/view.h"
#include "filesystem/hfs_tree.h"
#include "filesystem/hfsplus_structures.h"

namespace platter::filesystem {

using HfsPlusHeader = Record<kHfsPlusHeader>;

/// The bytes in which an HFS+ volume may lie: the view itself, or the part of it that an HFS volume
/// around it gives away. `wrapped` is what that part is said to have, 0 without a wrapper.
struct HfsPlusPlace {
  View volume;
  std::uint64_t wrapped = 0;
};
[[nodiscard]] HfsPlusPlace hfsplus_place(const View& view);

/// Signature with its version, a block size and blocks: what must be right to go on at all.
[[nodiscard]] bool is_hfsplus_header(const HfsPlusHeader& header);

/// What contradicts itself in the header; with an empty list the volume can be read.
[[nodiscard]] std::vector<Finding> hfsplus_contradictions(const HfsPlusHeader& header);

struct HfsPlusFound {
  HfsPlusHeader header;
  std::optional<HfsPlusHeader> copy;
  bool damaged = false;  ///< the header is beyond use, the copy stands for it
};
/// The header of a volume, or its copy when the header's signature is there and its fields are no
/// good.
[[nodiscard]] std::optional<HfsPlusFound> find_hfsplus(const View& volume);

/// The volume's length up to the end of its last block.
[[nodiscard]] std::uint64_t hfsplus_blocks_end(const HfsPlusHeader& header);
/// The copy of the header: 1024 bytes before the end of the slice that was given to the volume,
/// which may leave less than a block behind the last one.
[[nodiscard]] std::optional<HfsPlusHeader> hfsplus_copy(const View& volume,
                                                        const HfsPlusHeader& header);

/// How a tree is laid out whose file begins there; nothing when its header is none.
[[nodiscard]] std::optional<HfsTreeForm> hfsplus_tree_form(const View& volume, std::uint64_t place);

/// The key of a catalog record. A record whose key is cut short has the lowest key there is.
struct HfsPlusCatalogKey {
  std::uint64_t parent = 0;
  std::string_view name = {};  ///< UTF-16, big-endian
};
[[nodiscard]] HfsPlusCatalogKey hfsplus_catalog_key(std::span<const std::byte> record);

/// The first number of a record's data, which tells what it is; 0 when there is none.
[[nodiscard]] std::uint64_t hfsplus_kind(std::span<const std::byte> data);

}  // namespace platter::filesystem
