// Which blocks of an HFS+ volume are in use, by its own maps.
#include <algorithm>
#include <array>

#include "filesystem/hfsplus_volume.h"

namespace platter::filesystem {
namespace {

constexpr std::uint64_t kPieceBytes = 65536;
constexpr std::uint64_t kHeaderEnd = kHfsPlusHeaderPlace + kHfsPlusHeader.bytes;
constexpr std::uint64_t kCopyFromEnd = 1024;

bool is_used(std::byte map, std::uint64_t index) {
  return (std::to_integer<unsigned>(map) & (0x80U >> index % 8)) != 0;
}

}  // namespace

std::uint64_t HfsPlusVolume::each_bit_run(FunctionRef<bool(const BitRun&)> visit) const {
  std::vector<std::byte> piece;
  BitRun run;
  bool go_on = true;
  const auto add = [&](std::uint64_t count, bool used) {
    if (run.count != 0 && run.used != used) {
      go_on = visit(run);
      run = {run.start + run.count, 0, used};
    }
    run.used = used;
    run.count += count;
  };
  std::uint64_t block = 0;
  const auto take = [&](std::byte map) {
    const std::uint64_t bits = std::min<std::uint64_t>(8, blocks_ - block);
    if (map == std::byte{0} || map == std::byte{0xFF}) {
      add(bits, map != std::byte{0});
    } else {
      for (std::uint64_t i = 0; i < bits && go_on; ++i)
        add(1, is_used(map, i));
    }
    block += bits;
  };
  bool whole = true;
  for (const HfsRun& bits : allocation_) {
    for (std::uint64_t done = 0; done < bits.bytes && block < blocks_ && go_on && whole;) {
      const std::uint64_t wanted = std::min(kPieceBytes, bits.bytes - done);
      piece = volume_.read_vector(bits.place + done, wanted);
      for (std::size_t i = 0; i < piece.size() && block < blocks_ && go_on; ++i)
        take(piece[i]);
      whole = piece.size() == wanted;
      done += wanted;
    }
  }
  if (go_on && run.count != 0) (void)visit(run);
  return block;
}

bool HfsPlusVolume::is_hybrid() {
  if (header_.get<"free_blocks">() != 0) return false;
  if (!hybrid_) {
    bool all_used = true;
    const std::uint64_t told =
        each_bit_run([&](const BitRun& run) { return all_used = all_used && run.used; });
    hybrid_ = all_used && told == blocks_;
  }
  return *hybrid_;
}

// Attributes that are too large for their tree lie in blocks of their own.
void HfsPlusVolume::mark_attributes(std::vector<MarkedRun>& marked) {
  const auto mark = [&](const auto& record) {
    for (std::size_t i = 0; i < kHfsPlusExtents; ++i) {
      const auto extent = record.template sub<"extents">(i);
      marked.push_back({extent.template get<"start">(), extent.template get<"count">(),
                        BlockUse::metadata, "an attribute"});
    }
  };
  attribute_tree_.each([&](const HfsTreeNode& node, std::size_t index) {
    const auto data = hfs_record_data(node.record(index), attribute_tree_.form().key_width);
    if (data.size() < kHfsPlusAttributeExtentRecord.bytes) return true;
    const FieldReader<kHfsPlusAttributeExtentRecord> extents(data.data(), ByteOrder::big);
    if (extents.get<"kind">() == kHfsPlusAttributeExtents) {
      mark(extents);
    } else if (extents.get<"kind">() == kHfsPlusAttributeFork &&
               data.size() >= kHfsPlusAttributeForkRecord.bytes) {
      mark(FieldReader<kHfsPlusAttributeForkRecord>(data.data(), ByteOrder::big).sub<"fork">());
    }
    return true;
  });
  collect(attribute_tree_);
}

// By rising place, nothing empty and nothing outside the volume.
std::vector<HfsPlusVolume::MarkedRun> HfsPlusVolume::marked_runs() {
  std::vector<MarkedRun> marked;
  const std::uint64_t end = hfsplus_blocks_end(header_);
  marked.push_back({0, divide_up(kHeaderEnd, block_bytes_), BlockUse::metadata, "the header"});
  if (end >= kHeaderEnd + kCopyFromEnd) {
    const std::uint64_t first = (end - kCopyFromEnd) / block_bytes_;
    marked.push_back({first, blocks_ - first, BlockUse::metadata, "the copy of the header"});
  }
  struct Own {
    std::uint64_t id;
    Fork fork;
    const char* name;
  };
  for (const Own& own :
       {Own{kHfsExtentsFile, header_.sub<"extents">(), "the extents file"},
        {kHfsCatalogFile, header_.sub<"catalog">(), "the catalog"},
        {kHfsPlusAllocationFile, header_.sub<"allocation">(), "the bitmap"},
        {kHfsPlusStartupFile, header_.sub<"startup">(), "the startup file"},
        {kHfsPlusAttributeFile, header_.sub<"attribute_tree">(), "the attributes file"}}) {
    each_block_run(own.id, kHfsDataFork, own.fork, own.fork.get<"blocks">(),
                   [&](std::uint64_t start, std::uint64_t count) {
                     marked.push_back({start, count, BlockUse::metadata, own.name});
                     return true;
                   });
  }
  std::uint64_t bad = 0;
  each_overflow_run(kHfsBadBlocks, kHfsDataFork, 0, [&](std::uint64_t start, std::uint64_t count) {
    marked.push_back({start, count, BlockUse::bad, "bad blocks"});
    bad += count;
    return bad < blocks_;
  });
  mark_attributes(marked);
  std::erase_if(marked, [&](const MarkedRun& run) {
    return run.count == 0 || !fits_within(run.start, run.count, blocks_);
  });
  std::ranges::stable_sort(marked, {}, &MarkedRun::start);
  return marked;
}

void HfsPlusVolume::each_run(FunctionRef<bool(const BlockRun&)> visit) {
  if (is_hybrid()) return;
  const std::vector<MarkedRun> marked = marked_runs();
  RunJoiner joiner(visit);
  std::uint64_t block = 0;
  bool go_on = true;
  const auto add = [&](std::uint64_t end, BlockUse use) {
    if (end <= block) return;
    go_on =
        go_on && joiner.add({image_place(block * block_bytes_), (end - block) * block_bytes_, use});
    block = end;
  };
  auto mark = marked.begin();
  const std::uint64_t told = each_bit_run([&](const BitRun& run) {
    const std::uint64_t end = run.start + run.count;
    const BlockUse use = run.used ? BlockUse::used : BlockUse::free;
    for (; mark != marked.end() && mark->start < end; ++mark) {
      add(mark->start, use);
      add(std::min(mark->start + mark->count, end), mark->use);
      if (mark->start + mark->count > end) return go_on;  // goes on in the next run
    }
    add(end, use);
    return go_on;
  });
  const auto copy = hfsplus_copy(volume_, header_);
  const std::uint64_t blocks_end = hfsplus_blocks_end(header_);
  if (!go_on) return;
  if (copy && told == blocks_) {
    const std::uint64_t end = copy->start() - volume_.start() + kCopyFromEnd;
    const std::uint64_t tail = end > blocks_end ? end - blocks_end : 0;
    if (!joiner.add({image_place(blocks_end), tail, BlockUse::metadata})) return;
  }
  joiner.finish();
}

}  // namespace platter::filesystem
