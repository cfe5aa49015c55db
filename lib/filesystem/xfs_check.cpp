// Whether an XFS volume's records agree with one another.
#include <algorithm>
#include <bit>

#include <fmt/format.h>

#include "filesystem/xfs_volume.h"

namespace platter::filesystem {
namespace {

constexpr std::uint64_t kMostGroups = std::uint64_t{1} << 18U;
// Inodes whose modes are compared with the chunks; a volume with more is compared in part.
constexpr std::uint64_t kMostInodes = 1'000'000;
constexpr std::uint64_t kHoleInodes = 4;

// Bits of the inodes of a chunk that are there.
std::uint64_t present_inodes(std::uint64_t holes) {
  std::uint64_t present = 0;
  for (unsigned bit = 0; bit < kXfsChunkInodes / kHoleInodes; ++bit) {
    if ((holes >> bit & 1U) == 0) present |= std::uint64_t{0xF} << (bit * kHoleInodes);
  }
  return present;
}

}  // namespace

class XfsVolume::Checker {
 public:
  explicit Checker(XfsVolume& volume)
      : volume_(volume), shape_(volume.shape_), super_(volume.super_) {}

  void run() {
    special_ = volume_.special_files();
    const std::uint64_t groups = std::min(shape_.groups, kMostGroups);
    for (std::uint64_t group = 0; group < groups; ++group) {
      const auto space = volume_.space_of(group);
      const auto inodes = volume_.inodes_of(group);
      if (!space.complete() || !inodes.complete()) return;  // the image ends here: no totals
      if (group != 0) check_copy(group);
      const bool has_space = check_head(group, space, kXfsSpaceMagic, "free space");
      const bool has_inodes = check_head(group, inodes, kXfsInodesMagic, "inodes");
      if (has_space) check_space(group, space);
      if (has_inodes) check_inodes(group, inodes);
      whole_ = whole_ && has_space && has_inodes;
      free_ += space.get<"free_blocks">() + space.get<"list_count">();
      tree_blocks_ += space.get<"tree_blocks">();
      inodes_ += inodes.get<"inodes">();
      free_inodes_ += inodes.get<"free_inodes">();
    }
    if (whole_ && groups == shape_.groups) check_totals();
  }

 private:
  void say(std::uint64_t at, std::uint64_t bytes, std::string message) {
    volume_.find(volume_.severity(), FindingCode::filesystem_damaged, at, bytes,
                 std::move(message));
  }
  void say_trouble(const XfsTreeWalk& walk) { volume_.say_trouble(walk); }

  void check_copy(std::uint64_t group) {
    const auto copy =
        volume_.view_.record<kXfsSuperblock>(volume_.group_place(group, 0), ByteOrder::big);
    if (copy.get<"magic">() != kXfsMagic) {
      say(copy.start(), 4,
          fmt::format("the copy of the superblock in group {} begins with {:#010x}, expected "
                      "{:#010x}",
                      group, copy.get<"magic">(), kXfsMagic));
      return;
    }
    compare<"block_bytes">(copy, group);
    compare<"data_blocks">(copy, group);
    compare<"group_blocks">(copy, group);
    compare<"groups">(copy, group);
    compare<"sector_bytes">(copy, group);
    compare<"inode_bytes">(copy, group);
  }

  template <FieldName N>
  void compare(const XfsSuper& copy, std::uint64_t group) {
    if (copy.get<N>() == super_.get<N>()) return;
    say(copy.place_of<N>(), 4,
        fmt::format("the copy of the superblock in group {} has {} {}, expected {} as in the first",
                    group, N.view(), copy.get<N>(), super_.get<N>()));
  }

  // \returns whether the rest can be trusted as far as to look at it
  template <const Structure& S>
  bool check_head(std::uint64_t group, const Record<S>& head, std::uint64_t magic,
                  std::string_view what) {
    if (head.template get<"magic">() != magic) {
      say(head.start(), 4,
          fmt::format("the record of {} of group {} begins with {:#010x}, expected {:#010x}", what,
                      group, head.template get<"magic">(), magic));
      return false;
    }
    const auto check = [&](std::string_view field, std::uint64_t found, std::uint64_t expected) {
      if (found == expected) return;
      say(head.start(), S.bytes,
          fmt::format("the record of {} of group {} has {} {}, expected {}", what, group, field,
                      found, expected));
    };
    check("version", head.template get<"version">(), 1);
    check("group", head.template get<"group">(), group);
    check("length", head.template get<"length">(), shape_.blocks_in(group));
    return true;
  }

  struct Space {
    std::uint64_t runs = 0;
    std::uint64_t blocks = 0;
    std::uint64_t longest = 0;
    std::uint64_t tree_blocks = 0;
    bool sound = true;
  };

  // \param by_place  whether runs must rise by place; otherwise by size
  Space walk_space(std::uint64_t group, const XfsTree& tree, bool by_place) {
    Space all;
    std::uint64_t next = shape_.head_blocks();
    XfsTreeWalk walk(volume_.view_, shape_, group, tree);
    all.sound = walk.each_record([&](const std::byte* record, std::uint64_t place) {
      const FieldReader<kXfsFreeRun> run(record, ByteOrder::big);
      const std::uint64_t start = run.get<"start">();
      const std::uint64_t blocks = run.get<"blocks">();
      const bool rises = by_place ? start >= next : blocks >= all.longest;
      if (blocks == 0 || !rises || !fits_within(start, blocks, shape_.blocks_in(group))) {
        say(place, kXfsFreeRun.bytes,
            fmt::format("the tree of {} of group {} holds a run of {} blocks from {} on, expected "
                        "it to lie behind the one before and inside the {} blocks of the group",
                        tree.name, group, blocks, start, shape_.blocks_in(group)));
      }
      next = start + blocks;
      ++all.runs;
      all.blocks += blocks;
      all.longest = std::max(all.longest, blocks);
      return true;
    });
    say_trouble(walk);
    XfsTreeWalk(volume_.view_, shape_, group, tree).each_block([&](std::uint64_t) {
      ++all.tree_blocks;
      return true;
    });
    return all;
  }

  void check_space(std::uint64_t group, const Record<kXfsSpace>& space) {
    const Space place = walk_space(group, volume_.by_place(space), true);
    const Space size = walk_space(group, volume_.by_size(space), false);
    if (!place.sound || !size.sound) return;
    const auto check = [&](std::uint64_t at, std::string_view what, std::uint64_t stated,
                           std::uint64_t found) {
      if (stated == found) return;
      say(at, 4,
          fmt::format("group {} says that {} {}, expected {} as in its tree of free space", group,
                      what, stated, found));
    };
    check(space.place_of<"free_blocks">(), "its free blocks are", space.get<"free_blocks">(),
          place.blocks);
    check(space.place_of<"longest">(), "the blocks of its longest free run are",
          space.get<"longest">(), place.longest);
    if (place.runs != size.runs || place.blocks != size.blocks) {
      say(space.place_of<"by_size_root">(), 4,
          fmt::format("the tree of free space by size of group {} has {} blocks in {} runs, "
                      "expected {} in {} as in the one by place",
                      group, size.blocks, size.runs, place.blocks, place.runs));
    }
    // The tree of owners is counted as well; before lazy counts the field was not kept.
    const bool counted = shape_.lazy_counts && space.get<"owners_levels">() == 0;
    if (counted) {
      check(space.place_of<"tree_blocks">(), "the blocks of its trees besides the roots are",
            space.get<"tree_blocks">(), place.tree_blocks + size.tree_blocks - 2);
    }
    check_list(group, space);
    check_own(group, space);
  }

  // The volume's own blocks against the tree of free space. Both rise by place.
  void check_own(std::uint64_t group, const Record<kXfsSpace>& space) {
    const std::vector<Own> own = volume_.own_blocks(group, special_);
    auto next = own.begin();
    XfsTreeWalk(volume_.view_, shape_, group, volume_.by_place(space))
        .each_record([&](const std::byte* record, std::uint64_t) {
          const FieldReader<kXfsFreeRun> run(record, ByteOrder::big);
          const std::uint64_t start = run.get<"start">();
          while (next != own.end() && next->block + next->count <= start)
            ++next;
          if (next == own.end() || next->block >= start + run.get<"blocks">()) return true;
          const std::uint64_t block = std::max(start, next->block);
          say(volume_.group_place(group, 0) + volume_.view_.start() + block * shape_.block_bytes,
              shape_.block_bytes,
              fmt::format("block {} of group {} holds records of the volume and is free, expected "
                          "in use",
                          block, group));
          return true;
        });
  }

  void check_list(std::uint64_t group, const Record<kXfsSpace>& space) {
    const std::uint64_t head = shape_.sums ? kXfsFreeListHead.bytes : 0;
    const std::uint64_t room = (shape_.sector_bytes - head) / kXfsListedBlock.bytes;
    const std::uint64_t first = space.get<"list_first">();
    const std::uint64_t last = space.get<"list_last">();
    const std::uint64_t count = space.get<"list_count">();
    if (first < room && last < room && count <= room) {
      if (count == 0 || (last + room - first) % room + 1 == count) return;
    }
    say(space.place_of<"list_first">(), 12,
        fmt::format("the free list of group {} reaches from {} to {} with {} blocks, expected as "
                    "many as lie between them, below {}",
                    group, first, last, count, room));
  }

  void check_inodes(std::uint64_t group, const Record<kXfsInodes>& inodes) {
    std::uint64_t all = 0;
    std::uint64_t free = 0;
    XfsTreeWalk walk(volume_.view_, shape_, group, volume_.chunks(inodes));
    const bool sound = walk.each_record([&](const std::byte* record, std::uint64_t place) {
      const FieldReader<kXfsChunk> chunk(record, ByteOrder::big);
      const FieldReader<kXfsSparseChunk> sparse(record, ByteOrder::big);
      const std::uint64_t present =
          present_inodes(shape_.sparse_chunks ? sparse.get<"holes">() : 0);
      const std::uint64_t count =
          shape_.sparse_chunks ? sparse.get<"free_count">() : chunk.get<"free_count">();
      const auto here = static_cast<std::uint64_t>(std::popcount(present));
      const auto bits = static_cast<std::uint64_t>(std::popcount(chunk.get<"free">() & present));
      if (bits != count) {
        say(place, kXfsChunk.bytes,
            fmt::format(
                "the chunk of inodes from {} on of group {} says that {} are free, expected "
                "{} as in its bits",
                chunk.get<"first">(), group, count, bits));
      }
      all += here;
      free += count;
      check_modes(group, chunk.get<"first">(), present, chunk.get<"free">());
      return true;
    });
    say_trouble(walk);
    if (!sound) return;
    compare_inodes(group, inodes.place_of<"inodes">(), "inodes", inodes.get<"inodes">(), all);
    compare_inodes(group, inodes.place_of<"free_inodes">(), "free inodes",
                   inodes.get<"free_inodes">(), free);
  }

  void compare_inodes(std::uint64_t group, std::uint64_t at, std::string_view what,
                      std::uint64_t stated, std::uint64_t found) {
    if (stated == found) return;
    say(at, 4,
        fmt::format("group {} says that it has {} {}, expected {} as in its chunks", group, stated,
                    what, found));
  }

  void check_modes(std::uint64_t group, std::uint64_t first, std::uint64_t present,
                   std::uint64_t free) {
    for (std::uint64_t i = 0; i < kXfsChunkInodes && modes_ < kMostInodes; ++i) {
      if ((present >> i & 1U) == 0) continue;
      ++modes_;
      const NodeId node = shape_.inode_number(group, first + i);
      const std::byte* bytes = volume_.inode(node);
      if (bytes == nullptr) return;
      const FieldReader<kXfsInode> inode(bytes, ByteOrder::big);
      const std::uint64_t place = volume_.view_.start() + shape_.inode_place(node);
      if (inode.get<"magic">() != kXfsInodeMagic) {
        say(place, 2,
            fmt::format("inode {} of a chunk begins with {:#06x}, expected {:#06x}", node,
                        inode.get<"magic">(), kXfsInodeMagic));
        continue;
      }
      const bool used = (free >> i & 1U) == 0;
      if (used == (inode.get<"mode">() != 0)) continue;
      say(place, 4,
          fmt::format("inode {} has the mode {:#o} and is {} in its chunk, expected {}", node,
                      inode.get<"mode">(), used ? "in use" : "free",
                      used ? "the type of a file" : "the mode 0"));
    }
  }

  void check_totals() {
    const std::uint64_t stated = super_.get<"free_blocks">();
    // The trees' own blocks count as free; before lazy counts they did not.
    const std::uint64_t with_trees = free_ + tree_blocks_;
    const bool right = stated == with_trees || (!shape_.lazy_counts && stated == free_);
    if (!right) {
      say(super_.place_of<"free_blocks">(), 8,
          fmt::format("the superblock says that {} blocks are free, expected {} as in the groups",
                      stated, with_trees));
    }
    compare_total(super_.place_of<"inodes">(), "inodes", super_.get<"inodes">(), inodes_);
    compare_total(super_.place_of<"free_inodes">(), "free inodes", super_.get<"free_inodes">(),
                  free_inodes_);
  }
  void compare_total(std::uint64_t at, std::string_view what, std::uint64_t stated,
                     std::uint64_t found) {
    if (stated == found) return;
    say(at, 8,
        fmt::format("the superblock counts {} {}, expected {} as in the groups", stated, what,
                    found));
  }

  XfsVolume& volume_;
  const XfsShape& shape_;
  const XfsSuper& super_;
  std::vector<Own> special_;
  bool whole_ = true;
  std::uint64_t free_ = 0;
  std::uint64_t tree_blocks_ = 0;
  std::uint64_t inodes_ = 0;
  std::uint64_t free_inodes_ = 0;
  std::uint64_t modes_ = 0;
};

void XfsVolume::check_records() {
  Checker(*this).run();
}

}  // namespace platter::filesystem
