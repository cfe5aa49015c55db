// What an XFS volume's trees of free space say, and which blocks are its own records.
#include <algorithm>

#include <fmt/format.h>

#include "filesystem/xfs_volume.h"

namespace platter::filesystem {
namespace {

// Quota files of large systems have some thousand extents; the rest is not told from other files.
constexpr std::size_t kMostSpecialRuns = 65536;
constexpr std::uint64_t kHoleInodes = 4;  // that a bit of `holes` stands for

// Parts of a group that are its own, laid over what the tree of free space says.
template <typename Own>
class Overlay {
 public:
  explicit Overlay(const std::vector<Own>& own) : own_(own) {}

  template <typename Emit>
  bool put(std::uint64_t from, std::uint64_t to, BlockUse use, Emit emit) {
    while (from < to) {
      while (next_ < own_.size() && own_[next_].block + own_[next_].count <= from)
        ++next_;
      const bool some = next_ < own_.size();
      const bool inside = some && own_[next_].block <= from;
      std::uint64_t end = to;
      if (inside) {
        end = std::min(to, own_[next_].block + own_[next_].count);
      } else if (some) {
        end = std::min(to, own_[next_].block);
      }
      if (!emit(from, end, inside ? BlockUse::metadata : use)) return false;
      from = end;
    }
    return true;
  }

 private:
  const std::vector<Own>& own_;
  std::size_t next_ = 0;
};

}  // namespace

XfsTree XfsVolume::by_place(const Record<kXfsSpace>& space) const {
  return {"free space by place",
          space.get<"by_place_root">(),
          space.get<"by_place_levels">(),
          shape_.sums ? kXfsByPlaceMagic5 : kXfsByPlaceMagic,
          kXfsFreeRun.bytes,
          kXfsFreeRun.bytes};
}

XfsTree XfsVolume::by_size(const Record<kXfsSpace>& space) const {
  return {"free space by size",
          space.get<"by_size_root">(),
          space.get<"by_size_levels">(),
          shape_.sums ? kXfsBySizeMagic5 : kXfsBySizeMagic,
          kXfsFreeRun.bytes,
          kXfsFreeRun.bytes};
}

XfsTree XfsVolume::chunks(const Record<kXfsInodes>& inodes) const {
  return {"inode chunks",         inodes.get<"root">(),
          inodes.get<"levels">(), shape_.sums ? kXfsChunksMagic5 : kXfsChunksMagic,
          kXfsNarrow.bytes,       kXfsChunk.bytes};
}

// Trees of version 5, of which only the blocks matter here. Linux xfs_format.h: struct
// xfs_rmap_rec, xfs_rmap_key (two of them for each pointer), xfs_refcount_rec, xfs_refcount_key.
std::vector<XfsTree> XfsVolume::other_trees(const Record<kXfsSpace>& space,
                                            const Record<kXfsInodes>& inodes) const {
  constexpr std::size_t kOwnersKey = 40;
  constexpr std::size_t kOwnersRecord = 24;
  constexpr std::size_t kSharesKey = 4;
  constexpr std::size_t kSharesRecord = 12;
  std::vector<XfsTree> all;
  if (!shape_.sums) return all;
  const auto add = [&](XfsTree tree) {
    if (tree.levels != 0) all.push_back(tree);
  };
  add({"chunks with free inodes", inodes.get<"free_root">(), inodes.get<"free_levels">(),
       kXfsFreeChunksMagic5, kXfsNarrow.bytes, kXfsChunk.bytes});
  add({"owners", space.get<"owners_root">(), space.get<"owners_levels">(), kXfsOwnersMagic5,
       kOwnersKey, kOwnersRecord});
  add({"shared runs", space.get<"shares_root">(), space.get<"shares_levels">(), kXfsSharesMagic5,
       kSharesKey, kSharesRecord});
  return all;
}

// The log, and files that have no names.
std::vector<XfsVolume::Own> XfsVolume::special_files() {
  std::vector<Own> all;
  const std::uint64_t log = super_.get<"log_blocks">();
  const std::uint64_t start = shape_.block_of(super_.get<"log_start">(), log);
  if (super_.get<"log_start">() != 0 && start < shape_.blocks) all.push_back({start, log});
  const auto add = [&](const Extent& extent) {
    if (!extent.absent && extent.start >= view_.start()) {
      all.push_back({(extent.start - view_.start()) / shape_.block_bytes,
                     divide_up(extent.bytes, shape_.block_bytes)});
    }
    return all.size() < kMostSpecialRuns;
  };
  std::vector<NodeId> nodes = {super_.get<"realtime_bitmap_inode">(),
                               super_.get<"realtime_summary_inode">()};
  const bool quotas = shape_.sums || (super_.get<"version">() & kXfsQuotas) != 0;
  if (quotas) {
    nodes.push_back(super_.get<"user_quota_inode">());
    nodes.push_back(super_.get<"group_quota_inode">());
  }
  if (shape_.sums) {
    nodes.push_back(view_.record<kXfsSuperblock5>(kXfsSuperblock.bytes, ByteOrder::big)
                        .get<"project_quota_inode">());
  }
  for (const NodeId node : nodes) {
    if (node == 0 || node == kXfsNoInode) continue;
    each_extent(node, add);
    each_further_block(node, add);
  }
  std::ranges::sort(all, {}, &Own::block);
  return all;
}

void XfsVolume::say_trouble(const XfsTreeWalk& walk) {
  if (walk.trouble().empty()) return;
  find(severity(), FindingCode::filesystem_damaged, walk.trouble_place(), shape_.block_bytes,
       walk.trouble());
}

void XfsVolume::add_tree(std::uint64_t group, const XfsTree& tree, std::vector<Own>& all) {
  XfsTreeWalk walk(view_, shape_, group, tree);
  walk.each_block([&](std::uint64_t block) {
    all.push_back({block, 1});
    return true;
  });
  say_trouble(walk);
}

// Blocks that are kept for the trees of free space.
void XfsVolume::add_list(std::uint64_t group, const Record<kXfsSpace>& space,
                         std::vector<Own>& all) {
  const std::uint64_t head = shape_.sums ? kXfsFreeListHead.bytes : 0;
  const std::uint64_t room = (shape_.sector_bytes - head) / kXfsListedBlock.bytes;
  const std::uint64_t first = space.get<"list_first">();
  const std::uint64_t count = std::min(space.get<"list_count">(), room);
  if (first >= room) return;
  for (std::uint64_t i = 0; i < count; ++i) {
    const std::uint64_t at = head + (first + i) % room * kXfsListedBlock.bytes;
    const auto entry = view_.record<kXfsListedBlock>(group_place(group, 3) + at, ByteOrder::big);
    const std::uint64_t block = entry.get<"block">();
    if (block >= shape_.head_blocks() && block < shape_.blocks_in(group)) all.push_back({block, 1});
  }
}

void XfsVolume::add_chunks(std::uint64_t group, const Record<kXfsInodes>& inodes,
                           std::vector<Own>& all) {
  // Chunks rise, so that however often a damaged tree names one, few runs come of it.
  std::uint64_t next = 0;  // block
  const auto add = [&](std::uint64_t first, std::uint64_t count) {
    const std::uint64_t block = std::max(first >> shape_.inodes_log, next);
    const std::uint64_t end = divide_up(first + count, shape_.inodes_per_block());
    if (end > shape_.blocks_in(group) || end <= block) return;
    if (next != 0 && block == next) {
      all.back().count += end - block;
    } else {
      all.push_back({block, end - block});
    }
    next = end;
  };
  XfsTreeWalk walk(view_, shape_, group, chunks(inodes));
  walk.each_record([&](const std::byte* record, std::uint64_t) {
    const FieldReader<kXfsSparseChunk> chunk(record, ByteOrder::big);
    const std::uint64_t first = chunk.get<"first">();
    const std::uint64_t holes = shape_.sparse_chunks ? chunk.get<"holes">() : 0;
    if (holes == 0) {
      add(first, kXfsChunkInodes);
      return true;
    }
    for (std::uint64_t at = 0; at < kXfsChunkInodes; at += kHoleInodes) {
      if ((holes >> (at / kHoleInodes) & 1U) == 0) add(first + at, kHoleInodes);
    }
    return true;
  });
  say_trouble(walk);
}

std::vector<XfsVolume::Own> XfsVolume::own_blocks(std::uint64_t group,
                                                  const std::vector<Own>& special) {
  std::vector<Own> all = {{0, shape_.head_blocks()}};
  const auto space = space_of(group);
  const auto inodes = inodes_of(group);
  if (space.get<"magic">() == kXfsSpaceMagic) {
    add_list(group, space, all);
    add_tree(group, by_place(space), all);
    add_tree(group, by_size(space), all);
  }
  if (inodes.get<"magic">() == kXfsInodesMagic) {
    add_tree(group, chunks(inodes), all);
    add_chunks(group, inodes, all);
  }
  for (const XfsTree& tree : other_trees(space, inodes))
    add_tree(group, tree, all);
  const std::uint64_t start = group * shape_.group_blocks;
  const auto first = std::ranges::lower_bound(special, start, {}, &Own::block);
  for (auto run = first; run != special.end() && run->block - start < shape_.group_blocks; ++run) {
    all.push_back({run->block - start, run->count});
  }
  std::ranges::sort(all, {}, &Own::block);
  return all;
}

bool XfsVolume::put_group(std::uint64_t group, std::uint64_t blocks, const std::vector<Own>& own,
                          RunJoiner& joiner) {
  Overlay overlay(own);
  const std::uint64_t start = group * shape_.group_blocks;
  const auto emit = [&](std::uint64_t from, std::uint64_t to, BlockUse use) {
    return joiner.add({view_.start() + (start + from) * shape_.block_bytes,
                       (to - from) * shape_.block_bytes, use});
  };
  std::uint64_t at = 0;
  bool stopped = false;
  const auto space = space_of(group);
  if (space.get<"magic">() == kXfsSpaceMagic) {
    XfsTreeWalk walk(view_, shape_, group, by_place(space));
    walk.each_record([&](const std::byte* record, std::uint64_t) {
      const FieldReader<kXfsFreeRun> run(record, ByteOrder::big);
      const std::uint64_t first = run.get<"start">();
      const std::uint64_t end = std::min(first + run.get<"blocks">(), blocks);
      if (first < at || end <= first) return true;
      stopped = !overlay.put(at, first, BlockUse::used, emit) ||
                !overlay.put(first, end, BlockUse::free, emit);
      at = end;
      return !stopped;
    });
    say_trouble(walk);
  }
  // Without records nobody can say that a block is free.
  return !stopped && overlay.put(at, blocks, BlockUse::used, emit);
}

void XfsVolume::each_run(FunctionRef<bool(const BlockRun&)> visit) {
  const std::uint64_t end = std::min(shape_.blocks, divide_up(view_.bytes(), shape_.block_bytes));
  const std::vector<Own> special = special_files();
  RunJoiner joiner(visit);
  for (std::uint64_t group = 0; group < shape_.groups; ++group) {
    const std::uint64_t start = group * shape_.group_blocks;
    if (start >= end) break;
    const std::uint64_t blocks = std::min(shape_.blocks_in(group), end - start);
    if (!put_group(group, blocks, own_blocks(group, special), joiner)) return;
  }
  joiner.finish();
}

}  // namespace platter::filesystem
