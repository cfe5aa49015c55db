#include "label/amiga_chain.h"

#include <algorithm>
#include <vector>

#include <fmt/format.h>

#include "core/checksum.h"

namespace platter::label {
namespace {

constexpr std::size_t kMostBlocks = 64;

void cut(Claim& claim, const AmigaChain& chain, Severity severity, std::uint64_t at,
         std::string message) {
  claim.find(severity, FindingCode::slice_order, at, 4,
             fmt::format("the chain of {} blocks {}", chain.what, message));
}

}  // namespace

AmigaSum amiga_sum(const View& view, std::uint64_t place, std::uint64_t block_bytes,
                   std::uint64_t fewest) {
  AmigaSum result;
  const auto head = view.record<kAmigaBlockHead>(place, ByteOrder::big);
  result.longs = head.get<"summed_longs">();
  result.counted = result.longs >= fewest && result.longs <= block_bytes / 4;
  if (!result.counted) return result;
  const auto data = view.read_vector(place, result.longs * 4);
  result.counted = data.size() == result.longs * 4;
  result.sum = sum_of_words32(data, ByteOrder::big);
  return result;
}

void walk_amiga_chain(Claim& claim, const View& view, const AmigaChain& chain,
                      const std::function<void(std::uint64_t place)>& visit) {
  std::vector<std::uint64_t> visited;
  std::uint64_t block = chain.first;
  std::uint64_t link_place = chain.link_place;
  while (block != kAmigaEnd) {
    if (std::ranges::find(visited, block) != visited.end()) {
      return cut(claim, chain, Severity::fault, link_place,
                 fmt::format("leads back to block {}", block));
    }
    if (visited.size() >= kMostBlocks) {
      return cut(claim, chain, Severity::fault, link_place,
                 fmt::format("has more than {} blocks", kMostBlocks));
    }
    visited.push_back(block);
    const std::uint64_t place = saturating_mul(block, chain.block_bytes);
    const auto head = view.record<kAmigaBlockHead>(place, ByteOrder::big);
    if (!head.complete()) {
      return cut(claim, chain, Severity::caution, link_place,
                 fmt::format("goes on at block {}, the image ends before it", block));
    }
    if (head.get<"id">() != chain.id) {
      return cut(claim, chain, Severity::fault, link_place,
                 fmt::format("goes on at block {}, which begins with 0x{:08X} instead of 0x{:08X}",
                             block, head.get<"id">(), chain.id));
    }
    visit(place);
    block = head.get<"next">();
    link_place = head.place_of<"next">();
  }
}

}  // namespace platter::label
