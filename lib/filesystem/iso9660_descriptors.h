// The volume descriptor set of an ISO 9660 volume: what stands from sector 16 on.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "core/claim.h"
#include "core/view.h"
#include "filesystem/iso9660_structures.h"

namespace platter::filesystem::iso9660 {

using VolumeDescriptor = Record<kVolumeDescriptor>;

/// The descriptors of a volume, each kind in the order in which it stands there.
struct DescriptorSet {
  std::vector<VolumeDescriptor> primary;
  std::vector<VolumeDescriptor> supplementary;  ///< Joliet and enhanced ones among them
  std::vector<Record<kBootRecord>> boot;
  std::vector<Record<kPartitionDescriptor>> partitions;
  std::optional<Record<kTerminator>> terminator;
  std::uint64_t end = 0;  ///< byte offset in the view behind the last descriptor
  bool cut = false;       ///< the image ends before a terminator
};

/// Whether a descriptor stands at sector 16.
[[nodiscard]] bool has_descriptors(const View& view);

/// Reads descriptors from sector 16 to the terminator, to the first sector that is none, or to the
/// 64th, whichever comes first.
[[nodiscard]] DescriptorSet read_descriptors(const View& view);

/// Sizes and places that one descriptor gives. Where the halves of a number differ the
/// little-endian one is used unless only the other can be right.
struct TreeShape {
  std::uint64_t block_bytes = 0;       ///< size of a logical block; 0: no valid one is given
  std::uint64_t blocks = 0;            ///< volume space size, logical blocks
  std::uint64_t path_table_bytes = 0;  ///< length of each path table
  std::uint64_t root_extent = 0;       ///< block of the root directory, attribute record included
  std::uint64_t root_bytes = 0;        ///< length of the root directory

  [[nodiscard]] std::uint64_t volume_bytes() const noexcept {
    return saturating_mul(blocks, block_bytes);
  }
  [[nodiscard]] std::uint64_t place_of(std::uint64_t block) const noexcept {
    return saturating_mul(block, block_bytes);
  }
};
[[nodiscard]] TreeShape shape_of(const VolumeDescriptor& descriptor);

/// Block numbers are meaningless without a block size; the usual one stands in for a bad one.
[[nodiscard]] TreeShape usable(TreeShape shape);

/// Whether a primary descriptor is believed. Type and standard identifier are six bytes that
/// anything may hold, so one of two things must be there that other bytes do not have: a size in
/// valid blocks that is written alike in both orders, or a root record. Of a copy that was cut, at
/// least these must be there.
[[nodiscard]] bool is_volume(const VolumeDescriptor& descriptor);

/// Whether the root record in a descriptor has the form that every root record has.
[[nodiscard]] bool is_root_record(const VolumeDescriptor& descriptor);

/// Joliet level 1 to 3; 0 when the descriptor is no Joliet descriptor.
[[nodiscard]] unsigned joliet_level(const VolumeDescriptor& descriptor);
/// Whether it is an enhanced descriptor of ISO 9660:1999.
[[nodiscard]] bool is_enhanced(const VolumeDescriptor& descriptor);
/// Which descriptor it is, in words, e.g. "Joliet level 3".
[[nodiscard]] std::string role_of(const VolumeDescriptor& descriptor);

/// The text of a descriptor field without its padding; Joliet texts are two bytes a character.
[[nodiscard]] std::string descriptor_text(std::span<const std::byte> field, Charset charset);

/// Reports every number of the structure whose two halves differ.
/// \param data  the structure's bytes; fields that are not wholly there are left out
/// \param start where the structure stands, in image bytes
/// \param what  the structure in words, e.g. "primary descriptor"
void compare_halves(Claim& claim, const Structure& structure, std::span<const std::byte> data,
                    std::uint64_t start, std::string_view what);

}  // namespace platter::filesystem::iso9660
