#include "label/mbr_geometry.h"

#include <algorithm>
#include <array>

namespace platter::label {
namespace {

constexpr std::uint64_t kMostHeads = 256;
constexpr std::uint64_t kMostSectors = 63;
// What translating firmware uses (common practice, no source).
constexpr std::array<std::uint64_t, 9> kUsualHeads = {255, 16, 32, 64, 128, 240, 15, 8, 4};

struct Search {
  std::span<const ChsPair> pairs;
  InferredGeometry best;
};

void try_geometry(Search& search, std::uint64_t heads, std::uint64_t sectors) {
  if (heads == 0 || heads > kMostHeads || sectors == 0 || sectors > kMostSectors) return;
  std::uint64_t agreeing = 0;
  bool tested = false;  // a pair in cylinder 0 fits any number of heads
  for (const ChsPair& pair : search.pairs) {
    if (!agrees(pair, heads, sectors)) continue;
    ++agreeing;
    tested = tested || pair.cylinder > 0;
  }
  if (tested && agreeing > search.best.agreeing) search.best = {heads, sectors, agreeing};
}

// With the number of heads given, one pair leads to the sectors per track.
void try_heads(Search& search, const ChsPair& pair, std::uint64_t heads) {
  const std::uint64_t tracks = pair.cylinder * heads + pair.head;
  if (tracks == 0 || pair.lba + 1 < pair.sector) return;
  const std::uint64_t sectors = pair.lba + 1 - pair.sector;
  if (sectors % tracks == 0) try_geometry(search, heads, sectors / tracks);
}

}  // namespace

bool agrees(const ChsPair& pair, std::uint64_t heads, std::uint64_t sectors_per_track) noexcept {
  if (pair.sector == 0 || pair.sector > sectors_per_track || pair.head >= heads) return false;
  return (pair.cylinder * heads + pair.head) * sectors_per_track + pair.sector - 1 == pair.lba;
}

std::optional<InferredGeometry> infer_geometry(std::span<const ChsPair> pairs) {
  Search search{pairs, {}};
  for (const ChsPair& pair : pairs) {  // a slice usually ends with its cylinder
    if (pair.is_end) try_geometry(search, pair.head + 1, pair.sector);
  }
  for (const ChsPair& pair : pairs) {
    if (search.best.agreeing == pairs.size()) break;
    for (const std::uint64_t heads : kUsualHeads)
      try_heads(search, pair, heads);
  }
  if (search.best.agreeing < 2 || search.best.agreeing * 2 <= pairs.size()) return std::nullopt;
  return search.best;
}

}  // namespace platter::label
