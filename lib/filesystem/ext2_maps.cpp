// What an ext2 volume's bitmaps say, and which blocks are its own records.
#include <algorithm>

#include "filesystem/ext2_volume.h"
#include "filesystem/unix_bitmap.h"

namespace platter::filesystem {
namespace {

// A volume of 2 TiB with the smallest blocks has so many groups; the records of more are not told
// from files, so that memory stays small.
constexpr std::uint64_t kMostGroups = std::uint64_t{1} << 18U;
constexpr std::size_t kMostSpecialRuns = 65536;
constexpr NodeId kBadBlocks = 1;
constexpr NodeId kRoot = 2;
constexpr NodeId kLastReserved = 10;

// Hands out runs, with the volume's own blocks laid over them.
class Overlay {
 public:
  template <typename Metadata>
  bool put(const std::vector<Metadata>& own, std::uint64_t from, std::uint64_t to, BlockUse use,
           FunctionRef<bool(std::uint64_t, std::uint64_t, BlockUse)> emit) {
    while (from < to) {
      while (next_ < own.size() && own[next_].block + own[next_].count <= from)
        ++next_;
      const bool inside = next_ < own.size() && own[next_].block <= from;
      std::uint64_t end = to;
      if (inside) {
        end = std::min(to, own[next_].block + own[next_].count);
      } else if (next_ < own.size()) {
        end = std::min(to, own[next_].block);
      }
      if (!emit(from, end, inside ? own[next_].use : use)) return false;
      from = end;
    }
    return true;
  }

 private:
  std::size_t next_ = 0;
};

}  // namespace

void Ext2Volume::add_own(std::vector<Metadata>& all, std::uint64_t block, std::uint64_t count,
                         BlockUse use) const {
  if (block >= numbers_.blocks || count == 0) return;
  count = std::min(count, numbers_.blocks - block);
  if (!all.empty() && all.back().use == use && all.back().block + all.back().count == block) {
    all.back().count += count;
    return;
  }
  all.push_back({block, count, use});
}

std::vector<Ext2Volume::Metadata> Ext2Volume::metadata() {
  std::vector<Metadata> all;
  const std::uint64_t table_blocks =
      divide_up(numbers_.group_inodes * numbers_.inode_bytes, numbers_.block_bytes);
  add_own(all, 0, numbers_.first_block, BlockUse::metadata);  // the boot block
  for (std::uint64_t index = 0; index < std::min(numbers_.groups, kMostGroups); ++index) {
    add_own(all, numbers_.group_start(index), layout_.copy_blocks(index), BlockUse::metadata);
    const auto found = group(index);
    if (!found) break;
    add_own(all, found->block_bitmap, 1, BlockUse::metadata);
    add_own(all, found->inode_bitmap, 1, BlockUse::metadata);
    add_own(all, found->inode_table, table_blocks, BlockUse::metadata);
  }
  add_special_inodes(all);
  std::ranges::sort(all, {}, &Metadata::block);
  return all;
}

// Files without a name: the list of bad blocks, the journal, quotas, what was kept for growth.
void Ext2Volume::add_special_inodes(std::vector<Metadata>& all) {
  add_inode_runs(all, kBadBlocks, BlockUse::bad);
  for (NodeId node = kRoot + 1; node <= kLastReserved; ++node) {
    add_inode_runs(all, node, BlockUse::metadata);
  }
  if (!numbers_.dynamic) return;
  for (const std::uint64_t node : {super_.get<"journal_inum">(), super_.get<"usr_quota_inum">(),
                                   super_.get<"grp_quota_inum">(), super_.get<"prj_quota_inum">(),
                                   super_.get<"orphan_file_inum">()}) {
    if (node > kLastReserved) add_inode_runs(all, node, BlockUse::metadata);
  }
}

void Ext2Volume::add_inode_runs(std::vector<Metadata>& all, NodeId node, BlockUse use) {
  std::size_t left = kMostSpecialRuns;
  const auto add = [&](const Extent& extent) {
    if (extent.absent || extent.start < view_.start()) return true;
    add_own(all, (extent.start - view_.start()) / numbers_.block_bytes,
            divide_up(extent.bytes, numbers_.block_bytes), use);
    return --left != 0;
  };
  map(node, FileMap::Wanted::data, add);
  if (left != 0) map(node, FileMap::Wanted::pointer_blocks, add);
}

std::size_t Ext2Volume::bitmap_word() {
  if (order_ != ByteOrder::big) return 1;
  if (!bitmap_word_) {
    bitmap_word_ = 1;
    const auto first = group(0);
    if (first && first->inode_bitmap < numbers_.blocks) {
      const auto map =
          view_.read_vector(first->inode_bitmap * numbers_.block_bytes, numbers_.block_bytes);
      if (!map.empty()) bitmap_word_ = likely_word(map);
    }
  }
  return *bitmap_word_;
}

bool Ext2Volume::read_bitmap(std::uint64_t block, std::vector<std::byte>& map) {
  if (block <= numbers_.first_block || block >= numbers_.blocks) return false;
  map.resize(static_cast<std::size_t>(numbers_.block_bytes));
  try {
    if (view_.read(block * numbers_.block_bytes, map) != map.size()) return false;
  } catch (const IoError&) {
    find(Severity::fault, FindingCode::unreadable,
         saturating_add(view_.start(), block * numbers_.block_bytes), numbers_.block_bytes,
         "a bitmap could not be read");
    return false;
  }
  straighten(map, bitmap_word());
  return true;
}

void Ext2Volume::each_run(FunctionRef<bool(const BlockRun&)> visit) {
  const std::uint64_t end =
      std::min(numbers_.blocks, divide_up(view_.bytes(), numbers_.block_bytes));
  const std::vector<Metadata> own = metadata();
  Overlay overlay;
  RunJoiner joiner(visit);
  const auto emit = [&](std::uint64_t from, std::uint64_t to, BlockUse use) {
    return joiner.add(
        {view_.start() + from * numbers_.block_bytes, (to - from) * numbers_.block_bytes, use});
  };
  if (!overlay.put(own, 0, std::min(numbers_.first_block, end), BlockUse::metadata, emit)) return;
  std::vector<std::byte> map;
  for (std::uint64_t index = 0; index < numbers_.groups; ++index) {
    const std::uint64_t start = numbers_.group_start(index);
    if (start >= end) break;
    const std::uint64_t blocks = std::min(numbers_.blocks_in(index), end - start);
    const auto found = group(index);
    const bool is_new = found && found->no_block_bitmap;
    const std::uint64_t bits = divide_up(blocks, numbers_.cluster_blocks);
    const bool readable = found && !is_new && bits <= numbers_.block_bytes * 8 &&
                          read_bitmap(found->block_bitmap, map);
    if (!readable) {
      // Without a bitmap nobody can say that a block is free.
      const BlockUse use = is_new ? BlockUse::free : BlockUse::used;
      if (!overlay.put(own, start, start + blocks, use, emit)) return;
      continue;
    }
    for (std::uint64_t bit = 0; bit < bits;) {
      const std::uint64_t next = run_end(map, bit, bits);
      const std::uint64_t to = std::min(next * numbers_.cluster_blocks, blocks);
      if (!overlay.put(own, start + bit * numbers_.cluster_blocks, start + to,
                       bit_of(map, bit) ? BlockUse::used : BlockUse::free, emit)) {
        return;
      }
      bit = next;
    }
  }
  joiner.finish();
}

}  // namespace platter::filesystem
