// The trees inside an XFS allocation group: free space, inode chunks, owners.
#pragma once

#include <cstddef>
#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

#include "core/function_ref.h"
#include "filesystem/xfs_shape.h"

namespace platter::filesystem {

/// Where a tree begins and what it is made of.
struct XfsTree {
  std::string_view name;
  std::uint64_t root = 0;    ///< block of the group
  std::uint64_t levels = 0;  ///< 1: the root is a leaf
  std::uint64_t magic = 0;
  std::size_t key_bytes = 0;
  std::size_t record_bytes = 0;
};

/// One walk through a tree. Levels fall from block to block, and no more blocks are read than the
/// group has in the image, so that it ends whatever the blocks say.
class XfsTreeWalk {
 public:
  XfsTreeWalk(const View& view, const XfsShape& shape, std::uint64_t group, const XfsTree& tree)
      : view_(view), shape_(shape), group_(group), tree_(tree) {}

  /// Visits the blocks of the tree, counted in the group, root first.
  /// \returns whether the tree was gone through; false when it is damaged or `visit` wants no more
  bool each_block(FunctionRef<bool(std::uint64_t block)> visit);
  /// Visits the records in their order: `record_bytes` bytes and their place in the image.
  bool each_record(FunctionRef<bool(const std::byte* record, std::uint64_t place)> visit);

  /// What is wrong with it and at which byte of the image; "" when nothing is.
  [[nodiscard]] const std::string& trouble() const noexcept { return trouble_; }
  [[nodiscard]] std::uint64_t trouble_place() const noexcept { return trouble_place_; }

 private:
  using BlockVisit = FunctionRef<bool(std::uint64_t)>;
  using RecordVisit = FunctionRef<bool(const std::byte*, std::uint64_t)>;

  bool start();
  bool enter(std::uint64_t block, std::uint64_t level, bool records, BlockVisit on_block,
             RecordVisit on_record);
  bool read(std::uint64_t block, std::uint64_t level, std::uint64_t room, std::uint64_t& count);
  bool fail(std::uint64_t block, std::string words);

  const View& view_;
  const XfsShape& shape_;
  std::uint64_t group_;
  XfsTree tree_;
  std::uint64_t left_ = 0;  // blocks that may still be read
  std::vector<std::vector<std::byte>> buffers_;
  std::string trouble_;
  std::uint64_t trouble_place_ = 0;
};

}  // namespace platter::filesystem
