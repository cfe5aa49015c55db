// A small ext2 volume, built field by field from the structure tables, to be spoiled by tests.
#pragma once

#include <cstdint>
#include <string_view>
#include <vector>

#include "core/record.h"
#include "filesystem/ext2_structures.h"
#include "filesystem/ext2_superblock.h"
#include "filesystem/unix_bitmap.h"

namespace platter::test {

/// One group of 256 blocks of 1024 bytes: superblock in block 1, descriptor in 2, bitmaps in 3 and
/// 4, 32 inodes in blocks 5 to 8, the root directory in block 9. Sound once finish() was called.
class SmallExt2 {
 public:
  static constexpr std::uint64_t kBlock = 1024;
  static constexpr std::uint64_t kBlocks = 256;
  static constexpr std::uint64_t kInodes = 32;
  static constexpr std::uint64_t kFirstFree = 10;
  static constexpr std::uint64_t kFirstFile = 12;  ///< inode

  /// \param map_word_bytes  big-endian machines wrote their bitmaps in words of 4 bytes
  explicit SmallExt2(ByteOrder order = ByteOrder::little, std::size_t map_word_bytes = 1)
      : bytes(kBlocks * kBlock), order_(order), word_(map_word_bytes) {
    super()
        .set<"inodes_count">(kInodes)
        .set<"blocks_count">(kBlocks)
        .set<"first_data_block">(1)
        .set<"blocks_per_group">(8192)
        .set<"clusters_per_group">(8192)
        .set<"inodes_per_group">(kInodes)
        .set<"magic">(filesystem::kExt2Magic)
        .set<"state">(1)
        .set<"rev_level">(1)
        .set<"first_ino">(kFirstFile)
        .set<"inode_size">(128)
        .set<"feature_incompat">(filesystem::kExt2IncompatTypes);
    group().set<"block_bitmap">(3).set<"inode_bitmap">(4).set<"inode_table">(5).set<"used_dirs">(1);
    inode(2).set<"mode">(0040755).set<"links">(2).set<"size">(kBlock).set<"block">(9);
    entry(9, 0, 2, 12, ".");
    entry(9, 12, 2, kBlock - 12, "..");
    last_ = 12;
  }

  FieldWriter<filesystem::kExt2Superblock> super() { return {bytes.data() + 1024, order_}; }
  FieldWriter<filesystem::kExt2Group> group() { return {bytes.data() + 2048, order_}; }
  FieldWriter<filesystem::kExt2Inode> inode(std::uint64_t number) {
    return {bytes.data() + inode_place(number), order_};
  }
  [[nodiscard]] static std::uint64_t inode_place(std::uint64_t number) {
    return 5 * kBlock + (number - 1) * 128;
  }

  /// An entry with the given length at a byte of a block.
  void entry(std::uint64_t block, std::uint64_t at, std::uint64_t number, std::uint64_t length,
             std::string_view name) {
    std::byte* to = bytes.data() + block * kBlock + at;
    FieldWriter<filesystem::kExt2Entry>(to, order_)
        .set<"inode">(number)
        .set<"rec_len">(length)
        .set<"name_len">(name.size());
    for (std::size_t i = 0; i < name.size(); ++i)
      to[8 + i] = static_cast<std::byte>(name[i]);
  }
  /// A name in the root directory, behind the last one.
  SmallExt2& name(std::string_view text, std::uint64_t number) {
    const std::uint64_t taken = 8 + (last_name_ + 3) / 4 * 4;
    FieldWriter<filesystem::kExt2Entry>(bytes.data() + 9 * kBlock + last_, order_)
        .set<"rec_len">(taken);
    last_ += taken;
    last_name_ = text.size();
    entry(9, last_, number, kBlock - last_, text);
    return *this;
  }
  /// A file of so many bytes with its first blocks.
  FieldWriter<filesystem::kExt2Inode> file(std::string_view text, std::uint64_t number,
                                           std::uint64_t size) {
    name(text, number);
    return inode(number).set<"mode">(0100644).set<"links">(1).set<"size">(size).set<"blocks">(
        (size + 511) / 512);
  }
  /// A number of 4 bytes in a block of pointers.
  void pointer(std::uint64_t block, std::uint64_t index, std::uint64_t value) {
    encode_unsigned(
        std::span(bytes).subspan(static_cast<std::size_t>(block * kBlock + index * 4), 4), value,
        order_);
  }

  /// Bitmaps and counts: blocks up to `used_blocks` and inodes up to `used_inodes` are in use.
  std::vector<std::byte> finish(std::uint64_t used_blocks, std::uint64_t used_inodes) {
    write_map(3, used_blocks - 1, kBlocks - 1);
    write_map(4, used_inodes, kInodes);
    const std::uint64_t free_blocks = kBlocks - used_blocks;
    super().set<"free_blocks_count">(free_blocks).set<"free_inodes_count">(kInodes - used_inodes);
    group().set<"free_blocks">(free_blocks).set<"free_inodes">(kInodes - used_inodes);
    return bytes;
  }

  std::vector<std::byte> bytes;

 private:
  void write_map(std::uint64_t block, std::uint64_t used, std::uint64_t bits) {
    const auto map = std::span(bytes).subspan(static_cast<std::size_t>(block * kBlock), kBlock);
    for (std::uint64_t bit = 0; bit < kBlock * 8; ++bit) {
      if (bit < used || bit >= bits) map[bit / 8] |= static_cast<std::byte>(1U << (bit % 8));
    }
    filesystem::straighten(map, word_);
  }

  ByteOrder order_;
  std::size_t word_;
  std::uint64_t last_ = 0;
  std::size_t last_name_ = 2;
};

}  // namespace platter::test
