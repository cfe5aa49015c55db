// The files of a fast file system volume: UFS1 in all its dialects, and UFS2.
#pragma once

#include <memory>
#include <optional>
#include <vector>

#include "core/volume.h"
#include "filesystem/ffs_blocks.h"
#include "filesystem/ffs_groups.h"
#include "filesystem/ffs_inode.h"
#include "filesystem/ffs_shape.h"
#include "filesystem/run_overlay.h"
#include "filesystem/shared_count.h"

namespace platter::filesystem {

class FfsVolume final : public Volume {
 public:
  /// \param view  starts where the volume starts
  /// \param clean the filesystem was unmounted, so that its counts must agree
  FfsVolume(View view, const FfsShape& shape, bool clean, const VolumeOptions& options);

  [[nodiscard]] NodeId root() const override { return kFfsRootInode; }
  [[nodiscard]] Attributes attributes(NodeId node) override;
  void each_entry(NodeId directory, FunctionRef<bool(const Entry&)> visit) override;
  void each_extent(NodeId node, FunctionRef<bool(const Extent&)> visit) override;
  void each_further_block(NodeId node, FunctionRef<bool(const Extent&)> visit) override;
  [[nodiscard]] std::string link_target(NodeId node) override;
  void each_run(FunctionRef<bool(const BlockRun&)> visit) override;
  void check_records() override;
  [[nodiscard]] std::uint64_t unit_bytes() const override { return shape_.fragment_bytes; }

 private:
  struct DirectoryRead;
  struct GroupCheck;

  /// An inode whose number is one of the volume's and that was ever written.
  std::optional<FfsInode> inode(NodeId node);
  bool was_written(std::uint64_t number);
  void walk_blocks(const FfsInode& inode, bool pointers, FunctionRef<bool(const Extent&)> visit);
  bool visit_rest_of_last_block(const FfsInode& found, FunctionRef<bool(const Extent&)> visit);

  bool read_chunk(DirectoryRead& read, std::span<const std::byte> chunk, std::uint64_t place);
  bool read_extent(DirectoryRead& read, const Extent& extent);
  bool hand_out(DirectoryRead& read, std::uint64_t number, std::string_view name,
                std::uint64_t place);

  bool group_runs(std::uint64_t number, FfsGroupBlock& group, RunOverlay& runs);
  BlockRun run_of(std::uint64_t first, std::uint64_t end, BlockUse use) const;

  // What the SVR4 line keeps without a name (ffs_nameless.cpp).
  struct Nameless {
    std::vector<BlockRun> runs;          ///< blocks of access lists and attributes
    std::vector<SharedNumber> lists;     ///< access lists, and the names that each states
    std::vector<BlockRun> attributes;    ///< blocks of files that look like attributes
    SharedCount lists_named;             ///< by files
    bool attribute_directories = false;  ///< whether there are any
    std::size_t steps = 0;               ///< extents that were looked at
  };
  const Nameless& nameless();
  void add_nameless(std::uint64_t group_number, Nameless& found);
  void add_nameless(const FfsInode& inode, Nameless& found);
  void add_blocks(const FfsInode& inode, Nameless& found, std::vector<BlockRun>& runs);
  bool each_log_run(FunctionRef<bool(const BlockRun&)> visit);
  void check_access_lists();
  void check_log();

  void check_group(std::uint64_t number, GroupCheck& check);
  void check_group_head(std::uint64_t number, const FfsGroupBlock& group);
  void count_fragments(std::uint64_t number, GroupCheck& check);
  void count_inodes(std::uint64_t number, GroupCheck& check);
  void check_summary(std::uint64_t number, const GroupCheck& check);
  void check_copy(std::uint64_t number);
  void check_totals(const GroupCheck& check);
  void compare(std::uint64_t place, std::string_view whose, std::string_view what,
               std::int64_t stated, std::uint64_t counted);

  View view_;
  FfsShape shape_;
  bool clean_;
  Charset charset_;
  std::vector<std::byte> window_;  // inodes read last
  std::uint64_t window_place_ = kLargest;
  std::uint64_t written_group_ = kLargest;  // UFS2: the group whose count is kept
  std::uint64_t written_ = 0;
  std::optional<Nameless> nameless_;
};

/// Opens the volume at the start of the view. Nothing when no superblock is found there, or one
/// that identification alone may look at: an interrupted creation, or the security variant.
[[nodiscard]] std::unique_ptr<Volume> open_ffs(const View& view, const VolumeOptions& options,
                                               bool ufs2);

}  // namespace platter::filesystem
