// What an ext2 volume's bitmaps say, and which blocks are its own records.
#include <algorithm>

#include "filesystem/ext2_volume.h"
#include "filesystem/run_overlay.h"
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

}  // namespace

void Ext2Volume::add_own(std::vector<BlockRun>& all, std::uint64_t block, std::uint64_t count,
                         BlockUse use) const {
  if (block >= numbers_.blocks || count == 0) return;
  count = std::min(count, numbers_.blocks - block);
  const std::uint64_t start = saturating_add(view_.start(), block * numbers_.block_bytes);
  const std::uint64_t bytes = saturating_mul(count, numbers_.block_bytes);
  if (!all.empty() && all.back().use == use && all.back().start + all.back().bytes == start) {
    all.back().bytes += bytes;
    return;
  }
  all.push_back({start, bytes, use});
}

std::vector<BlockRun> Ext2Volume::metadata() {
  std::vector<BlockRun> all;
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
  add_attributes(all);
  return all;
}

// Files without a name: the list of bad blocks, the journal, quotas, what was kept for growth.
void Ext2Volume::add_special_inodes(std::vector<BlockRun>& all) {
  add_inode_runs(all, kBadBlocks, BlockUse::bad);
  for (NodeId node = kRoot + 1; node <= kLastReserved; ++node) {
    add_inode_runs(all, node, BlockUse::metadata);
  }
  if (numbers_.dynamic) add_later_inodes(all);
}

// What the superblock of later kernels names.
void Ext2Volume::add_later_inodes(std::vector<BlockRun>& all) {
  if ((numbers_.incompatible & kExt2IncompatMountProtection) != 0) {
    const std::uint64_t block = super_.get<"mmp_block">();
    if (block > numbers_.first_block) {
      add_own(all, block - (block - numbers_.first_block) % numbers_.cluster_blocks,
              numbers_.cluster_blocks, BlockUse::metadata);
    }
  }
  for (const std::uint64_t node : {super_.get<"journal_inum">(), super_.get<"usr_quota_inum">(),
                                   super_.get<"grp_quota_inum">(), super_.get<"prj_quota_inum">(),
                                   super_.get<"orphan_file_inum">()}) {
    if (node > kLastReserved && !has_name_in_root(node))
      add_inode_runs(all, node, BlockUse::metadata);
  }
}

// A journal that was added to a volume in use is a file of the root directory.
bool Ext2Volume::has_name_in_root(NodeId node) {
  bool found = false;
  each_entry(root(), [&](const Entry& entry) {
    found = entry.node == node;
    return !found;
  });
  return found;
}

void Ext2Volume::add_inode_runs(std::vector<BlockRun>& all, NodeId node, BlockUse use) {
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
  RunOverlay overlay(metadata(), visit);
  const auto put = [&](std::uint64_t from, std::uint64_t to, BlockUse use) {
    return overlay.add(
        {view_.start() + from * numbers_.block_bytes, (to - from) * numbers_.block_bytes, use});
  };
  if (!put(0, std::min(numbers_.first_block, end), BlockUse::metadata)) return;
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
      if (!put(start, start + blocks, use)) return;
      continue;
    }
    for (std::uint64_t bit = 0; bit < bits;) {
      const std::uint64_t next = run_end(map, bit, bits);
      const std::uint64_t to = std::min(next * numbers_.cluster_blocks, blocks);
      if (!put(start + bit * numbers_.cluster_blocks, start + to,
               bit_of(map, bit) ? BlockUse::used : BlockUse::free)) {
        return;
      }
      bit = next;
    }
  }
  overlay.finish();
}

}  // namespace platter::filesystem
