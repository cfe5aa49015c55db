// The file allocation table.
#pragma once

#include <array>
#include <vector>

#include "filesystem/fat_layout.h"

namespace platter::filesystem {

/// Entries of 12 and 16 bits are widened so that the marks are the same for all widths.
inline constexpr std::uint32_t kFatBad = 0x0FFFFFF7;
inline constexpr std::uint32_t kFatFirstEnd = 0x0FFFFFF8;

/// How far a chain of clusters can be followed.
struct FatChain {
  enum class Stop : std::uint8_t {
    ended,    ///< by an end mark
    limit,    ///< as far as was asked; it goes on
    loop,     ///< it comes back to one of its own clusters
    broken,   ///< by an entry that is neither a cluster nor an end mark
    nothing,  ///< the first cluster is none
  };
  std::uint64_t clusters = 0;  ///< different ones, from the first
  Stop stop = Stop::nothing;
  std::uint32_t entry = 0;  ///< broken: what stands there
  std::uint32_t last = 0;   ///< the cluster after which it stopped
};

/// Reads the active copy of a table page by page; costs a few pages of memory.
class FatTable {
 public:
  FatTable(View view, const FatLayout& layout);

  /// The entry of a cluster; 0 when the table is too short for it.
  [[nodiscard]] std::uint32_t entry(std::uint64_t cluster) { return entry_of(cluster); }
  /// The raw entry 1, where FAT16 and FAT32 keep their state bits.
  [[nodiscard]] std::uint32_t state_entry();
  /// Whether the table has an entry for the cluster and the image holds it.
  [[nodiscard]] bool covers(std::uint64_t cluster) const noexcept { return cluster < entries_; }
  /// One past the last cluster of the volume that has an entry in the image.
  [[nodiscard]] std::uint64_t end_of_covered() const noexcept;
  /// Follows a chain for at most `limit` clusters, each counted once. Finds any loop.
  [[nodiscard]] FatChain follow(std::uint64_t first, std::uint64_t limit);
  [[nodiscard]] std::uint64_t count_free();

 private:
  static constexpr std::size_t kPageBytes = 4096;
  static constexpr std::size_t kPages = 16;
  struct Page {
    std::uint64_t number = kLargest;
    std::array<std::byte, kPageBytes + 4> bytes{};  // an entry may reach into the next page
  };

  std::uint32_t entry_of(std::uint64_t cluster);
  std::uint32_t read(std::uint64_t offset, unsigned width);
  std::uint64_t clusters_of_loop(std::uint64_t first, std::uint64_t length);

  View view_;
  FatLayout layout_;
  std::uint64_t entries_ = 0;
  std::vector<Page> pages_;
};

}  // namespace platter::filesystem
