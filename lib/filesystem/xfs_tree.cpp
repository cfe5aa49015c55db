#include "filesystem/xfs_tree.h"

#include <algorithm>

#include <fmt/format.h>

#include "filesystem/xfs_structures.h"

namespace platter::filesystem {
namespace {

constexpr std::uint64_t kMostLevels = 16;  // 8 and 4 bytes a pointer in a block of 512: far fewer

std::uint64_t head_bytes(const XfsShape& shape) {
  return shape.sums ? kXfsTreeHead5 : kXfsTreeHead.bytes;
}

}  // namespace

bool XfsTreeWalk::fail(std::uint64_t block, std::string words) {
  if (!trouble_.empty()) return false;
  trouble_ = std::move(words);
  trouble_place_ = saturating_add(
      view_.start(), saturating_mul(group_ * shape_.group_blocks + block, shape_.block_bytes));
  return false;
}

bool XfsTreeWalk::start() {
  if (tree_.levels == 0 || tree_.levels > kMostLevels) {
    return fail(0, fmt::format("the tree of {} of group {} has {} levels, expected 1 to {}",
                               tree_.name, group_, tree_.levels, kMostLevels));
  }
  const std::uint64_t first = group_ * shape_.group_blocks;
  const std::uint64_t present = divide_up(view_.bytes(), shape_.block_bytes);
  left_ = first < present ? std::min(shape_.blocks_in(group_), present - first) : 0;
  buffers_.resize(static_cast<std::size_t>(tree_.levels));
  return true;
}

bool XfsTreeWalk::each_block(BlockVisit visit) {
  if (!start()) return false;
  const auto no_record = [](const std::byte*, std::uint64_t) { return true; };
  return enter(tree_.root, tree_.levels - 1, false, visit, no_record);
}

bool XfsTreeWalk::each_record(RecordVisit visit) {
  if (!start()) return false;
  const auto any_block = [](std::uint64_t) { return true; };
  return enter(tree_.root, tree_.levels - 1, true, any_block, visit);
}

// Reads a block into the buffer of its level; `count` is the number of its entries.
bool XfsTreeWalk::read(std::uint64_t block, std::uint64_t level, std::uint64_t room,
                       std::uint64_t& count) {
  std::vector<std::byte>& buffer = buffers_[static_cast<std::size_t>(level)];
  buffer.resize(static_cast<std::size_t>(shape_.block_bytes));
  const std::uint64_t at = (group_ * shape_.group_blocks + block) * shape_.block_bytes;
  try {
    if (view_.read(at, buffer) < buffer.size()) {
      return fail(block, fmt::format("block {} of group {}, of the tree of {}, is not in the image",
                                     block, group_, tree_.name));
    }
  } catch (const IoError&) {
    return fail(block, fmt::format("block {} of group {}, of the tree of {}, could not be read",
                                   block, group_, tree_.name));
  }
  const FieldReader<kXfsTreeHead> head(buffer.data(), ByteOrder::big);
  count = head.get<"records">();
  if (head.get<"magic">() != tree_.magic || head.get<"level">() != level || count > room) {
    return fail(block, fmt::format("block {} of group {} begins with {:#010x}, level {} and {} "
                                   "entries, expected {:#010x}, level {} and at most {} for the "
                                   "tree of {}",
                                   block, group_, head.get<"magic">(), head.get<"level">(), count,
                                   tree_.magic, level, room, tree_.name));
  }
  return true;
}

bool XfsTreeWalk::enter(std::uint64_t block, std::uint64_t level, bool records, BlockVisit on_block,
                        RecordVisit on_record) {
  if (block < shape_.head_blocks() || block >= shape_.blocks_in(group_)) {
    return fail(block, fmt::format("the tree of {} of group {} has a block {}, expected one from "
                                   "{} to {}",
                                   tree_.name, group_, block, shape_.head_blocks(),
                                   shape_.blocks_in(group_) - 1));
  }
  if (left_ == 0) {
    return fail(block, fmt::format("the tree of {} of group {} has more blocks than the group",
                                   tree_.name, group_));
  }
  --left_;
  if (!on_block(block)) return false;
  if (level == 0 && !records) return true;
  const std::uint64_t head = head_bytes(shape_);
  const std::uint64_t entry = level == 0 ? tree_.record_bytes : tree_.key_bytes + kXfsNarrow.bytes;
  const std::uint64_t room = (shape_.block_bytes - head) / entry;
  std::uint64_t count = 0;
  if (!read(block, level, room, count)) return false;
  const std::byte* bytes = buffers_[static_cast<std::size_t>(level)].data();
  if (level == 0) {
    const std::uint64_t place =
        view_.start() + (group_ * shape_.group_blocks + block) * shape_.block_bytes;
    for (std::uint64_t i = 0; i < count; ++i) {
      const std::uint64_t at = head + i * tree_.record_bytes;
      if (!on_record(bytes + at, place + at)) return false;
    }
    return true;
  }
  const std::byte* pointers = bytes + head + room * tree_.key_bytes;
  for (std::uint64_t i = 0; i < count; ++i) {
    const FieldReader<kXfsNarrow> pointer(pointers + i * kXfsNarrow.bytes, ByteOrder::big);
    if (!enter(pointer.get<"value">(), level - 1, records, on_block, on_record)) return false;
  }
  return true;
}

}  // namespace platter::filesystem
