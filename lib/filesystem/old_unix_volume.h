// The files of a volume of the Seventh Edition's line (S5, Xenix, Coherent, V7) or of V6.
#pragma once

#include <array>
#include <memory>
#include <optional>
#include <span>
#include <vector>

#include "core/view.h"
#include "core/volume.h"
#include "filesystem/old_unix_shape.h"
#include "filesystem/read_window.h"

namespace platter::filesystem {

/// An inode with the differences between the systems taken out.
struct OldInode {
  NodeType type = NodeType::unknown;
  std::uint32_t permissions = 0;
  std::uint32_t links = 0;
  std::uint32_t uid = 0;
  std::uint32_t gid = 0;
  std::uint64_t bytes = 0;
  std::int64_t accessed = 0;
  std::int64_t modified = 0;
  std::optional<std::int64_t> changed = {};
  std::optional<DeviceNumber> device = {};
  struct Address {
    std::uint32_t block = 0;
    unsigned level = 0;  ///< 0: data; else so many indirect blocks lie before the data
  };
  std::array<Address, 13> addresses{};
  std::size_t address_count = 0;
  bool inline_text = false;        ///< a symbolic link whose text stands in the inode
  std::uint64_t inline_place = 0;  ///< in the view
};

class OldUnixVolume final : public Volume {
 public:
  OldUnixVolume(const View& view, OldUnixShape shape)
      : view_(view), shape_(std::move(shape)), window_(view) {}

  [[nodiscard]] NodeId root() const override { return shape_.root; }
  [[nodiscard]] Attributes attributes(NodeId node) override;
  void each_entry(NodeId directory, FunctionRef<bool(const Entry&)> visit) override;
  void each_extent(NodeId node, FunctionRef<bool(const Extent&)> visit) override;
  void each_further_block(NodeId node, FunctionRef<bool(const Extent&)> visit) override;
  [[nodiscard]] std::string link_target(NodeId node) override;
  void each_run(FunctionRef<bool(const BlockRun&)> visit) override;
  void check_records() override;
  [[nodiscard]] std::uint64_t unit_bytes() const override { return shape_.block_bytes; }

 private:
  [[nodiscard]] std::optional<OldInode> inode_of(NodeId node);
  void map(NodeId node, const OldInode& inode, FunctionRef<bool(const Extent&)> data,
           FunctionRef<bool(const Extent&)> pointers, bool want_data);
  bool entries_in(std::span<const std::byte> piece, std::uint64_t place,
                  FunctionRef<bool(const Entry&)> visit);
  [[nodiscard]] std::vector<BlockRun> bad_blocks();
  [[nodiscard]] std::uint64_t count_free_inodes();
  void check_totals(const FreeList& list);

  View view_;
  OldUnixShape shape_;
  ReadWindow window_;
};

/// The inode that stands in `bytes`, shape.inode->bytes long.
/// \param place where they lie in the view
[[nodiscard]] OldInode read_old_inode(std::span<const std::byte> bytes, const OldUnixShape& shape,
                                      std::uint64_t place);

}  // namespace platter::filesystem
