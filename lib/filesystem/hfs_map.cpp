// Which blocks of an HFS volume are in use, by its own maps.
#include <algorithm>

#include "filesystem/hfs_volume.h"

namespace platter::filesystem {
namespace {

constexpr std::uint64_t kBlock = 512;

}  // namespace

std::vector<bool> HfsVolume::bitmap() const {
  std::vector<std::byte> bytes(static_cast<std::size_t>(divide_up(blocks_, 8)));
  view_.read(header_.get<"bitmap_start">() * kBlock, bytes);
  std::vector<bool> used(static_cast<std::size_t>(blocks_));
  for (std::size_t i = 0; i < used.size(); ++i) {
    used[i] = (std::to_integer<unsigned>(bytes[i / 8]) & (0x80U >> (i % 8))) != 0;
  }
  return used;
}

bool HfsVolume::is_hybrid(const std::vector<bool>& bitmap) const {
  return header_.get<"free_blocks">() == 0 &&
         std::ranges::all_of(bitmap, [](bool used) { return used; });
}

// Blocks of the trees, and those that a file of their own keeps from use because they are bad.
std::vector<HfsVolume::MarkedRun> HfsVolume::marked_runs() {
  std::vector<MarkedRun> marked;
  for (const HfsTree* tree : {&extents_, &catalog_}) {
    for (const HfsRun& run : tree->runs()) {
      marked.push_back({(run.place - first_block_place_) / block_bytes_, run.bytes / block_bytes_,
                        BlockUse::metadata});
    }
  }
  // A wrapped volume: the system that made it calls its blocks bad, so that nobody takes them.
  const auto embedded = header_.sub<"embedded">();
  if (header_.get<"embedded_signature">() == kHfsEmbedded &&
      fits_within(embedded.get<"start">(), embedded.get<"count">(), blocks_)) {
    marked.push_back({embedded.get<"start">(), embedded.get<"count">(), BlockUse::metadata});
  }
  each_overflow_run(kHfsBadBlocks, kHfsDataFork, 0, [&](std::uint64_t start, std::uint64_t count) {
    if (fits_within(start, count, blocks_)) marked.push_back({start, count, BlockUse::bad});
    return marked.size() <= blocks_;
  });
  return marked;
}

void HfsVolume::each_run(FunctionRef<bool(const BlockRun&)> visit) {
  const std::vector<bool> used = bitmap();
  if (is_hybrid(used)) return;
  std::vector<BlockUse> uses(used.size());
  std::ranges::transform(used, uses.begin(),
                         [](bool is_used) { return is_used ? BlockUse::used : BlockUse::free; });
  for (const MarkedRun& run : marked_runs()) {
    std::fill_n(uses.begin() + static_cast<std::ptrdiff_t>(run.start), run.count, run.use);
  }
  RunJoiner joiner(visit);
  if (!joiner.add({view_.start(), first_block_place_, BlockUse::metadata})) return;
  for (std::size_t block = 0; block < uses.size(); ++block) {
    if (!joiner.add({image_place(place_of_block(block)), block_bytes_, uses[block]})) return;
  }
  const std::uint64_t end = hfs_blocks_end(header_);
  const auto spare = hfs_spare(view_, header_);
  const std::uint64_t tail =
      spare ? spare->start() - view_.start() + 2 * kBlock - end : std::uint64_t{0};
  if (joiner.add({image_place(end), tail, BlockUse::metadata})) joiner.finish();
}

}  // namespace platter::filesystem
