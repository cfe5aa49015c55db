// Which heads and sectors per track an MBR's cylinder-head-sector fields were written for.
#pragma once

#include <cstdint>
#include <optional>
#include <span>

namespace platter::label {

/// One place stated twice: as cylinder, head and sector (from 1 on) and as a sector number.
struct ChsPair {
  std::uint64_t cylinder = 0;
  std::uint64_t head = 0;
  std::uint64_t sector = 1;
  std::uint64_t lba = 0;
  bool is_end = false;   ///< the last sector of a slice; ends usually close a cylinder
  std::uint64_t at = 0;  ///< where the three bytes stand, in image bytes
};

struct InferredGeometry {
  std::uint64_t heads = 0;
  std::uint64_t sectors_per_track = 0;
  std::uint64_t agreeing = 0;  ///< pairs that both readings agree on
};

/// Whether both readings of a pair agree under that geometry.
[[nodiscard]] bool agrees(const ChsPair& pair, std::uint64_t heads,
                          std::uint64_t sectors_per_track) noexcept;

/// The geometry that most pairs agree with; nothing when fewer than two pairs, or not more than
/// half of them, bear it out, or when none of them lies beyond cylinder 0.
[[nodiscard]] std::optional<InferredGeometry> infer_geometry(std::span<const ChsPair> pairs);

}  // namespace platter::label
