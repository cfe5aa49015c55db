// Node numbers of HFS+ volumes: what NodeId means there.
#pragma once

#include "core/volume.h"
#include "filesystem/hfs_structures.h"

namespace platter::filesystem {

// Directories: the catalog id. Files: leaf of the record, index in the leaf, a mark, resource fork.
inline constexpr unsigned kHfsPlusLeafShift = 16;
inline constexpr NodeId kHfsPlusFileMark = NodeId{1} << 62U;
inline constexpr NodeId kHfsPlusResourceMark = NodeId{1} << 63U;

[[nodiscard]] constexpr NodeId hfsplus_file_node(std::uint64_t leaf, std::size_t index) noexcept {
  return kHfsPlusFileMark | leaf << kHfsPlusLeafShift | (index & 0xFFFFU);
}
[[nodiscard]] constexpr std::uint64_t hfsplus_leaf_of(NodeId file) noexcept {
  return file >> kHfsPlusLeafShift & 0xFFFFFFFF;
}
[[nodiscard]] constexpr std::size_t hfsplus_index_of(NodeId file) noexcept {
  return static_cast<std::size_t>(file & 0xFFFFU);
}
[[nodiscard]] constexpr bool is_hfsplus_resource(NodeId node) noexcept {
  return (node & kHfsPlusResourceMark) != 0;
}
/// Whether a node can be a directory: an id from the root's on.
[[nodiscard]] constexpr bool is_hfsplus_directory(NodeId node) noexcept {
  return node >= kHfsRoot && node <= 0xFFFFFFFF;
}

}  // namespace platter::filesystem
