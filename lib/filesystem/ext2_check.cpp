// Whether an ext2 volume's records agree with one another.
#include <algorithm>

#include <fmt/format.h>

#include "filesystem/ext2_volume.h"
#include "filesystem/unix_bitmap.h"

namespace platter::filesystem {
namespace {

constexpr std::uint64_t kMostGroups = std::uint64_t{1} << 18U;
// Inodes whose modes are compared with the bitmaps; a volume with more is compared in part.
constexpr std::uint64_t kMostInodes = 1'000'000;
constexpr std::uint64_t kErrors = 2;

}  // namespace

class Ext2Volume::Checker {
 public:
  explicit Checker(Ext2Volume& volume) : volume_(volume), numbers_(volume.numbers_) {
    const std::uint64_t state = volume.super_.get<"state">();
    const bool replay = (numbers_.incompatible & kExt2IncompatRecovery) != 0;
    clean_ = (state & 1U) != 0 && (state & kErrors) == 0 && !replay;
  }

  void run() {
    check_state();
    const std::uint64_t groups = std::min(numbers_.groups, kMostGroups);
    for (std::uint64_t index = 0; index < groups; ++index) {
      const auto found = volume_.group(index);
      if (!found) return;  // the image ends here: no totals
      check_places(index, *found);
      check_blocks(index, *found);
      check_inodes(index, *found);
      if (index != 0 && volume_.layout_.has_superblock(index)) check_copy(index);
      free_blocks_ += found->free_blocks;
      free_inodes_ += found->free_inodes;
    }
    if (groups == numbers_.groups) check_totals();
  }

 private:
  // Counts of a volume that was in use when it was copied are behind: no proof of damage.
  [[nodiscard]] Severity severity() const { return clean_ ? Severity::fault : Severity::caution; }

  void say(std::uint64_t at, std::uint64_t bytes, std::string message) {
    volume_.find(severity(), FindingCode::filesystem_damaged, at, bytes, std::move(message));
  }

  void check_state() {
    const std::uint64_t state = volume_.super_.get<"state">();
    if ((state & kErrors) == 0) return;
    volume_.find(Severity::caution, FindingCode::filesystem_damaged,
                 volume_.super_.place_of<"state">(), 2,
                 fmt::format("the superblock's state is {}: the system that used the volume met "
                             "errors in it, expected 1",
                             state));
  }

  void check_places(std::uint64_t index, const Ext2Group& group) {
    const std::uint64_t table =
        divide_up(numbers_.group_inodes * numbers_.inode_bytes, numbers_.block_bytes);
    // Flexible groups keep their records with the first of them, others each its own.
    const bool anywhere = (numbers_.incompatible & kExt2IncompatFlexible) != 0;
    const std::uint64_t low = anywhere ? numbers_.first_block + 1 : numbers_.group_start(index);
    const std::uint64_t high =
        anywhere ? numbers_.blocks : numbers_.group_start(index) + numbers_.blocks_in(index);
    const auto check = [&](std::string_view what, std::uint64_t block, std::uint64_t count) {
      if (block >= low && fits_within(block, count, high)) return;
      say(group.place, numbers_.descriptor_bytes,
          fmt::format("group {} has its {} at block {}, expected {} blocks from {} to {}", index,
                      what, block, count, low, high - 1));
    };
    check("block bitmap", group.block_bitmap, 1);
    check("inode bitmap", group.inode_bitmap, 1);
    check("inode table", group.inode_table, table);
  }

  void check_blocks(std::uint64_t index, const Ext2Group& group) {
    if (group.no_block_bitmap || !volume_.read_bitmap(group.block_bitmap, map_)) return;
    const std::uint64_t bits = divide_up(numbers_.blocks_in(index), numbers_.cluster_blocks);
    if (bits > std::uint64_t{map_.size()} * 8) return;
    const std::uint64_t free = count_clear(map_, bits);
    if (free != group.free_blocks) {
      say(group.place, numbers_.descriptor_bytes,
          fmt::format("group {} says that {} {} are free, expected {} as in its bitmap", index,
                      group.free_blocks, numbers_.clusters ? "clusters" : "blocks", free));
    }
    const auto check = [&](std::string_view what, std::uint64_t block) {
      const std::uint64_t start = numbers_.group_start(index);
      if (block < start || block - start >= numbers_.blocks_in(index)) return;
      if (bit_of(map_, (block - start) / numbers_.cluster_blocks)) return;
      say(place_of(block), numbers_.block_bytes,
          fmt::format(
              "block {} holds the {} of group {} and is free in the bitmap, expected in use", block,
              what, index));
    };
    check("block bitmap", group.block_bitmap);
    check("inode bitmap", group.inode_bitmap);
    check("first inodes", group.inode_table);
  }

  void check_inodes(std::uint64_t index, const Ext2Group& group) {
    if (group.no_inode_bitmap || !volume_.read_bitmap(group.inode_bitmap, map_)) return;
    if (numbers_.group_inodes > std::uint64_t{map_.size()} * 8) return;
    const std::uint64_t free = count_clear(map_, numbers_.group_inodes);
    if (free != group.free_inodes) {
      say(group.place, numbers_.descriptor_bytes,
          fmt::format("group {} says that {} inodes are free, expected {} as in its bitmap", index,
                      group.free_inodes, free));
    }
    check_modes(index, group);
  }

  // The inode bitmap of a group in map_ against the inodes.
  void check_modes(std::uint64_t index, const Ext2Group& group) {
    const std::uint64_t reserved = numbers_.dynamic ? volume_.super_.get<"first_ino">() : 11;
    const std::uint64_t written =
        numbers_.group_inodes - std::min(numbers_.group_inodes, group.unused_inodes);
    std::uint64_t directories = 0;
    for (std::uint64_t i = 0; i < written; ++i) {
      const NodeId node = index * numbers_.group_inodes + i + 1;
      if (inodes_ == kMostInodes) return;
      ++inodes_;
      const std::byte* bytes = volume_.inode(node);
      if (bytes == nullptr) return;
      const FieldReader<kExt2Inode> inode(bytes, volume_.order_);
      const auto mode = static_cast<std::uint32_t>(inode.get<"mode">());
      const bool used = bit_of(map_, i);
      if (used && type_of_mode(mode) == NodeType::directory) ++directories;
      if (node < reserved) continue;
      const bool named = mode != 0 && inode.get<"links">() != 0 && inode.get<"dtime">() == 0;
      if (used == (mode != 0) || (!used && !named)) continue;
      say(place_of(0) + volume_.inode_offset(node), numbers_.inode_bytes,
          fmt::format("inode {} has the mode {:#o} and is {} in the bitmap, expected {}", node,
                      mode, used ? "in use" : "free", used ? "the type of a file" : "in use"));
    }
    if (directories != group.directories) {
      say(group.place, numbers_.descriptor_bytes,
          fmt::format("group {} says that it holds {} directories, expected {} as in its inodes",
                      index, group.directories, directories));
    }
  }

  // Labels and identifiers are changed in the first superblock only; sizes never differ.
  void check_copy(std::uint64_t index) {
    const std::uint64_t block = numbers_.group_start(index);
    const auto copy = volume_.view_.record<kExt2Superblock>(
        saturating_mul(block, numbers_.block_bytes), volume_.order_);
    if (!copy.complete()) return;
    const Ext2Super& super = volume_.super_;
    if (copy.get<"magic">() != kExt2Magic) {
      say(place_of(block), kExt2Superblock.bytes,
          fmt::format("the copy of the superblock in group {} has the magic {:#x}, expected {:#x}",
                      index, copy.get<"magic">(), kExt2Magic));
      return;
    }
    compare<"inodes_count">(copy, super, index);
    compare<"blocks_count">(copy, super, index);
    compare<"first_data_block">(copy, super, index);
    compare<"log_block_size">(copy, super, index);
    compare<"blocks_per_group">(copy, super, index);
    compare<"inodes_per_group">(copy, super, index);
    compare<"rev_level">(copy, super, index);
    if (numbers_.dynamic) compare<"inode_size">(copy, super, index);
  }

  template <FieldName N>
  void compare(const Ext2Super& copy, const Ext2Super& super, std::uint64_t index) {
    if (copy.get<N>() == super.get<N>()) return;
    say(copy.place_of<N>(), 4,
        fmt::format("the copy of the superblock in group {} has {} {}, expected {} as in the first",
                    index, N.view(), copy.get<N>(), super.get<N>()));
  }

  void check_totals() {
    const Ext2Super& super = volume_.super_;
    const std::uint64_t blocks = saturating_mul(free_blocks_, numbers_.cluster_blocks);
    if (blocks != numbers_.free_blocks) {
      say(super.place_of<"free_blocks_count">(), 4,
          fmt::format("the superblock says that {} blocks are free, expected {} as in the groups",
                      numbers_.free_blocks, blocks));
    }
    if (free_inodes_ != super.get<"free_inodes_count">()) {
      say(super.place_of<"free_inodes_count">(), 4,
          fmt::format("the superblock says that {} inodes are free, expected {} as in the groups",
                      super.get<"free_inodes_count">(), free_inodes_));
    }
  }

  [[nodiscard]] std::uint64_t place_of(std::uint64_t block) const {
    return saturating_add(volume_.view_.start(), saturating_mul(block, numbers_.block_bytes));
  }

  Ext2Volume& volume_;
  const Ext2Numbers& numbers_;
  std::vector<std::byte> map_;
  bool clean_ = false;
  std::uint64_t free_blocks_ = 0;
  std::uint64_t free_inodes_ = 0;
  std::uint64_t inodes_ = 0;
};

void Ext2Volume::check_records() {
  Checker(*this).run();
}

}  // namespace platter::filesystem
