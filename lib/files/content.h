// The bytes of a file.
#pragma once

#include <cstdint>
#include <span>
#include <vector>

#include "core/function_ref.h"
#include "core/view.h"
#include "core/volume.h"

namespace platter {

/// Receives a file piece by piece, by rising offset. Holes are not handed out: what lies between
/// two pieces reads as zero. `start` is the place of the piece in the image. Returning false ends
/// the reading.
using PieceVisitor =
    FunctionRef<bool(std::uint64_t offset, std::uint64_t start, std::span<const std::byte> bytes)>;

/// Reads a file from the view that its volume was opened on.
/// \returns what the image does not hold or cannot give, as absent extents
std::vector<Extent> read_content(Volume& volume, const View& view, NodeId node, PieceVisitor visit);

/// The extents of a file, joined and clipped to what the view holds; what is missing comes as
/// absent extents.
void each_present_extent(Volume& volume, const View& view, NodeId node,
                         FunctionRef<bool(const Extent&)> visit);

}  // namespace platter
