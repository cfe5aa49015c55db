// The files of Minix filesystems.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "core/volume.h"
#include "filesystem/file_map.h"
#include "filesystem/minix_numbers.h"
#include "filesystem/piece_cache.h"

namespace platter::filesystem {

/// A node is an inode's number.
class MinixVolume final : public Volume {
 public:
  MinixVolume(const View& view, const MinixNumbers& numbers, std::optional<Charset> charset);

  [[nodiscard]] NodeId root() const override { return 1; }
  [[nodiscard]] Attributes attributes(NodeId node) override;
  void each_entry(NodeId directory, FunctionRef<bool(const Entry&)> visit) override;
  void each_extent(NodeId node, FunctionRef<bool(const Extent&)> visit) override;
  void each_further_block(NodeId node, FunctionRef<bool(const Extent&)> visit) override;
  [[nodiscard]] std::string link_target(NodeId node) override;
  void each_run(FunctionRef<bool(const BlockRun&)> visit) override;
  void check_records() override;
  [[nodiscard]] std::uint64_t unit_bytes() const override { return numbers_.zone_bytes; }

 private:
  struct Inode {
    std::uint32_t mode = 0;
    std::uint32_t uid = 0;
    std::uint32_t gid = 0;
    std::uint32_t links = 0;
    std::uint64_t bytes = 0;
    std::int64_t atime = 0;
    std::int64_t mtime = 0;
    std::int64_t ctime = 0;
    std::uint64_t zones[10] = {};
  };

  [[nodiscard]] std::uint64_t inode_place(NodeId node) const;  // in the view
  [[nodiscard]] std::optional<Inode> inode(NodeId node);
  void map(NodeId node, FileMap::Wanted wanted, FunctionRef<bool(const Extent&)> visit);
  bool read_entries(NodeId directory, std::span<const std::byte> bytes, std::uint64_t place,
                    FunctionRef<bool(const Entry&)> visit);
  [[nodiscard]] std::vector<std::byte> map_bytes(std::uint64_t place, std::uint64_t bits);
  void check_inodes();

  View view_;
  MinixNumbers numbers_;
  Charset charset_;
  std::size_t map_word_;
  PieceCache inodes_;
  std::vector<std::byte> spare_;
};

}  // namespace platter::filesystem
