// What the filesystems of the Seventh Edition's line and its predecessor have in common: where the
// parts of a volume lie, and its list of free blocks.
#pragma once

#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "core/claim.h"
#include "core/record.h"
#include "core/view.h"

namespace platter::filesystem {

/// A volume in numbers, as its superblock says. Nothing is checked before disagreements() was
/// asked.
struct OldUnixShape {
  ByteOrder order = ByteOrder::little;
  std::uint64_t block_bytes = 512;
  std::uint64_t inode_block = 2;  ///< first block of the inode list
  std::uint64_t first_data = 0;   ///< block
  std::uint64_t blocks = 0;
  std::uint64_t most_blocks = 0;  ///< that an address can name
  std::uint64_t inodes = 0;
  std::uint64_t root = 2;
  const Structure* inode = nullptr;
  const Structure* chain = nullptr;  ///< of a free list block
  const Structure* superblock = nullptr;
  std::uint64_t superblock_start = 0;  ///< in the view
  std::uint64_t free_count = 0;        ///< numbers in `free`, as the superblock says
  std::vector<std::uint32_t> free;     ///< the superblock's part of the free list
  std::uint64_t free_inode_count = 0;
  std::vector<std::uint32_t> free_inodes;    ///< the superblock's hints
  std::optional<std::uint64_t> stated_free;  ///< blocks, where the system keeps a total
  std::optional<std::uint64_t> stated_free_inodes;
  std::int64_t time = 0;
  bool free_list_known = true;  ///< false: free blocks are kept in another, unknown way
  bool clean = true;            ///< false: counts may lag behind

  [[nodiscard]] bool is_data(std::uint64_t block) const noexcept {
    return block >= first_data && block < blocks;
  }
  [[nodiscard]] std::uint64_t volume_bytes() const noexcept { return blocks * block_bytes; }
  /// Byte of an inode, from 1 on, in the view.
  [[nodiscard]] std::uint64_t inode_place(std::uint64_t number) const noexcept {
    return inode_block * block_bytes + (number - 1) * inode->bytes;
  }
  /// Byte of a superblock field in the view.
  [[nodiscard]] std::uint64_t place_of(std::string_view field) const noexcept {
    const Field* found = superblock->find(field);
    return superblock_start + (found == nullptr ? 0 : found->offset);
  }
  [[nodiscard]] std::size_t chain_capacity() const noexcept { return chain->find("free")->count; }
};

/// Reads the fields that all superblocks of the line share.
template <const Structure& S>
OldUnixShape shape_of(const FieldReader<S>& super, std::uint64_t start) {
  OldUnixShape shape;
  shape.order = super.order();
  shape.superblock = &S;
  shape.superblock_start = start;
  shape.first_data = super.template get<"isize">();
  shape.blocks = super.template get<"fsize">();
  shape.free_count = super.template get<"nfree">();
  shape.free_inode_count = super.template get<"ninode">();
  shape.time = super.template get<"time">();
  for (std::size_t i = 0; i < super.template count_of<"free">() && i < shape.free_count; ++i) {
    shape.free.push_back(static_cast<std::uint32_t>(super.template get<"free">(i)));
  }
  for (std::size_t i = 0; i < super.template count_of<"inode">() && i < shape.free_inode_count;
       ++i) {
    shape.free_inodes.push_back(static_cast<std::uint32_t>(super.template get<"inode">(i)));
  }
  return shape;
}

/// A superblock field that cannot be right.
struct Disagreement {
  std::string_view field;
  std::string message;
};

/// What in the superblock contradicts itself. When `sizes` is false in the answer, nothing can be
/// computed from it.
struct Disagreements {
  bool sizes = true;
  std::vector<Disagreement> all;
};
[[nodiscard]] Disagreements disagreements(const OldUnixShape& shape);

/// Whether the root inode is a directory whose first two entries are "." and "..", both the root.
/// A few reads.
enum class RootState : std::uint8_t {
  sound,
  absent,  ///< the image ends before
  wrong,
};
[[nodiscard]] RootState root_state(const View& view, const OldUnixShape& shape);

/// The list of free blocks, followed to its end.
struct FreeList {
  std::vector<bool> free;  ///< by block; as many as the image holds
  std::uint64_t count = 0;
  struct Problem {
    std::uint64_t at;  ///< in the view
    std::string message;
  };
  std::vector<Problem> problems;  ///< a few; the list is followed as far as it makes sense
};
/// Bounded by the blocks that the image holds: no block is entered twice.
[[nodiscard]] FreeList walk_free_list(const View& view, const OldUnixShape& shape);

/// Findings for what disagrees, in a claim.
void report(Claim& claim, const View& view, const OldUnixShape& shape, const Disagreements& found);

/// The facts that all of the line give, in their order.
void add_old_unix_facts(Claim& claim, const OldUnixShape& shape);

}  // namespace platter::filesystem
