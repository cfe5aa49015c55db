// The B-trees of HFS and HFS+: the catalog and the extents overflow file.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "core/function_ref.h"
#include "core/view.h"
#include "filesystem/hfs_structures.h"

namespace platter::filesystem {

/// A run of a tree's file; places are bytes from the start of the volume.
struct HfsRun {
  std::uint64_t place = 0;
  std::uint64_t bytes = 0;
};

/// How the nodes of a tree are laid out.
struct HfsTreeForm {
  std::size_t node_bytes = kHfsNodeBytes;
  std::size_t key_width = 1;        ///< bytes of the number in front of a key: 1 HFS, 2 HFS+
  std::size_t index_key_bytes = 0;  ///< keys of index nodes fill so many bytes; 0: as they say
};

/// The bytes behind the key of a record; empty when the key is nonsense.
[[nodiscard]] std::span<const std::byte> hfs_record_data(std::span<const std::byte> record,
                                                         std::size_t key_width = 1);

/// One node in memory. Records are cut to what lies inside the node.
struct HfsTreeNode {
  std::vector<std::byte> bytes = {};
  std::uint64_t number = 0;
  std::uint64_t place = 0;  ///< bytes from the start of the volume

  /// Only of a node that was read.
  [[nodiscard]] FieldReader<kHfsNode> head() const { return {bytes.data(), ByteOrder::big}; }
  [[nodiscard]] bool is_leaf() const { return head().get<"kind">() == 0xFF; }
  /// Records that fit a node, however many it claims.
  [[nodiscard]] std::size_t count() const;
  /// Key and data of a record; empty when its offsets are nonsense.
  [[nodiscard]] std::span<const std::byte> record(std::size_t index) const;
};

class HfsTree {
 public:
  HfsTree(View view, std::vector<HfsRun> runs, const HfsTreeForm& form = {});

  [[nodiscard]] const Record<kHfsTreeHeader>& header() const noexcept { return header_; }
  [[nodiscard]] const std::vector<HfsRun>& runs() const noexcept { return runs_; }
  [[nodiscard]] const HfsTreeForm& form() const noexcept { return form_; }
  /// Nodes that the tree's file really has room for.
  [[nodiscard]] std::uint64_t nodes() const noexcept { return nodes_; }
  /// False when there is no such node or the image ends before it.
  bool read(std::uint64_t number, HfsTreeNode& node) const;

  /// Visits records of leaves in order, beginning with the first for which `before` is false, until
  /// `visit` returns false. `before` must hold for a first part of the records and for no other.
  /// A chain of leaves that is broken or leads back ends the walk and is a problem(). So is a tree
  /// whose searches went astray for longer than the tree is large.
  using Before = FunctionRef<bool(std::span<const std::byte> record)>;
  using Visitor = FunctionRef<bool(const HfsTreeNode& node, std::size_t index)>;
  void each_from(Before before, Visitor visit);
  /// The same from the first leaf on, by the header.
  void each(Visitor visit);

  struct Problem {
    std::uint64_t place = 0;  ///< bytes from the start of the volume
    std::string message;
  };
  /// What was wrong on the last walks, once.
  [[nodiscard]] std::optional<Problem> take_problem();

 private:
  bool descend(Before before, HfsTreeNode& node);
  /// \param go_on  asked after each leaf; false ends the walk
  void along_leaves(HfsTreeNode& node, std::size_t index, Visitor visit,
                    FunctionRef<bool(const HfsTreeNode& node)> go_on);
  void report(const HfsTreeNode& node, std::string message);
  [[nodiscard]] std::span<const std::byte> index_data(std::span<const std::byte> record) const;

  View view_;
  std::vector<HfsRun> runs_;
  std::vector<std::uint64_t> ends_;  ///< of each run, bytes of the tree's file
  HfsTreeForm form_;
  std::uint64_t nodes_ = 0;
  Record<kHfsTreeHeader> header_;
  std::uint64_t astray_ = 0;  ///< leaves that were passed in vain, in all searches
  std::optional<Problem> problem_;
};

}  // namespace platter::filesystem
