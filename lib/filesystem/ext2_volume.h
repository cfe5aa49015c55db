// The files of ext2 and its successors.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "core/volume.h"
#include "filesystem/ext2_attributes.h"
#include "filesystem/ext2_numbers.h"
#include "filesystem/ext2_structures.h"
#include "filesystem/file_map.h"
#include "filesystem/piece_cache.h"

namespace platter::filesystem {

/// One group of blocks, from its descriptor.
struct Ext2Group {
  std::uint64_t place = 0;  ///< image byte of the descriptor
  std::uint64_t block_bitmap = 0;
  std::uint64_t inode_bitmap = 0;
  std::uint64_t inode_table = 0;
  std::uint64_t free_blocks = 0;  ///< clusters where bitmaps count them
  std::uint64_t free_inodes = 0;
  std::uint64_t directories = 0;
  std::uint64_t unused_inodes = 0;  ///< at the end of the table, never written
  bool no_block_bitmap = false;     ///< not written yet; the group is as new
  bool no_inode_bitmap = false;
};

/// A node is an inode's number.
class Ext2Volume final : public Volume {
 public:
  Ext2Volume(const View& view, const Ext2Super& super, const Ext2Numbers& numbers,
             std::optional<Charset> charset);

  [[nodiscard]] NodeId root() const override { return 2; }
  [[nodiscard]] Attributes attributes(NodeId node) override;
  void each_entry(NodeId directory, FunctionRef<bool(const Entry&)> visit) override;
  void each_extent(NodeId node, FunctionRef<bool(const Extent&)> visit) override;
  void each_further_block(NodeId node, FunctionRef<bool(const Extent&)> visit) override;
  [[nodiscard]] std::string link_target(NodeId node) override;
  void each_run(FunctionRef<bool(const BlockRun&)> visit) override;
  void check_records() override;
  [[nodiscard]] std::uint64_t unit_bytes() const override {
    return numbers_.block_bytes * numbers_.cluster_blocks;
  }

 private:
  struct Node;  // an inode's bytes, copied: what is visited may read others
  struct ExtentNode;
  class Checker;  // check_records()

  // Inodes (ext2_volume.cpp).
  [[nodiscard]] std::optional<Ext2Group> group(std::uint64_t index);
  [[nodiscard]] std::uint64_t inode_offset(NodeId node);  // in the view; kLargest: nowhere
  bool find_table(NodeId node);
  [[nodiscard]] const std::byte* inode(NodeId node);  // inode_bytes of them; nullptr: not there
  [[nodiscard]] std::optional<Node> node_of(NodeId node);
  [[nodiscard]] std::uint64_t size_of(NodeType type, std::uint64_t low, std::uint64_t high) const;
  [[nodiscard]] std::uint64_t extra_bytes(const std::byte* bytes) const;
  [[nodiscard]] Attributes free_attributes(NodeId node, std::uint32_t mode);
  [[nodiscard]] bool is_short_link(const Node& node) const;

  // Where content lies (ext2_extents.cpp).
  bool map_node(const Node& node, FileMap& map);
  bool map_pointers(const Node& node, FileMap& map);
  bool map_extents(const ExtentNode& at, FileMap& map);
  bool map_child(ExtentNode child, FileMap& map);
  bool map_extent(const std::byte* entry, FileMap& map);
  void map(NodeId node, FileMap::Wanted wanted, FunctionRef<bool(const Extent&)> visit);
  [[nodiscard]] std::optional<Extent> one_extent(const std::byte* inode) const;
  void inline_extents(const Node& node, FunctionRef<bool(const Extent&)> visit);
  [[nodiscard]] std::optional<Extent> inline_rest(const Node& node);
  void say_stored_form(const Node& node);

  // Extended attributes outside the inodes (ext2_attributes.cpp).
  Ext2AttributeUse& attribute_use();  // looks through all inodes when it is first asked
  // Looks at `most` inodes of a group at most, and takes those it looked at from `most`.
  void add_attribute_use(std::uint64_t index, std::uint64_t& most, Ext2AttributeUse& use);
  void add_attribute_use_of(NodeId node, bool named_only, Ext2AttributeUse& use);
  void add_values(std::span<const std::byte> attributes, std::uint64_t at, NodeId by,
                  Ext2AttributeUse& use);
  // Where in an inode its attributes start.
  [[nodiscard]] std::optional<std::uint64_t> attributes_inside(
      std::span<const std::byte> inode_bytes) const;
  bool read_attribute_block(std::uint64_t block, std::vector<std::byte>& bytes);
  // What is wrong with such a block; "": nothing. `bytes` takes the block, when it is there.
  [[nodiscard]] std::string attribute_block_trouble(std::uint64_t block,
                                                    std::vector<std::byte>& bytes);
  [[nodiscard]] bool is_value(NodeId node);
  void add_attributes(std::vector<BlockRun>& all);

  // Directories (ext2_directory.cpp).
  bool read_entries(NodeId directory, std::span<const std::byte> bytes, std::uint64_t place,
                    std::uint64_t unit, FunctionRef<bool(const Entry&)> visit);
  bool read_block(NodeId directory, std::span<const std::byte> block, std::uint64_t place,
                  FunctionRef<bool(const Entry&)> visit);
  void say_what_is_wrong(NodeId directory, const Entry& entry);

  // Maps (ext2_maps.cpp).
  [[nodiscard]] std::vector<BlockRun> metadata();
  void add_special_inodes(std::vector<BlockRun>& all);
  void add_later_inodes(std::vector<BlockRun>& all);
  [[nodiscard]] bool has_name_in_root(NodeId node);
  void add_inode_runs(std::vector<BlockRun>& all, NodeId node, BlockUse use);
  void add_own(std::vector<BlockRun>& all, std::uint64_t block, std::uint64_t count,
               BlockUse use) const;
  bool read_bitmap(std::uint64_t block, std::vector<std::byte>& map);
  [[nodiscard]] std::size_t bitmap_word();

  [[nodiscard]] BlockSpace space() const {
    return {numbers_.block_bytes, numbers_.first_block + 1, numbers_.blocks};
  }

  View view_;
  Ext2Super super_;
  Ext2Numbers numbers_;
  Ext2Layout layout_;
  ByteOrder order_;
  Charset charset_;
  bool upper_ids_;  // inodes have upper halves of user and group
  PieceCache descriptors_;
  PieceCache inodes_;
  std::vector<std::byte> spare_;  // a buffer between two visits of directories
  // The table of inodes that was used last: its byte in the view, and the inodes in it.
  std::uint64_t known_table_ = 0;
  NodeId known_first_ = 0;
  std::uint64_t known_count_ = 0;
  std::optional<std::size_t> bitmap_word_;
  std::optional<Ext2AttributeUse> attribute_use_;
};

struct Ext2Volume::Node {
  NodeId number;
  std::uint64_t place;  // in the view
  Record<kExt2Inode> record;
  NodeType type;
  std::uint64_t bytes;
  std::uint64_t flags;
};

// A node of an extent tree, for the file's blocks from `unit` up to `until`.
struct Ext2Volume::ExtentNode {
  const std::byte* bytes;
  std::size_t length;
  unsigned depth;
  std::uint64_t block;  // where it lies
  std::uint64_t unit;
  std::uint64_t until;
};

}  // namespace platter::filesystem
