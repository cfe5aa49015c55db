// The files of an HFS volume.
#pragma once

#include <string>
#include <vector>

#include "core/volume.h"
#include "filesystem/hfs_layout.h"
#include "filesystem/hfs_tree.h"

namespace platter::filesystem {

/// A directory is its catalog id. A file is its catalog id together with the place of its record in
/// the catalog, because most files have no thread record that would lead from the id to it. A
/// resource fork is a file of its own: the same node with the top bit set.
class HfsVolume final : public Volume {
 public:
  HfsVolume(View view, const HfsHeader& header, const VolumeOptions& options);

  [[nodiscard]] NodeId root() const override { return kHfsRoot; }
  [[nodiscard]] Attributes attributes(NodeId node) override;
  void each_entry(NodeId directory, FunctionRef<bool(const Entry&)> visit) override;
  void each_extent(NodeId node, FunctionRef<bool(const Extent&)> visit) override;
  void each_further_block(NodeId node, FunctionRef<bool(const Extent&)> visit) override;
  [[nodiscard]] std::string link_target(NodeId) override { return {}; }
  /// Nothing on a hybrid disc, whose bitmap calls every block used because of the other tree.
  void each_run(FunctionRef<bool(const BlockRun&)> visit) override;
  void check_records() override;
  [[nodiscard]] std::uint64_t unit_bytes() const override { return block_bytes_; }
  [[nodiscard]] std::uint64_t unit_origin() const override { return first_block_place_; }

 private:
  struct Seen {
    std::uint64_t id = 0;
    std::uint64_t locator = 0;
  };
  struct Child;
  struct MarkedRun {
    std::uint64_t start = 0;  ///< allocation blocks
    std::uint64_t count = 0;
    BlockUse use = BlockUse::metadata;
  };
  using Extents3 = FieldReader<kHfsExtentRecord>;
  /// A record copied out of its node.
  struct Found {
    std::vector<std::byte> bytes;
    std::uint64_t place = 0;  ///< in the image
    [[nodiscard]] std::span<const std::byte> data() const { return hfs_record_data(bytes); }
  };

  [[nodiscard]] std::uint64_t place_of_block(std::uint64_t block) const {
    return first_block_place_ + block * block_bytes_;
  }
  [[nodiscard]] std::uint64_t image_place(std::uint64_t place) const {
    return saturating_add(view_.start(), place);
  }
  void collect(HfsTree& tree);

  Found record_at(std::uint64_t locator) const;
  Found record_of_directory(std::uint64_t id);
  Found record_of_key(std::uint64_t parent, std::string_view name);
  void each_child(std::uint64_t directory, FunctionRef<bool(const Child&)> visit);
  bool visit_file(const Child& child, std::vector<std::string>& taken,
                  FunctionRef<bool(const Entry&)> visit);
  std::vector<std::string> names_like_forks(std::uint64_t directory);

  /// Visits the extents of a fork that has `wanted` blocks, until it is covered.
  void each_block_run(std::uint64_t id, std::uint64_t fork, Extents3 first, std::uint64_t wanted,
                      FunctionRef<bool(std::uint64_t start, std::uint64_t count)> visit);
  void each_overflow_run(std::uint64_t id, std::uint64_t fork, std::uint64_t from,
                         FunctionRef<bool(std::uint64_t start, std::uint64_t count)> visit);

  [[nodiscard]] std::vector<bool> bitmap() const;
  [[nodiscard]] bool is_hybrid(const std::vector<bool>& bitmap) const;
  std::vector<MarkedRun> marked_runs();
  void check_bitmap();
  void check_spare();
  void check_catalog();

  View view_;
  HfsHeader header_;
  std::uint64_t blocks_;
  std::uint64_t block_bytes_;
  std::uint64_t first_block_place_;
  Charset charset_;
  HfsTree extents_;
  HfsTree catalog_;
  std::vector<Seen> seen_;
};

}  // namespace platter::filesystem
