// How S5, Xenix and Coherent volumes are recognised; the same answer serves claims() and open().
#pragma once

#include <memory>
#include <optional>
#include <vector>

#include "core/claim.h"
#include "filesystem/old_unix_shape.h"

namespace platter::filesystem {

/// A superblock of the family that was found at the start of a view.
struct S5Found {
  OldUnixShape shape;
  RootState root = RootState::absent;
  std::uint64_t stated_block_bytes = 0;
  std::uint64_t type = 0;
  std::string title;
  std::string volume_name;
  std::string pack_name;
  std::string clean;
  std::uint64_t clean_value = 0;
  bool has_clean_value = false;
  bool long_names = false;
  RecordData record;
};

/// Fills in what is equal for all three: the limits, and the inode count of a block size.
void set_block_bytes(OldUnixShape& shape, std::uint64_t block_bytes);

/// Chooses the block size under which the root directory is one, the stated size first.
void choose_block_bytes(const View& view, S5Found& found);

/// One claim, or none when too much disagrees.
[[nodiscard]] std::vector<Claim> s5_claim(const View& view, const S5Found& found);

/// The files, or nullptr when nothing sound leads to them.
[[nodiscard]] std::unique_ptr<Volume> open_s5(const View& view,
                                              const std::optional<S5Found>& found);

}  // namespace platter::filesystem
