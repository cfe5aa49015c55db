// What the maps and counts of an Extent File System volume say.
#include <algorithm>

#include <fmt/format.h>

#include "filesystem/efs_volume.h"

namespace platter::filesystem {
namespace {

// The bitmap: 1 is free, the lowest bit of a byte is the first block. What is not there is in use.
class Bitmap {
 public:
  Bitmap(ReadWindow& window, const EfsShape& shape) : window_(window), shape_(shape) {}

  bool is_free(std::uint64_t block) {
    const std::uint64_t index = block / 8;
    if (index != held_) {
      held_ = index;
      const bool inside = index < shape_.bitmap_bytes;
      const auto byte =
          inside ? window_.at(shape_.bitmap * kEfsBlock + index, 1) : std::span<const std::byte>{};
      value_ = byte.empty() ? 0 : std::to_integer<unsigned>(byte[0]);
    }
    return (value_ >> block % 8 & 1U) != 0;
  }

 private:
  ReadWindow& window_;
  const EfsShape& shape_;
  std::uint64_t held_ = kLargest;
  unsigned value_ = 0;
};

}  // namespace

void EfsVolume::each_run(FunctionRef<bool(const BlockRun&)> visit) {
  ReadWindow window(view_);
  Bitmap bitmap(window, shape_);
  RunJoiner runs(visit);
  const auto add = [&](std::uint64_t first, std::uint64_t count, BlockUse use) {
    return runs.add({view_.start() + first * kEfsBlock, count * kEfsBlock, use});
  };
  if (!add(0, shape_.first_group, BlockUse::metadata)) return;
  for (std::uint64_t group = 0; group < shape_.groups; ++group) {
    const std::uint64_t start = shape_.first_group + group * shape_.group_size;
    if (!add(start, shape_.inode_blocks, BlockUse::metadata)) return;
    for (std::uint64_t i = shape_.inode_blocks; i < shape_.group_size; ++i) {
      const BlockUse use = bitmap.is_free(start + i) ? BlockUse::free : BlockUse::used;
      if (!add(start + i, 1, use)) return;
    }
  }
  // Behind the groups: a copy of the superblock, or the bitmap of a grown volume; never files.
  if (add(shape_.end(), shape_.size - shape_.end(), BlockUse::metadata)) runs.finish();
}

std::optional<std::uint64_t> EfsVolume::count_free_blocks() {
  const std::uint64_t needed = divide_up(shape_.end(), 8);
  if (!fits_within(shape_.bitmap * kEfsBlock, needed, view_.bytes())) return std::nullopt;
  ReadWindow window(view_);
  Bitmap bitmap(window, shape_);
  std::uint64_t free = 0;
  for (std::uint64_t group = 0; group < shape_.groups; ++group) {
    const std::uint64_t start = shape_.first_group + group * shape_.group_size;
    for (std::uint64_t i = shape_.inode_blocks; i < shape_.group_size; ++i) {
      if (bitmap.is_free(start + i)) ++free;
    }
  }
  return free;
}

std::uint64_t EfsVolume::count_free_inodes() {
  std::uint64_t free = 0;
  for (NodeId node = kEfsFirstFileInode; node < shape_.inodes(); ++node) {
    const auto bytes = window_.at(shape_.inode_place(node), kEfsInode.bytes);
    if (bytes.empty()) break;
    if (FieldReader<kEfsInode>(bytes.data(), ByteOrder::big).get<"mode">() == 0) ++free;
  }
  return free;
}

void EfsVolume::check_records() {
  const Severity severity = shape_.clean ? Severity::fault : Severity::note;
  const std::uint64_t super = view_.start() + kEfsSuperblockPlace;
  using Super = FieldReader<kEfsSuperblock>;
  if (const auto free = count_free_blocks(); free && *free != shape_.stated_free) {
    find(severity, FindingCode::filesystem_damaged, super + Super::offset_of<"tfree">(), 4,
         fmt::format("the bitmap has {} free data blocks, the superblock counts {}", *free,
                     shape_.stated_free));
  }
  const std::uint64_t last = shape_.inode_place(shape_.inodes() - 1) + kEfsInode.bytes;
  if (last <= view_.bytes()) {
    // Whether the two inodes that are never used count as free may differ between makers.
    const std::uint64_t free = count_free_inodes();
    const std::uint64_t stated = shape_.stated_free_inodes;
    if (stated > free + kEfsFirstFileInode || free > stated + kEfsFirstFileInode) {
      find(severity, FindingCode::filesystem_damaged, super + Super::offset_of<"tinode">(), 4,
           fmt::format("{} inodes are free, the superblock counts {}", free, stated));
    }
  }
  check_copy();
}

// Counts and times of the copy may be old; what never changes must be equal.
void EfsVolume::check_copy() {
  if (shape_.copy == 0) return;
  const auto super = view_.record<kEfsSuperblock>(kEfsSuperblockPlace, ByteOrder::big);
  const auto copy = view_.record<kEfsSuperblock>(shape_.copy * kEfsBlock, ByteOrder::big);
  if (!copy.complete()) return;
  const bool equal = super.get<"size">() == copy.get<"size">() &&
                     super.get<"firstcg">() == copy.get<"firstcg">() &&
                     super.get<"cgfsize">() == copy.get<"cgfsize">() &&
                     super.get<"cgisize">() == copy.get<"cgisize">() &&
                     super.get<"ncg">() == copy.get<"ncg">();
  if (equal) return;
  find(Severity::caution, FindingCode::filesystem_damaged, copy.start(), kEfsSuperblock.bytes,
       fmt::format("the copy of the superblock in block {} describes another volume: {} groups of "
                   "{} blocks, expected {} of {}",
                   shape_.copy, copy.get<"ncg">(), copy.get<"cgfsize">(), super.get<"ncg">(),
                   super.get<"cgfsize">()));
}

}  // namespace platter::filesystem
