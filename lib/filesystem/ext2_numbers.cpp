#include "filesystem/ext2_numbers.h"

namespace platter::filesystem {
namespace {

constexpr std::uint64_t kLargestBlockShift = 6;  // 64 KiB
constexpr std::uint64_t kLargestClusterShift = 20;

std::uint64_t joined(std::uint64_t high, std::uint64_t low, bool wide) {
  return wide ? high << 32U | low : low;
}

bool is_power_of(std::uint64_t value, std::uint64_t base) {
  while (value % base == 0)
    value /= base;
  return value == 1;
}

void add_dynamic(const Ext2Super& super, Ext2Numbers& numbers) {
  numbers.compatible = super.get<"feature_compat">();
  numbers.incompatible = super.get<"feature_incompat">();
  numbers.read_only = super.get<"feature_ro_compat">();
  numbers.wide = (numbers.incompatible & kExt2Incompat64Bit) != 0;
  numbers.clusters = (numbers.read_only & kExt2ReadOnlyClusters) != 0;
  const std::uint64_t inode = super.get<"inode_size">();
  if (is_power_of_two_in(inode, 128, numbers.block_bytes)) numbers.inode_bytes = inode;
  const std::uint64_t descriptor = super.get<"desc_size">();
  if (numbers.wide && is_power_of_two_in(descriptor, 64, numbers.block_bytes)) {
    numbers.descriptor_bytes = descriptor;
  }
  const std::uint64_t shift = super.get<"log_block_size">();
  const std::uint64_t cluster_shift = super.get<"log_cluster_size">();
  if (numbers.clusters && cluster_shift >= shift && cluster_shift - shift <= kLargestClusterShift) {
    numbers.cluster_blocks = std::uint64_t{1} << (cluster_shift - shift);
  }
}

}  // namespace

std::optional<Ext2Super> ext2_superblock(const View& view) {
  const std::uint64_t at = kExt2SuperblockPlace + Ext2Super::offset_of<"magic">();
  const std::uint64_t magic = view.number(at, 2, ByteOrder::little);
  const bool big = magic == 0x53EF;  // kernels of early m68k ports wrote their own order
  if (magic != kExt2Magic && !big) return std::nullopt;
  auto super =
      view.record<kExt2Superblock>(kExt2SuperblockPlace, big ? ByteOrder::big : ByteOrder::little);
  if (!super.complete()) return std::nullopt;
  return super;
}

std::optional<Ext2Numbers> ext2_numbers(const Ext2Super& super) {
  Ext2Numbers numbers;
  numbers.dynamic = super.get<"rev_level">() != 0;
  const std::uint64_t shift = super.get<"log_block_size">();
  if (shift > kLargestBlockShift || super.get<"blocks_per_group">() == 0) return std::nullopt;
  numbers.block_bytes = std::uint64_t{1024} << shift;
  if (numbers.dynamic) add_dynamic(super, numbers);
  const bool wide = numbers.wide;
  numbers.blocks = joined(super.get<"blocks_count_hi">(), super.get<"blocks_count">(), wide);
  numbers.free_blocks =
      joined(super.get<"free_blocks_hi">(), super.get<"free_blocks_count">(), wide);
  numbers.reserved_blocks =
      joined(super.get<"r_blocks_count_hi">(), super.get<"r_blocks_count">(), wide);
  numbers.first_block = super.get<"first_data_block">();
  if (numbers.blocks <= numbers.first_block) return std::nullopt;
  numbers.group_blocks = super.get<"blocks_per_group">();
  numbers.group_inodes = super.get<"inodes_per_group">();
  numbers.groups = divide_up(numbers.blocks - numbers.first_block, numbers.group_blocks);
  numbers.inodes = super.get<"inodes_count">();
  return numbers;
}

Ext2Layout::Ext2Layout(const Ext2Super& super, const Ext2Numbers& numbers)
    : numbers_(numbers),
      per_block_(numbers.block_bytes / numbers.descriptor_bytes),
      first_meta_group_(kLargest),
      reserved_(numbers.dynamic ? super.get<"reserved_gdt_blocks">() : 0),
      superblock_block_(numbers.block_bytes == 1024 ? 1 : 0),
      copies_{super.get<"backup_bgs">(0), super.get<"backup_bgs">(1)} {
  if ((numbers.incompatible & kExt2IncompatMetaGroups) != 0) {
    first_meta_group_ = saturating_mul(super.get<"first_meta_bg">(), per_block_);
  }
}

bool Ext2Layout::has_superblock(std::uint64_t group) const noexcept {
  if (group == 0) return true;
  if ((numbers_.compatible & kExt2CompatSparse2) != 0) {
    return group == copies_[0] || group == copies_[1];
  }
  if ((numbers_.read_only & kExt2ReadOnlySparse) == 0 || group == 1) return true;
  return is_power_of(group, 3) || is_power_of(group, 5) || is_power_of(group, 7);
}

std::uint64_t Ext2Layout::copy_blocks(std::uint64_t group) const noexcept {
  // With clusters and blocks of 1024 bytes, group 0 counts the boot block too.
  const std::uint64_t before =
      group == 0 && superblock_block_ > numbers_.first_block ? superblock_block_ : 0;
  const std::uint64_t superblock = has_superblock(group) ? 1 + before : 0;
  if (group < first_meta_group_) {
    if (superblock == 0) return 0;
    const std::uint64_t groups = std::min(numbers_.groups, first_meta_group_);
    return superblock + divide_up(groups, per_block_) + reserved_;
  }
  // The descriptors of a meta group lie in its first, second and last group.
  const std::uint64_t index = group % per_block_;
  return superblock + (index <= 1 || index == per_block_ - 1 ? 1 : 0);
}

std::uint64_t Ext2Layout::descriptor_place(std::uint64_t group) const noexcept {
  const std::uint64_t block = group / per_block_;
  const std::uint64_t within = group % per_block_ * numbers_.descriptor_bytes;
  if (group < first_meta_group_) {
    const std::uint64_t table = std::max(numbers_.first_block, superblock_block_) + 1;
    return saturating_mul(table + block, numbers_.block_bytes) + within;
  }
  const std::uint64_t first = block * per_block_;
  const std::uint64_t before = has_superblock(first) ? 1 : 0;
  return saturating_mul(saturating_add(numbers_.group_start(first), before), numbers_.block_bytes) +
         within;
}

}  // namespace platter::filesystem
