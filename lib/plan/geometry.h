// Which cylinders x heads x sectors describe a disk of a given size.
#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <string_view>
#include <vector>

#include "plan/size.h"

namespace platter::plan {

/// A disk geometry in 512-byte blocks. All three are at least 1 in every geometry that is returned.
struct Geometry {
  std::uint64_t cylinders = 0;
  std::uint64_t heads = 0;
  std::uint64_t sectors_per_track = 0;

  /// Blocks it describes; saturates.
  [[nodiscard]] std::uint64_t blocks() const noexcept;
  /// Blocks of one cylinder; saturates.
  [[nodiscard]] std::uint64_t cylinder_blocks() const noexcept;
  friend bool operator==(const Geometry&, const Geometry&) = default;
};

/// What a mode page can say: X3.131-1994, page 04h has 24 bits for cylinders and 8 bits for heads,
/// page 03h has 16 bits for sectors per track. Nothing larger is ever answered.
inline constexpr std::uint64_t kMaxCylinders = (std::uint64_t{1} << 24) - 1;
inline constexpr std::uint64_t kMaxHeads = 255;
inline constexpr std::uint64_t kMaxSectors = (std::uint64_t{1} << 16) - 1;

/// Bounds of a search. Zero is never a bound: the smallest value of each is 1.
struct GeometryLimits {
  std::uint64_t max_cylinders = kMaxCylinders;
  std::uint64_t max_heads = kMaxHeads;
  std::uint64_t max_sectors = kMaxSectors;
  std::optional<std::uint64_t> heads;              ///< fixed
  std::optional<std::uint64_t> sectors_per_track;  ///< fixed
};

/// What the fields of a label can hold.
struct LabelWidths {
  std::string_view label;  ///< format id, as in the survey
  std::string_view title;
  std::uint64_t max_cylinders;
  std::uint64_t max_heads;
  std::uint64_t max_sectors;
};

/// Every label with known widths.
[[nodiscard]] std::span<const LabelWidths> label_widths() noexcept;
/// The row of one label, or nullptr.
[[nodiscard]] const LabelWidths* find_label_widths(std::string_view label) noexcept;
/// The smaller of each bound.
[[nodiscard]] GeometryLimits narrowed(GeometryLimits limits, const LabelWidths& widths) noexcept;

struct GeometryChoice {
  Geometry geometry;
  std::uint64_t unused_blocks = 0;  ///< blocks of the disk that it does not describe
  friend bool operator==(const GeometryChoice&, const GeometryChoice&) = default;
};

/// Heads <= 16 and sectors per track <= 63.
[[nodiscard]] bool is_period_typical(const Geometry& geometry) noexcept;

/// The order in which choices are listed; see docs/geometry.md.
[[nodiscard]] bool ranks_before(const GeometryChoice& a, const GeometryChoice& b) noexcept;

/// Every geometry within the limits that describes exactly `blocks`; when there is none, every one
/// that leaves the fewest blocks unused. Best first, at most `at_most` of them. Empty only for no
/// blocks, or when a fixed value is 0, over its bound or alone larger than the disk.
[[nodiscard]] std::vector<GeometryChoice> solve_geometry(std::uint64_t blocks,
                                                         const GeometryLimits& limits,
                                                         std::size_t at_most);

/// Reads "C/H/S", each at least 1 and within the mode pages.
[[nodiscard]] Parsed<Geometry> parse_geometry(std::string_view text);

/// Sizes around `blocks` that whole cylinders of a geometry give.
struct GeometryLike {
  std::uint64_t blocks = 0;  ///< what the geometry itself describes
  Geometry below;            ///< most cylinders that fit; 0 cylinders when not even one does
  Geometry above;            ///< fewest cylinders that cover it
};
[[nodiscard]] GeometryLike geometry_like(const Geometry& geometry, std::uint64_t blocks) noexcept;

}  // namespace platter::plan
