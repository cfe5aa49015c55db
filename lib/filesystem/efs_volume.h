// The files of an Extent File System volume.
#pragma once

#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "core/record.h"
#include "core/view.h"
#include "core/volume.h"
#include "filesystem/efs_structures.h"
#include "filesystem/read_window.h"

namespace platter::filesystem {

/// A volume in numbers: those of its superblock, checked so far that one can compute with them.
/// Places and lengths are in basic blocks of 512 bytes.
struct EfsShape {
  std::uint64_t size = 0;
  std::uint64_t first_group = 0;
  std::uint64_t group_size = 0;
  std::uint64_t inode_blocks = 0;  ///< at the start of each group
  std::uint64_t groups = 0;
  std::uint64_t bitmap = 0;
  std::uint64_t bitmap_bytes = 0;
  std::uint64_t stated_free = 0;
  std::uint64_t stated_free_inodes = 0;
  std::uint64_t copy = 0;  ///< of the superblock; 0: none
  bool clean = true;

  [[nodiscard]] std::uint64_t end() const noexcept { return first_group + groups * group_size; }
  [[nodiscard]] std::uint64_t inodes() const noexcept { return groups * group_inodes(); }
  [[nodiscard]] std::uint64_t group_inodes() const noexcept {
    return inode_blocks * (kEfsBlock / kEfsInode.bytes);
  }
  [[nodiscard]] std::uint64_t data_blocks() const noexcept {
    return groups * (group_size - inode_blocks);
  }
  /// Byte of an inode in the view.
  [[nodiscard]] std::uint64_t inode_place(std::uint64_t number) const noexcept {
    const std::uint64_t group = number / group_inodes();
    const std::uint64_t in_group = number % group_inodes();
    return (first_group + group * group_size) * kEfsBlock + in_group * kEfsInode.bytes;
  }
  /// Whether a run lies in the data part of one group.
  [[nodiscard]] bool is_data(std::uint64_t block, std::uint64_t length) const noexcept;
};

/// nullopt when nothing can be computed from the superblock: a count of 0, an end past the size.
[[nodiscard]] std::optional<EfsShape> efs_shape(const Record<kEfsSuperblock>& super);

/// The two checksums that were in use (efs_subr.c): the older one loses the bits it shifts out.
struct EfsChecksums {
  std::uint32_t rotated = 0;
  std::uint32_t shifted = 0;
};
[[nodiscard]] EfsChecksums efs_checksums(std::span<const std::byte> superblock);

class EfsVolume final : public Volume {
 public:
  EfsVolume(const View& view, const EfsShape& shape) : view_(view), shape_(shape), window_(view) {}

  [[nodiscard]] NodeId root() const override { return kEfsRootInode; }
  [[nodiscard]] Attributes attributes(NodeId node) override;
  void each_entry(NodeId directory, FunctionRef<bool(const Entry&)> visit) override;
  void each_extent(NodeId node, FunctionRef<bool(const Extent&)> visit) override;
  void each_further_block(NodeId node, FunctionRef<bool(const Extent&)> visit) override;
  [[nodiscard]] std::string link_target(NodeId node) override;
  void each_run(FunctionRef<bool(const BlockRun&)> visit) override;
  void check_records() override;
  [[nodiscard]] std::uint64_t unit_bytes() const override { return kEfsBlock; }

 private:
  struct Run {
    std::uint64_t block = 0;
    std::uint64_t length = 0;
    std::uint64_t offset = 0;  // block of the file
  };
  using Inode = Record<kEfsInode>;

  [[nodiscard]] std::optional<Inode> inode_of(NodeId node);
  [[nodiscard]] std::vector<Run> runs_of(NodeId node, const Inode& inode);
  [[nodiscard]] std::vector<Run> indirect_of(NodeId node, const Inode& inode);
  void follow_indirect(NodeId node, const Inode& inode, std::uint64_t count,
                       std::vector<Run>& runs);
  bool add_run(NodeId node, FieldReader<kEfsExtent> extent, std::vector<Run>& runs);
  void sort_runs(NodeId node, std::vector<Run>& runs);
  bool entries_in(std::span<const std::byte> block, std::uint64_t place,
                  FunctionRef<bool(const Entry&)> visit);
  bool entry_at(std::span<const std::byte> block, std::size_t offset, std::uint64_t place,
                FunctionRef<bool(const Entry&)> visit);
  void damaged(Severity severity, NodeId node, std::string message);
  void check_copy();
  [[nodiscard]] std::optional<std::uint64_t> count_free_blocks();
  [[nodiscard]] std::uint64_t count_free_inodes();

  View view_;
  EfsShape shape_;
  ReadWindow window_;
};

}  // namespace platter::filesystem
