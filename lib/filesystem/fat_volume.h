// The files of a FAT volume.
#pragma once

#include <memory>
#include <vector>

#include "core/volume.h"
#include "filesystem/fat_names.h"
#include "filesystem/fat_table.h"

namespace platter::filesystem {

/// A node is a directory by its first cluster (0: the root) or a file by the place of its entry, so
/// that a directory that can be reached twice is one node, and files need no look-up.
class FatVolume final : public Volume {
 public:
  FatVolume(View view, const FatLayout& layout, const VolumeOptions& options);

  [[nodiscard]] NodeId root() const override { return kDirectory; }
  [[nodiscard]] Attributes attributes(NodeId node) override;
  void each_entry(NodeId directory, FunctionRef<bool(const Entry&)> visit) override;
  void each_extent(NodeId node, FunctionRef<bool(const Extent&)> visit) override;
  [[nodiscard]] std::string link_target(NodeId) override { return {}; }
  void each_run(FunctionRef<bool(const BlockRun&)> visit) override;
  void check_records() override;
  [[nodiscard]] std::uint64_t unit_bytes() const override { return layout_.cluster_bytes; }
  [[nodiscard]] std::uint64_t unit_origin() const override { return layout_.data_start; }

 private:
  static constexpr NodeId kDirectory = NodeId{1} << 63U;
  static constexpr std::uint64_t kEntryBytes = 32;
  // The entry of a directory lies in its parent; a few are remembered for attributes().
  struct Seen {
    std::uint64_t cluster = 0;
    std::uint64_t place = 0;
  };
  struct Scan;

  [[nodiscard]] static bool is_directory(NodeId node) noexcept { return (node & kDirectory) != 0; }
  [[nodiscard]] std::uint64_t cluster_of(const FatEntry& entry) const;
  [[nodiscard]] std::uint64_t directory_cluster(std::uint64_t node_cluster) const;
  [[nodiscard]] FatChain directory_chain(std::uint64_t cluster);
  [[nodiscard]] std::uint64_t seen_place(std::uint64_t cluster);
  void times_from(const FatEntry& entry, Attributes& attributes) const;

  void each_directory_piece(
      NodeId directory,
      FunctionRef<bool(std::uint64_t place, std::span<const std::byte> bytes)> visit);
  bool visit_entry(Scan& scan, const FatEntry& entry, std::uint64_t place,
                   FunctionRef<bool(const Entry&)> visit);
  void check_dot(Scan& scan, const FatEntry& entry, std::uint64_t place);
  bool emit_chain(std::uint64_t first, std::uint64_t clusters, std::uint64_t bytes,
                  FunctionRef<bool(const Extent&)> visit);
  bool emit_file(std::uint64_t place, FunctionRef<bool(const Extent&)> visit);
  void report_chain(const FatChain& chain, std::uint64_t first, std::uint64_t wanted,
                    std::uint64_t place);

  void check_copies();
  void check_state();
  void check_info();
  void check_backup();
  void check_entries();

  View view_;
  FatLayout layout_;
  FatTable table_;
  Charset charset_;
  std::vector<Seen> seen_;
};

}  // namespace platter::filesystem
