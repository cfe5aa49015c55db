#include "filesystem/fat_table.h"

#include <algorithm>

namespace platter::filesystem {

FatTable::FatTable(View view, const FatLayout& layout)
    : view_(std::move(view)), layout_(layout), pages_(kPages) {
  const std::uint64_t place = layout_.place_of_copy(layout_.active_copy);
  const std::uint64_t present = view_.bytes() - std::min(place, view_.bytes());
  entries_ = std::min(layout_.fat_bytes, present) * 8 / layout_.width;
}

std::uint64_t FatTable::end_of_covered() const noexcept {
  return std::min(layout_.end_cluster(), entries_);
}

std::uint32_t FatTable::read(std::uint64_t offset, unsigned width) {
  const std::uint64_t number = offset / kPageBytes;
  Page& page = pages_[number % kPages];
  if (page.number != number) {
    page.number = kLargest;  // in case that reading throws
    view_.read(layout_.place_of_copy(layout_.active_copy) + number * kPageBytes, page.bytes);
    page.number = number;
  }
  return static_cast<std::uint32_t>(decode_unsigned(
      std::span(page.bytes).subspan(offset % kPageBytes, width), ByteOrder::little));
}

std::uint32_t FatTable::entry_of(std::uint64_t cluster) {
  if (!covers(cluster)) return 0;
  switch (layout_.width) {
    case 12: {
      const std::uint32_t pair = read(cluster + cluster / 2, 2);
      const std::uint32_t value = cluster % 2 == 0 ? pair & 0xFFFU : pair >> 4U;
      return value >= 0xFF7 ? value | 0x0FFFF000U : value;
    }
    case 16: {
      const std::uint32_t value = read(cluster * 2, 2);
      return value >= 0xFFF7 ? value | 0x0FFF0000U : value;
    }
    default:
      return read(cluster * 4, 4) & 0x0FFFFFFFU;
  }
}

std::uint32_t FatTable::state_entry() {
  if (!covers(1)) return 0;
  return layout_.width == 12 ? entry_of(1) : read(layout_.width / 8, layout_.width / 8);
}

FatChain FatTable::follow(std::uint64_t first, std::uint64_t limit) {
  FatChain chain;
  limit = std::min(limit, layout_.clusters);
  if (!layout_.is_cluster(first) || limit == 0) return chain;
  // R. Brent's way of finding a cycle: a mark that is moved at every power of two. A cycle among
  // the first `limit` clusters is found within three times as many steps.
  std::uint64_t at = first;
  std::uint64_t mark = first;
  std::uint64_t since_mark = 0;
  std::uint64_t until_move = 1;
  for (std::uint64_t steps = 1; steps <= 3 * limit; ++steps) {
    if (steps <= limit) {
      chain.clusters = steps;
      chain.last = static_cast<std::uint32_t>(at);
    }
    const std::uint32_t next = entry_of(at);
    if (!layout_.is_cluster(next)) {
      const bool ended = next >= kFatFirstEnd;
      chain.stop = steps > limit ? FatChain::Stop::limit
                   : ended       ? FatChain::Stop::ended
                                 : FatChain::Stop::broken;
      chain.entry = next;
      return chain;
    }
    ++since_mark;
    if (next == mark) {
      const std::uint64_t different = clusters_of_loop(first, since_mark);
      chain.stop = different < limit ? FatChain::Stop::loop : FatChain::Stop::limit;
      chain.clusters = std::min(different, limit);
      return chain;
    }
    if (since_mark == until_move) {
      mark = next;
      since_mark = 0;
      until_move *= 2;
    }
    at = next;
  }
  chain.stop = FatChain::Stop::limit;
  return chain;
}

// Clusters before the loop and in it, each once.
std::uint64_t FatTable::clusters_of_loop(std::uint64_t first, std::uint64_t length) {
  std::uint64_t ahead = first;
  for (std::uint64_t i = 0; i < length; ++i)
    ahead = entry_of(ahead);
  std::uint64_t behind = first;
  std::uint64_t before = 0;
  while (behind != ahead) {
    behind = entry_of(behind);
    ahead = entry_of(ahead);
    ++before;
  }
  return before + length;
}

std::uint64_t FatTable::count_free() {
  std::uint64_t free = 0;
  for (std::uint64_t cluster = 2; cluster < end_of_covered(); ++cluster) {
    if (entry_of(cluster) == 0) ++free;
  }
  return free;
}

}  // namespace platter::filesystem
