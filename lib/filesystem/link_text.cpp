#include "filesystem/link_text.h"

#include <algorithm>
#include <span>

namespace platter::filesystem {

std::string link_text(Volume& volume, const View& view, NodeId node, std::uint64_t bytes) {
  std::string text(static_cast<std::size_t>(bytes), '\0');
  std::size_t filled = 0;
  volume.each_extent(node, [&](const Extent& extent) {
    if (extent.absent || extent.offset != filled || filled == text.size()) return false;
    const auto length =
        static_cast<std::size_t>(std::min<std::uint64_t>(extent.bytes, text.size() - filled));
    const auto to = std::as_writable_bytes(std::span(text)).subspan(filled, length);
    const std::size_t there = view.read(extent.start - view.start(), to);
    filled += there;
    return there == length;
  });
  text.resize(filled);
  return text;
}

}  // namespace platter::filesystem
