#include "files/content.h"

#include <algorithm>

namespace platter {
namespace {

constexpr std::uint64_t kPiece = 256 * 1024;

}  // namespace

void each_present_extent(Volume& volume, const View& view, NodeId node,
                         FunctionRef<bool(const Extent&)> visit) {
  const std::uint64_t end = view.start() + view.bytes();
  ExtentJoiner joiner(visit);
  bool wanted = true;
  volume.each_extent(node, [&](const Extent& extent) {
    const bool nowhere = extent.absent || extent.start < view.start() || extent.start >= end;
    const std::uint64_t present = nowhere ? 0 : std::min(extent.bytes, end - extent.start);
    wanted = joiner.add({extent.offset, extent.start, present, false});
    if (wanted && present != extent.bytes) {
      wanted = joiner.add({saturating_add(extent.offset, present),
                           extent.absent ? 0 : saturating_add(extent.start, present),
                           extent.bytes - present, true});
    }
    return wanted;
  });
  if (wanted) joiner.finish();
}

std::vector<Extent> read_content(Volume& volume, const View& view, NodeId node,
                                 PieceVisitor visit) {
  std::vector<Extent> missing;
  std::vector<std::byte> buffer;
  each_present_extent(volume, view, node, [&](const Extent& extent) {
    if (extent.absent) {
      missing.push_back(extent);
      return true;
    }
    buffer.resize(static_cast<std::size_t>(
        std::max<std::uint64_t>(buffer.size(), std::min(extent.bytes, kPiece))));
    for (std::uint64_t done = 0; done < extent.bytes;) {
      const auto count = static_cast<std::size_t>(std::min(kPiece, extent.bytes - done));
      const std::span<std::byte> piece = std::span(buffer).first(count);
      try {
        view.read(extent.start - view.start() + done, piece);
        if (!visit(extent.offset + done, extent.start + done, piece)) return false;
      } catch (const IoError&) {
        missing.push_back({extent.offset + done, extent.start + done, count, true});
      }
      done += count;
    }
    return true;
  });
  return missing;
}

}  // namespace platter
