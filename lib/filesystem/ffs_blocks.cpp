#include "filesystem/ffs_blocks.h"

#include <algorithm>

#include <fmt/format.h>

#include "core/record.h"

namespace platter::filesystem {

void FfsBlocks::each_extent(Visit visit) {
  data_ = &visit;
  walk();
}

void FfsBlocks::each_further_block(Visit visit) {
  pointers_ = &visit;
  walk();
}

void FfsBlocks::walk() {
  std::uint64_t first = 0;
  for (const std::uint64_t address : inode_.direct) {
    if (pointers_ == nullptr && !tree(address, 0, first)) return;
    ++first;
  }
  for (unsigned level = 1; level <= inode_.indirect.size(); ++level) {
    if (!tree(inode_.indirect[level - 1], level, first)) return;
    first += span(level);
  }
}

// Blocks of the file below an address of that level: at most 16384^3.
std::uint64_t FfsBlocks::span(unsigned level) const noexcept {
  std::uint64_t blocks = 1;
  for (; level > 0; --level)
    blocks *= shape_.addresses_per_block;
  return blocks;
}

// Fragments that the block holds: all but the last direct block of a file are whole.
std::uint64_t FfsBlocks::count_of(std::uint64_t block) const noexcept {
  const std::uint64_t rest = inode_.size - block * shape_.block_bytes;
  if (block >= kFfsDirectBlocks || rest >= shape_.block_bytes) return shape_.parts;
  return divide_up(rest, shape_.fragment_bytes);
}

// A snapshot marks what it has not copied.
bool FfsBlocks::no_block(std::uint64_t address) const noexcept {
  const bool snapshot = shape_.snapshots && (inode_.flags & kFfsSnapshotFlag) != 0;
  return address == 0 || (snapshot && address <= 2);
}

bool FfsBlocks::absent(std::uint64_t first, std::uint64_t blocks) {
  const std::uint64_t offset = first * shape_.block_bytes;
  const std::uint64_t bytes = saturating_mul(blocks, shape_.block_bytes);
  return to_data({offset, 0, std::min(bytes, inode_.size - offset), true});
}

// Whether the whole tree goes on: false when the visitor wants no more or the file has ended.
bool FfsBlocks::tree(std::uint64_t address, unsigned level, std::uint64_t first) {
  if (saturating_mul(first, shape_.block_bytes) >= inode_.size) return false;
  if (no_block(address)) return true;
  if (level == 0) return data(address, first);
  if (!fits_within(address, shape_.parts, shape_.fragments)) {
    report_(FindingCode::extent_beyond_end,
            fmt::format("inode {} names fragment {} as a block of addresses, expected one below {}",
                        inode_.number, address, shape_.fragments));
    return absent(first, span(level));
  }
  if (!seen_.insert(address).second) {
    report_(FindingCode::extent_overlap,
            fmt::format("inode {} names the block of addresses at fragment {} twice", inode_.number,
                        address));
    return absent(first, span(level));
  }
  doubt_place(address, shape_.parts, first);
  const Extent block{0, view_.start() + shape_.byte_of(address), shape_.block_bytes, false};
  if (pointers_ != nullptr && !(*pointers_)(block)) return false;
  if (pointers_ != nullptr && level == 1) return true;
  return addresses_in(address, level, first);
}

bool FfsBlocks::addresses_in(std::uint64_t address, unsigned level, std::uint64_t first) {
  auto& buffer = buffers_[level - 1];
  buffer.resize(static_cast<std::size_t>(shape_.block_bytes));
  const std::size_t got = view_.read(shape_.byte_of(address), buffer);
  const std::uint64_t step = span(level - 1);
  const std::uint64_t width = shape_.address_bytes;
  const std::uint64_t there = got / width;
  for (std::uint64_t i = 0; i < there; ++i) {
    const auto entry = std::span(buffer).subspan(static_cast<std::size_t>(i * width),
                                                 static_cast<std::size_t>(width));
    const std::uint64_t next = decode_unsigned(entry, shape_.order);
    if (next != 0 && !tree(next, level - 1, first + i * step)) return false;
  }
  // The image ends inside the block of addresses.
  const std::uint64_t rest = first + there * step;
  const bool lost =
      there < shape_.addresses_per_block && saturating_mul(rest, shape_.block_bytes) < inode_.size;
  return !lost || absent(rest, (shape_.addresses_per_block - there) * step);
}

bool FfsBlocks::data(std::uint64_t address, std::uint64_t block) {
  const std::uint64_t offset = block * shape_.block_bytes;
  const std::uint64_t bytes = std::min(shape_.block_bytes, inode_.size - offset);
  const std::uint64_t count = count_of(block);
  if (!fits_within(address, count, shape_.fragments)) {
    report_(FindingCode::extent_beyond_end,
            fmt::format("inode {} names fragment {} for its block {}, expected one below {}",
                        inode_.number, address, block, shape_.fragments));
    return absent(block, 1);
  }
  doubt_place(address, count, block);
  const std::uint64_t place = shape_.byte_of(address);
  present_bytes_ += place < view_.bytes() ? std::min(bytes, view_.bytes() - place) : 0;
  if (present_bytes_ > view_.bytes()) {
    report_(FindingCode::extent_overlap,
            fmt::format("inode {} maps more bytes than the {} that are there", inode_.number,
                        view_.bytes()));
    return false;
  }
  return to_data({offset, view_.start() + place, bytes, false});
}

void FfsBlocks::doubt_place(std::uint64_t address, std::uint64_t count, std::uint64_t block) {
  if (shape_.is_record(address)) {
    report_(FindingCode::extent_overlap,
            fmt::format("inode {} names fragment {} for its block {}, which holds the "
                        "filesystem's own records",
                        inode_.number, address, block));
  } else if (address % shape_.parts + count > shape_.parts) {
    report_(FindingCode::filesystem_damaged,
            fmt::format("inode {} has {} fragments from fragment {} on, expected them inside one "
                        "block of {}",
                        inode_.number, count, address, shape_.parts));
  }
}

}  // namespace platter::filesystem
