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
    check_attribute_blocks();
    check_values();
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

  void check_attribute_blocks() {
    SharedCount& blocks = volume_.attribute_use().blocks;
    std::vector<std::byte> bytes;
    std::uint64_t known = kLargest;  // group whose bitmap is in map_
    for (const SharedNumber& shared : blocks.all()) {
      const std::string trouble = volume_.attribute_block_trouble(shared.number, bytes);
      if (!trouble.empty()) {
        say(place_of(0) + volume_.inode_offset(shared.first), numbers_.inode_bytes,
            fmt::format("block {}, which inode {} names for its extended attributes, {}",
                        shared.number, shared.first, trouble));
        continue;
      }
      check_in_use(shared, known);
      const auto header = volume_.view_.record<kExt2AttributeBlock>(
          shared.number * numbers_.block_bytes, volume_.order_);
      const std::uint64_t stated = header.get<"refcount">();
      if (!header.complete() || blocks.full() || stated == shared.names) continue;
      say(header.place_of<"refcount">(), 4,
          fmt::format("block {} of extended attributes says that {} inodes share it, expected {} "
                      "as name it; the first is inode {}",
                      shared.number, stated, shared.names, shared.first));
    }
  }

  void check_in_use(const SharedNumber& shared, std::uint64_t& known) {
    const std::uint64_t in_groups = shared.number - numbers_.first_block;
    const std::uint64_t index = in_groups / numbers_.group_blocks;
    if (index != known) {
      known = kLargest;
      const auto group = volume_.group(index);
      if (!group || group->no_block_bitmap || !volume_.read_bitmap(group->block_bitmap, map_))
        return;
      known = index;
    }
    const std::uint64_t bit = in_groups % numbers_.group_blocks / numbers_.cluster_blocks;
    if (bit >= std::uint64_t{map_.size()} * 8 || bit_of(map_, bit)) return;
    volume_.find(severity(), FindingCode::blocks_free_in_use, place_of(shared.number),
                 numbers_.block_bytes,
                 fmt::format("block {} holds the extended attributes of inode {} and is free in "
                             "the bitmap, expected in use",
                             shared.number, shared.first));
  }

  void check_values() {
    SharedCount& values = volume_.attribute_use().values;
    for (const SharedNumber& shared : values.all()) {
      const std::byte* bytes =
          volume_.is_value(shared.number) ? volume_.inode(shared.number) : nullptr;
      const std::uint64_t offset = volume_.inode_offset(shared.number);
      if (bytes == nullptr) {
        say(place_of(0) + volume_.inode_offset(shared.first), numbers_.inode_bytes,
            fmt::format("inode {}, which an extended attribute of inode {} names for its value, is "
                        "none that holds one",
                        shared.number, shared.first));
        continue;
      }
      // The count of names stands over the time of change and the version.
      const FieldReader<kExt2Inode> inode(bytes, volume_.order_);
      const std::uint64_t stated = (static_cast<std::uint64_t>(inode.get<"ctime">()) & 0xFFFFFFFFU)
                                       << 32U |
                                   inode.get<"os1">();
      // Volumes made before values were shared have the naming inode in place of a time.
      const bool old_form = static_cast<std::uint64_t>(inode.get<"mtime">()) == shared.first;
      if (stated == shared.names || values.full() || old_form) continue;
      say(place_of(0) + offset, numbers_.inode_bytes,
          fmt::format("inode {} says that {} extended attributes share its value, expected {} as "
                      "name it",
                      shared.number, stated, shared.names));
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
