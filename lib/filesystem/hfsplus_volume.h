// The files of an HFS+ volume.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "core/volume.h"
#include "filesystem/hfs_tree.h"
#include "filesystem/hfsplus_layout.h"

namespace platter::filesystem {

/// A directory is its catalog id. A file is the place of its record in the catalog: a leaf and an
/// index in it. A resource fork is a file of its own: the same node with the top bit set. A hard
/// link is the file that it leads to.
class HfsPlusVolume final : public Volume {
 public:
  /// \param volume  from the first byte of the volume on
  /// \param lead    bytes of an HFS volume around it in front of that
  HfsPlusVolume(View volume, std::uint64_t lead, const HfsPlusHeader& header);

  [[nodiscard]] NodeId root() const override { return kHfsRoot; }
  [[nodiscard]] Attributes attributes(NodeId node) override;
  void each_entry(NodeId directory, FunctionRef<bool(const Entry&)> visit) override;
  void each_extent(NodeId node, FunctionRef<bool(const Extent&)> visit) override;
  void each_further_block(NodeId node, FunctionRef<bool(const Extent&)> visit) override;
  [[nodiscard]] std::string link_target(NodeId node) override;
  /// Nothing on a hybrid disc, whose bitmap calls every block used because of the other tree.
  void each_run(FunctionRef<bool(const BlockRun&)> visit) override;
  void check_records() override;
  [[nodiscard]] std::uint64_t unit_bytes() const override { return block_bytes_; }
  [[nodiscard]] std::uint64_t unit_origin() const override { return lead_; }

 private:
  static constexpr std::size_t kRemembered = 1024;  // directories
  using Fork = FieldReader<kHfsPlusFork>;
  using File = FieldReader<kHfsPlusFile>;
  using BlockVisit = FunctionRef<bool(std::uint64_t start, std::uint64_t count)>;
  struct Child;
  struct CatalogCounts;
  struct Seen {
    std::uint64_t id = 0;
    NodeId locator = 0;
  };
  /// A record copied out of its node.
  struct Found {
    std::vector<std::byte> bytes = {};
    std::uint64_t place = 0;  ///< in the image
    NodeId locator = 0;
    [[nodiscard]] std::span<const std::byte> data() const { return hfs_record_data(bytes, 2); }
  };
  /// Blocks that belong to the volume itself, or are kept from use.
  struct MarkedRun {
    std::uint64_t start = 0;  ///< blocks
    std::uint64_t count = 0;
    BlockUse use = BlockUse::metadata;
    const char* owner = "";
  };
  struct BitRun {
    std::uint64_t start = 0;  ///< blocks
    std::uint64_t count = 0;
    bool used = false;
  };

  [[nodiscard]] std::uint64_t image_place(std::uint64_t place) const {
    return saturating_add(volume_.start(), place);
  }
  void say(std::uint64_t at, std::string message, Severity severity = Severity::fault);
  void collect(HfsTree& tree);

  // hfsplus_forks.cpp
  /// Visits the extents of a fork that has `wanted` blocks, until it is covered.
  void each_block_run(std::uint64_t id, std::uint64_t fork, Fork first, std::uint64_t wanted,
                      BlockVisit visit);
  void each_overflow_run(std::uint64_t id, std::uint64_t fork, std::uint64_t from,
                         BlockVisit visit);
  [[nodiscard]] std::vector<HfsRun> runs_of(std::uint64_t id, Fork fork);
  [[nodiscard]] HfsTree tree_of(std::uint64_t id, Fork fork, const char* name);

  // hfsplus_volume.cpp
  void find_private_directory();
  [[nodiscard]] Found record_at(NodeId locator) const;
  [[nodiscard]] Found record_of_key(std::uint64_t parent, std::string_view name);
  [[nodiscard]] Found record_of_directory(std::uint64_t id);
  [[nodiscard]] Attributes attributes_of_directory(std::uint64_t id);
  void add_permissions(Attributes& attributes, FieldReader<kHfsPlusPermissions> permissions,
                       std::uint64_t place);

  // hfsplus_entries.cpp
  void each_child(std::uint64_t directory, FunctionRef<bool(const Child&)> visit);
  [[nodiscard]] bool is_hidden(std::uint64_t directory);
  bool visit_file(const Child& child, std::uint64_t directory,
                  std::optional<std::vector<std::string>>& taken,
                  FunctionRef<bool(const Entry&)> visit);
  bool visit_directory(const Child& child, FunctionRef<bool(const Entry&)> visit);
  [[nodiscard]] std::vector<std::string> names_like_forks(std::uint64_t directory);
  [[nodiscard]] bool is_hard_link(File file) const;
  [[nodiscard]] Found linked_file(File link, std::uint64_t place);

  // hfsplus_map.cpp
  /// Runs of equal bits of the allocation file, as far as it is there. Returns the blocks told.
  std::uint64_t each_bit_run(FunctionRef<bool(const BitRun&)> visit) const;
  [[nodiscard]] bool is_hybrid();
  [[nodiscard]] std::vector<MarkedRun> marked_runs();
  void mark_attributes(std::vector<MarkedRun>& marked);

  // hfsplus_check.cpp
  void check_bitmap(const std::vector<MarkedRun>& marked);
  void check_copy();
  void check_tree(HfsTree& tree, const char* name);
  void check_marked(const std::vector<MarkedRun>& marked);
  void check_catalog(const std::vector<MarkedRun>& marked);
  void check_order(CatalogCounts& counts, const HfsTreeNode& node, std::size_t index);
  void check_file(File file, std::uint64_t place, const std::vector<MarkedRun>& marked);
  void compare_counts(const CatalogCounts& counts);
  [[nodiscard]] std::uint64_t free_nodes_by_map(const HfsTree& tree) const;

  View volume_;
  std::uint64_t lead_;
  HfsPlusHeader header_;
  std::uint64_t blocks_;
  std::uint64_t block_bytes_;
  HfsTree extents_;
  HfsTree catalog_;
  HfsTree attribute_tree_;
  std::vector<HfsRun> allocation_;
  bool by_case_;
  std::uint64_t private_id_ = 0;  ///< of the directory with the files of hard links; 0: none
  std::uint64_t private_created_ = 0;
  std::uint64_t root_created_ = 0;
  std::optional<bool> hybrid_ = {};
  std::vector<Seen> seen_;
  mutable std::optional<HfsTreeNode> held_ = {};  ///< the leaf that was looked at last
};

}  // namespace platter::filesystem
