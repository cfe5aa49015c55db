// The files of XFS.
#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "core/volume.h"
#include "filesystem/file_map.h"
#include "filesystem/piece_cache.h"
#include "filesystem/xfs_log.h"
#include "filesystem/xfs_shape.h"
#include "filesystem/xfs_structures.h"
#include "filesystem/xfs_tree.h"

namespace platter::filesystem {

/// A node is an inode's number: its group, block and place in the block are bits of it.
class XfsVolume final : public Volume {
 public:
  XfsVolume(const View& view, const XfsSuper& super, const XfsShape& shape,
            std::optional<Charset> charset);

  [[nodiscard]] NodeId root() const override { return super_.get<"root_inode">(); }
  [[nodiscard]] Attributes attributes(NodeId node) override;
  void each_entry(NodeId directory, FunctionRef<bool(const Entry&)> visit) override;
  void each_extent(NodeId node, FunctionRef<bool(const Extent&)> visit) override;
  void each_further_block(NodeId node, FunctionRef<bool(const Extent&)> visit) override;
  [[nodiscard]] std::string link_target(NodeId node) override;
  void each_run(FunctionRef<bool(const BlockRun&)> visit) override;
  void check_records() override;
  [[nodiscard]] std::uint64_t unit_bytes() const override { return shape_.block_bytes; }

 private:
  struct Node;  // an inode's bytes, copied: what is visited may read others
  struct Fork;
  struct Mapping;
  struct ExtentNode;
  struct Own;         // a run of the volume's own blocks
  class BlockReader;  // names in a block of a directory
  class Checker;      // check_records()
  using EntryVisit = FunctionRef<bool(const Entry&)>;

  // Inodes (xfs_volume.cpp).
  [[nodiscard]] const std::byte* inode(NodeId node);  // inode_bytes of them; nullptr: not there
  [[nodiscard]] std::optional<Node> node_of(NodeId node);
  [[nodiscard]] Attributes free_attributes(NodeId node, const std::byte* bytes);
  [[nodiscard]] Timestamp late_time(std::uint64_t high, std::uint64_t low) const;

  // Where content lies (xfs_forks.cpp).
  [[nodiscard]] Fork content_fork(const Node& node) const;
  [[nodiscard]] Fork attribute_fork(const Node& node) const;
  bool map_fork(const Fork& fork, Mapping& mapping);
  bool map_list(const Fork& fork, Mapping& mapping);
  bool map_extent(const std::byte* entry, Mapping& mapping);
  bool map_children(const std::byte* keys, const std::byte* pointers, std::uint64_t count,
                    const ExtentNode& at, Mapping& mapping);
  bool map_child(const ExtentNode& child, Mapping& mapping);
  void map(const Node& node, std::uint64_t bytes, FileMap::Wanted wanted,
           FunctionRef<bool(const Extent&)> visit);
  void inside_extent(const Node& node, FunctionRef<bool(const Extent&)> visit);
  void link_extents(const Node& node, FunctionRef<bool(const Extent&)> visit);
  [[nodiscard]] bool has_link_heads(const Node& node) const;
  void say_trouble(const Node& node, const Fork& fork, const FileMap& map);

  // Directories (xfs_directory.cpp).
  void short_entries(const Node& node, EntryVisit visit);
  void old_short_entries(const Node& node, EntryVisit visit);
  void block_entries(const Node& node, EntryVisit visit);
  bool give_entry(NodeId directory, const Entry& entry, EntryVisit visit);
  void say_short(const Node& node, std::uint64_t at);

  // Maps (xfs_maps.cpp).
  [[nodiscard]] std::uint64_t group_place(std::uint64_t group, std::uint64_t sector) const {
    return saturating_add(saturating_mul(group * shape_.group_blocks, shape_.block_bytes),
                          sector * shape_.sector_bytes);
  }
  [[nodiscard]] Record<kXfsSpace> space_of(std::uint64_t group) const {
    return view_.record<kXfsSpace>(group_place(group, 1), ByteOrder::big);
  }
  [[nodiscard]] Record<kXfsInodes> inodes_of(std::uint64_t group) const {
    return view_.record<kXfsInodes>(group_place(group, 2), ByteOrder::big);
  }
  [[nodiscard]] XfsTree by_place(const Record<kXfsSpace>& space) const;
  [[nodiscard]] XfsTree by_size(const Record<kXfsSpace>& space) const;
  [[nodiscard]] XfsTree chunks(const Record<kXfsInodes>& inodes) const;
  [[nodiscard]] std::vector<XfsTree> other_trees(const Record<kXfsSpace>& space,
                                                 const Record<kXfsInodes>& inodes) const;
  [[nodiscard]] std::vector<Own> special_files();
  void add_list(std::uint64_t group, const Record<kXfsSpace>& space, std::vector<Own>& all);
  void add_tree(std::uint64_t group, const XfsTree& tree, std::vector<Own>& all);
  void add_chunks(std::uint64_t group, const Record<kXfsInodes>& inodes, std::vector<Own>& all);
  [[nodiscard]] std::vector<Own> own_blocks(std::uint64_t group, const std::vector<Own>& special);
  bool put_group(std::uint64_t group, std::uint64_t blocks, const std::vector<Own>& own,
                 RunJoiner& joiner);
  void say_trouble(const XfsTreeWalk& walk);
  /// Contradictions of a volume that was in use when it was copied are no proof of damage.
  [[nodiscard]] Severity severity() const {
    return log_ == XfsLogState::unclean ? Severity::caution : Severity::fault;
  }

  [[nodiscard]] BlockSpace space() const { return {shape_.block_bytes, 1, shape_.blocks}; }

  View view_;
  XfsSuper super_;
  XfsShape shape_;
  XfsLogState log_;
  Charset charset_;
  PieceCache inodes_;
  std::vector<std::byte> spare_;  // a buffer between two visits of directories
};

struct XfsVolume::Node {
  NodeId number;
  std::uint64_t place;  // in the image
  NodeType type;
  std::uint64_t bytes;
  std::uint64_t core;    // bytes in front of the content
  std::uint64_t length;  // bytes of the inode
  std::array<std::byte, 2048> raw;

  [[nodiscard]] FieldReader<kXfsInode> inode() const { return {raw.data(), ByteOrder::big}; }
  [[nodiscard]] FieldReader<kXfsInode3> rest() const {
    return {raw.data() + kXfsInode.bytes, ByteOrder::big};
  }
};

// The part of an inode that holds or leads to content or attributes.
struct XfsVolume::Fork {
  std::uint64_t format;
  std::span<const std::byte> bytes;
  std::uint64_t extents;
  std::uint64_t block;  // that the inode lies in; for findings
};

struct XfsVolume::Own {
  std::uint64_t block;
  std::uint64_t count;
};

}  // namespace platter::filesystem
