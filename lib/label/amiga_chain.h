// Chains of Amiga rigid disk blocks.
#pragma once

#include <cstdint>
#include <functional>
#include <string_view>

#include "core/claim.h"
#include "label/amiga_label.h"

namespace platter::label {

/// What the words of a block sum to.
struct AmigaSum {
  std::uint64_t longs = 0;  ///< as stated
  bool counted = false;     ///< the number of words is one that can be
  std::uint32_t sum = 0;

  [[nodiscard]] bool good() const noexcept { return counted && sum == 0; }
};

/// Sums the block at `place` of the view over the words that it states.
/// \param fewest words that a block of the kind must cover
[[nodiscard]] AmigaSum amiga_sum(const View& view, std::uint64_t place, std::uint64_t block_bytes,
                                 std::uint64_t fewest);

struct AmigaChain {
  std::string_view what;         ///< for messages: "slice"
  std::uint64_t id = 0;          ///< that every block must have
  std::uint64_t first = 0;       ///< block number that the chain begins with
  std::uint64_t link_place = 0;  ///< image byte of the word that says so
  std::uint64_t block_bytes = 0;
};

/// Calls `visit` with the place in the view of each block, in order. The chain is cut, with one
/// finding, at a block that is not there, has another id or was there before, and after 64 blocks.
void walk_amiga_chain(Claim& claim, const View& view, const AmigaChain& chain,
                      const std::function<void(std::uint64_t place)>& visit);

}  // namespace platter::label
