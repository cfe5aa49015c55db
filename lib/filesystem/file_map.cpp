#include "filesystem/file_map.h"

#include <algorithm>

#include <fmt/format.h>

namespace platter::filesystem {

FileMap::FileMap(const View& view, const BlockSpace& space, std::uint64_t bytes, Wanted wanted,
                 FunctionRef<bool(const Extent&)> visit)
    : view_(view),
      space_(space),
      bytes_(bytes),
      wanted_(wanted),
      visit_(visit),
      joiner_(visit),
      present_(std::min(divide_up(view.bytes(), space.block_bytes), space.blocks)),
      blocks_left_(space.blocks),
      present_left_(present_),
      reads_left_(present_) {}

bool FileMap::is_place(std::uint64_t block, std::uint64_t count) const noexcept {
  return block >= space_.first && fits_within(block, count, space_.blocks);
}

void FileMap::trouble(MapTrouble kind, std::uint64_t block) {
  if (trouble_ != MapTrouble::none) return;
  trouble_ = kind;
  trouble_block_ = block;
}

bool FileMap::put(const Extent& extent) {
  stopped_ = stopped_ || !joiner_.add(extent);
  return !stopped_;
}

bool FileMap::add_absent(std::uint64_t unit, std::uint64_t count) {
  const std::uint64_t offset = saturating_mul(unit, space_.block_bytes);
  if (wanted_ != Wanted::data || offset >= bytes_ || unit < next_unit_) return true;
  next_unit_ = saturating_add(unit, count);
  const std::uint64_t length = saturating_mul(count, space_.block_bytes);
  return put({offset, 0, std::min(length, bytes_ - offset), true});
}

bool FileMap::add(std::uint64_t unit, std::uint64_t block, std::uint64_t count) {
  const std::uint64_t offset = saturating_mul(unit, space_.block_bytes);
  if (block == 0 || wanted_ != Wanted::data || offset >= bytes_) return true;
  if (!is_place(block, count)) {
    trouble(MapTrouble::pointer, block);
    return add_absent(unit, count);
  }
  if (unit < next_unit_) {
    trouble(MapTrouble::order, block);
    return true;
  }
  const std::uint64_t inside = block < present_ ? std::min(count, present_ - block) : 0;
  if (count > blocks_left_ || inside > present_left_) {
    trouble(MapTrouble::too_much, block);
    add_absent(unit, kLargest);
    return false;
  }
  blocks_left_ -= count;
  present_left_ -= inside;
  next_unit_ = unit + count;
  return put({offset, view_.start() + block * space_.block_bytes,
              std::min(count * space_.block_bytes, bytes_ - offset), false});
}

bool FileMap::add_reserved(std::uint64_t block, std::uint64_t count) {
  if (!is_place(block, count)) {
    trouble(MapTrouble::pointer, block);
    return true;
  }
  if (wanted_ == Wanted::data) return true;
  stopped_ =
      !visit_({0, view_.start() + block * space_.block_bytes, count * space_.block_bytes, false});
  return !stopped_;
}

bool FileMap::enter(std::uint64_t block) {
  if (block < present_) {  // others cannot be read, so they lead no further
    if (reads_left_ == 0) {
      trouble(MapTrouble::too_much, block);
      return false;
    }
    --reads_left_;
  }
  if (wanted_ == Wanted::data) return true;
  stopped_ = !visit_({0, view_.start() + block * space_.block_bytes, space_.block_bytes, false});
  return !stopped_;
}

const std::byte* FileMap::read_block(std::uint64_t block, std::size_t level, std::size_t& present) {
  std::vector<std::byte>& buffer = buffers_[level];
  buffer.resize(static_cast<std::size_t>(space_.block_bytes));
  present = 0;
  try {
    present = view_.read(saturating_mul(block, space_.block_bytes), buffer);
  } catch (const IoError&) {
    trouble(MapTrouble::unreadable, block);
  }
  return present == 0 ? nullptr : buffer.data();
}

bool FileMap::add_tree(std::uint64_t unit, std::uint64_t block, unsigned level,
                       const PointerBlock& form) {
  if (block == 0 || is_behind_end(unit)) return true;
  std::uint64_t below = 1;  // blocks of the file under one pointer
  for (unsigned i = 1; i < level; ++i)
    below *= form.pointers;
  if (!is_place(block, 1)) {
    trouble(MapTrouble::pointer, block);
    return add_absent(unit, below * form.pointers);
  }
  if (!enter(block)) {
    add_absent(unit, kLargest);
    return false;
  }
  return add_pointers(unit, block, level, form, below);
}

bool FileMap::add_pointers(std::uint64_t unit, std::uint64_t block, unsigned level,
                           const PointerBlock& form, std::uint64_t below) {
  if (wanted_ == Wanted::pointer_blocks && level == 1) return true;
  std::size_t present = 0;
  const std::byte* bytes = read_block(block, level, present);
  if (bytes == nullptr) return add_absent(unit, below * form.pointers);
  for (std::uint64_t i = 0; i < form.pointers; ++i) {
    const std::uint64_t under = unit + i * below;
    if (is_behind_end(under)) return true;
    const auto at = static_cast<std::size_t>(i * form.pointer_bytes);
    if (at + form.pointer_bytes > present) return add_absent(under, (form.pointers - i) * below);
    const std::uint64_t pointer =
        decode_unsigned(std::span(bytes + at, form.pointer_bytes), form.order);
    if (pointer == 0) continue;
    const bool go_on = level == 1 ? add(under, pointer) : add_tree(under, pointer, level - 1, form);
    if (!go_on) return false;
  }
  return true;
}

void FileMap::finish() {
  if (!stopped_ && wanted_ == Wanted::data) joiner_.finish();
}

std::string trouble_words(const FileMap& map, const BlockSpace& space) {
  const std::uint64_t block = map.trouble_block();
  switch (map.trouble()) {
    case MapTrouble::none:
      return {};
    case MapTrouble::pointer:
      return fmt::format("points to block {}, expected one from {} to {}", block, space.first,
                         space.blocks - 1);
    case MapTrouble::order:
      return fmt::format("gives block {} a place in the file that was taken before", block);
    case MapTrouble::too_much:
      return fmt::format("names more blocks than the {} that its volume has", space.blocks);
    case MapTrouble::unreadable:
      return fmt::format("has its pointers in block {}, which could not be read", block);
    case MapTrouble::node:
      return fmt::format("has its extents in block {}, which holds no node of an extent tree",
                         block);
  }
  return {};
}

FindingCode trouble_code(MapTrouble trouble) noexcept {
  if (trouble == MapTrouble::pointer) return FindingCode::extent_beyond_end;
  if (trouble == MapTrouble::unreadable) return FindingCode::unreadable;
  return FindingCode::filesystem_damaged;
}

}  // namespace platter::filesystem
