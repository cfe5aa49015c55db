// What follows from a Minix superblock.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "core/view.h"
#include "filesystem/minix_structures.h"

namespace platter::filesystem {

struct MinixNumbers {
  ByteOrder order = ByteOrder::little;
  unsigned version = 1;
  unsigned name_bytes = 14;
  std::uint64_t block_bytes = 1024;
  std::uint64_t zone_bytes = 1024;
  std::uint64_t inodes = 0;
  std::uint64_t zones = 0;
  std::uint64_t imap_blocks = 0;
  std::uint64_t zmap_blocks = 0;
  std::uint64_t first_data_zone = 0;
  std::uint64_t inode_bytes = 32;
  std::uint64_t state = 0;  ///< version 3 has none
  RecordData record;
  /// What the fields say that must agree with others and do not: place, bytes, sentence.
  struct Contradiction {
    std::uint64_t place;
    std::uint64_t bytes;
    std::string words;
  };
  std::vector<Contradiction> contradictions;

  [[nodiscard]] std::uint64_t imap_place() const noexcept { return 2 * block_bytes; }
  [[nodiscard]] std::uint64_t zmap_place() const noexcept {
    return imap_place() + imap_blocks * block_bytes;
  }
  [[nodiscard]] std::uint64_t inode_place() const noexcept {
    return zmap_place() + zmap_blocks * block_bytes;
  }
  /// Bits of the zone map: one unused, then the zones for files.
  [[nodiscard]] std::uint64_t zone_bits() const noexcept { return zones - first_data_zone + 1; }
};

/// Nothing when the view holds no Minix superblock, or its fields contradict the magic.
[[nodiscard]] std::optional<MinixNumbers> minix_numbers(const View& view);

/// How many bytes the words had in which the maps of a big-endian volume were written.
[[nodiscard]] std::size_t minix_map_word(const View& view, const MinixNumbers& numbers);

}  // namespace platter::filesystem
