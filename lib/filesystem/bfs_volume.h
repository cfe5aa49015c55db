// The files of the boot filesystem: one directory, and files in one piece each.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "core/view.h"
#include "core/volume.h"
#include "filesystem/bfs_structures.h"
#include "filesystem/piece_cache.h"

namespace platter::filesystem {

/// The superblock when its fields agree with one another; else nothing.
[[nodiscard]] std::optional<Record<kBfsSuper>> bfs_superblock(const View& view);

/// What an inode says.
struct BfsInode {
  std::uint64_t number = 0;  ///< as stored
  std::uint64_t first = 0;   ///< block
  std::uint64_t last = 0;
  std::uint64_t end = 0;  ///< byte
  std::uint64_t type = 0;
  std::uint32_t mode = 0;
  std::uint32_t uid = 0;
  std::uint32_t gid = 0;
  std::uint32_t links = 0;
  std::int64_t atime = 0;
  std::int64_t mtime = 0;
  std::int64_t ctime = 0;

  [[nodiscard]] std::uint64_t start() const noexcept { return first * kBfsBlock; }
  [[nodiscard]] std::uint64_t bytes() const noexcept {
    return first == 0 || end + 1 < start() ? 0 : end + 1 - start();
  }
};

/// A node is an inode's number; the first one, 2, is the directory.
class BfsVolume final : public Volume {
 public:
  BfsVolume(const View& view, const Record<kBfsSuper>& super, std::optional<Charset> charset);

  [[nodiscard]] NodeId root() const override { return kBfsRoot; }
  [[nodiscard]] Attributes attributes(NodeId node) override;
  void each_entry(NodeId directory, FunctionRef<bool(const Entry&)> visit) override;
  void each_extent(NodeId node, FunctionRef<bool(const Extent&)> visit) override;
  [[nodiscard]] std::string link_target(NodeId) override { return {}; }
  void each_run(FunctionRef<bool(const BlockRun&)> visit) override;
  void check_records() override;
  void each_further_block(NodeId node, FunctionRef<bool(const Extent&)> visit) override;
  [[nodiscard]] std::uint64_t unit_bytes() const override { return kBfsBlock; }

  /// Blocks that files take, and how many inodes are in use.
  struct Use {
    std::uint64_t blocks = 0;
    std::uint64_t files = 0;
  };
  [[nodiscard]] Use use();

 private:
  struct Taken {
    std::uint64_t first;
    std::uint64_t last;
    NodeId node;
  };
  [[nodiscard]] std::uint64_t inode_place(NodeId node) const;  // in the view
  [[nodiscard]] std::optional<BfsInode> inode(NodeId node);
  [[nodiscard]] bool is_inside(const BfsInode& inode) const;
  [[nodiscard]] std::vector<Taken> taken();
  void say(std::uint64_t at, std::uint64_t bytes, std::string message);
  void check_inode(NodeId node);

  View view_;
  Record<kBfsSuper> super_;
  std::uint64_t inodes_;  // slots
  Charset charset_;
  PieceCache window_;
};

}  // namespace platter::filesystem
