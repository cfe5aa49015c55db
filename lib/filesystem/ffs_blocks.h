// The tree of addresses that leads from an inode to a file's bytes.
#pragma once

#include <array>
#include <cstdint>
#include <string>
#include <unordered_set>
#include <vector>

#include "core/finding.h"
#include "core/function_ref.h"
#include "core/view.h"
#include "core/volume.h"
#include "filesystem/ffs_inode.h"

namespace platter::filesystem {

/// Walks a file's addresses once, for the time of one call.
///
/// The work is bounded by what is there: a block of addresses is read once however often it is
/// named, and the file may not map more whole blocks than the image has.
class FfsBlocks {
 public:
  using Visit = FunctionRef<bool(const Extent&)>;
  using Report = FunctionRef<void(FindingCode code, std::string message)>;

  FfsBlocks(const FfsShape& shape, const View& view, const FfsInode& inode, Report report)
      : shape_(shape), view_(view), inode_(inode), report_(report) {}

  /// The file's extents, a block each, up to its size.
  void each_extent(Visit visit);
  /// The blocks of addresses.
  void each_further_block(Visit visit);

 private:
  void walk();
  bool tree(std::uint64_t address, unsigned level, std::uint64_t first);
  bool addresses_in(std::uint64_t address, unsigned level, std::uint64_t first);
  bool data(std::uint64_t address, std::uint64_t block);
  bool absent(std::uint64_t first, std::uint64_t blocks);
  void doubt_place(std::uint64_t address, std::uint64_t count, std::uint64_t block);
  [[nodiscard]] std::uint64_t span(unsigned level) const noexcept;
  [[nodiscard]] std::uint64_t count_of(std::uint64_t block) const noexcept;
  [[nodiscard]] bool no_block(std::uint64_t address) const noexcept;
  bool to_data(const Extent& extent) { return data_ == nullptr || (*data_)(extent); }

  const FfsShape& shape_;
  const View& view_;
  const FfsInode& inode_;
  Report report_;
  const Visit* data_ = nullptr;
  const Visit* pointers_ = nullptr;
  std::unordered_set<std::uint64_t> seen_;           // blocks of addresses
  std::array<std::vector<std::byte>, 3> buffers_{};  // one for each level
  std::uint64_t present_bytes_ = 0;                  // mapped so far
};

}  // namespace platter::filesystem
