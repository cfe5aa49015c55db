#include "filesystem/old_unix_volume.h"

#include <algorithm>

#include <fmt/format.h>

#include "filesystem/link_text.h"
#include "filesystem/run_overlay.h"
#include "filesystem/s5_structures.h"
#include "filesystem/v6_structures.h"

namespace platter::filesystem {
namespace {

constexpr std::uint64_t kPiece = 64 * 1024;
constexpr std::uint64_t kLongestTarget = 4096;

// Turns a file's addresses into extents. Every block that is not a hole costs one of a budget of as
// many as the volume has, and every indirect block one of as many as the image has, so that
// pointers that lead in circles come to an end.
class BlockMap {
 public:
  BlockMap(const View& view, const OldUnixShape& shape, std::uint64_t bytes, bool want_data,
           FunctionRef<bool(const Extent&)> data, FunctionRef<bool(const Extent&)> pointers)
      : view_(view),
        shape_(shape),
        bytes_(bytes),
        want_data_(want_data),
        data_(data),
        pointers_(pointers),
        wanted_(divide_up(bytes, shape.block_bytes)),
        budget_(shape.blocks - shape.first_data),
        pointer_budget_(divide_up(view.bytes(), shape.block_bytes)),
        number_bytes_(shape.chain->find("free")->width) {}

  void follow(const OldInode& inode) {
    for (std::size_t i = 0; i < inode.address_count; ++i) {
      if (!slot(inode.addresses[i].level, inode.addresses[i].block)) break;
    }
    data_.finish();
    pointers_.finish();
  }

  [[nodiscard]] std::uint64_t bad() const noexcept { return bad_; }
  [[nodiscard]] std::uint64_t first_bad() const noexcept { return first_bad_; }
  [[nodiscard]] bool exhausted() const noexcept { return exhausted_; }

 private:
  [[nodiscard]] std::uint64_t per_block() const { return shape_.block_bytes / number_bytes_; }

  [[nodiscard]] std::uint64_t span_of(unsigned level) const {
    std::uint64_t span = 1;
    for (unsigned i = 0; i < level; ++i)
      span = saturating_mul(span, per_block());
    return span;
  }

  // False: no more is wanted, or nothing more can come.
  bool slot(unsigned level, std::uint64_t block) {
    if (next_ >= wanted_) return false;
    if (block == 0) {
      next_ = saturating_add(next_, span_of(level));
      return true;
    }
    if (!shape_.is_data(block)) {
      if (bad_++ == 0) first_bad_ = block;
      return absent(span_of(level));
    }
    if (budget_ == 0 || (level != 0 && pointer_budget_ == 0)) {
      exhausted_ = true;
      return false;
    }
    --budget_;
    if (level != 0) --pointer_budget_;
    const std::uint64_t place = view_.start() + block * shape_.block_bytes;
    if (level == 0) {
      return add(1, place, false);
    }
    if (!pointers_.add({0, place, shape_.block_bytes, false})) return false;
    if (level == 1 && !want_data_) {
      next_ = saturating_add(next_, span_of(1));
      return true;
    }
    return below(level, block);
  }

  bool below(unsigned level, std::uint64_t block) {
    std::vector<std::byte> numbers(static_cast<std::size_t>(shape_.block_bytes));
    try {
      if (view_.read(block * shape_.block_bytes, numbers) != numbers.size()) {
        return absent(span_of(level));
      }
    } catch (const IoError&) {
      return absent(span_of(level));
    }
    const std::span<const std::byte> all(numbers);
    for (std::size_t i = 0; i < numbers.size(); i += number_bytes_) {
      if (!slot(level - 1, decode_unsigned(all.subspan(i, number_bytes_), shape_.order))) {
        return false;
      }
    }
    return true;
  }

  bool absent(std::uint64_t span) { return add(std::min(span, wanted_ - next_), 0, true); }

  bool add(std::uint64_t blocks, std::uint64_t place, bool is_absent) {
    const std::uint64_t offset = next_ * shape_.block_bytes;
    next_ += blocks;
    if (!want_data_) return true;
    const std::uint64_t length = std::min(blocks * shape_.block_bytes, bytes_ - offset);
    return data_.add({offset, place, length, is_absent});
  }

  const View& view_;
  const OldUnixShape& shape_;
  std::uint64_t bytes_;
  bool want_data_;
  ExtentJoiner data_;
  ExtentJoiner pointers_;
  std::uint64_t wanted_;
  std::uint64_t budget_;
  std::uint64_t pointer_budget_;
  std::size_t number_bytes_;
  std::uint64_t next_ = 0;  // block of the file
  std::uint64_t bad_ = 0;
  std::uint64_t first_bad_ = 0;
  bool exhausted_ = false;
};

bool has_content(NodeType type) {
  return type == NodeType::file || type == NodeType::directory || type == NodeType::symlink;
}

}  // namespace

std::optional<OldInode> OldUnixVolume::inode_of(NodeId node) {
  if (node == 0 || node > shape_.inodes) return std::nullopt;
  const std::uint64_t place = shape_.inode_place(node);
  const auto bytes = window_.at(place, shape_.inode->bytes);
  if (bytes.empty()) return std::nullopt;
  return read_old_inode(bytes, shape_, place);
}

Attributes OldUnixVolume::attributes(NodeId node) {
  Attributes attributes;
  attributes.identity = node;
  const auto inode = inode_of(node);
  if (!inode || inode->type == NodeType::unknown) return attributes;
  attributes.type = inode->type;
  attributes.bytes = inode->device ? 0 : inode->bytes;
  attributes.mode = inode->permissions;
  attributes.uid = inode->uid;
  attributes.gid = inode->gid;
  attributes.links = inode->links;
  attributes.modified = Timestamp{inode->modified};
  attributes.accessed = Timestamp{inode->accessed};
  if (inode->changed) attributes.changed = Timestamp{*inode->changed};
  attributes.device = inode->device;
  return attributes;
}

void OldUnixVolume::map(NodeId node, const OldInode& inode, FunctionRef<bool(const Extent&)> data,
                        FunctionRef<bool(const Extent&)> pointers, bool want_data) {
  BlockMap blocks(view_, shape_, inode.bytes, want_data, data, pointers);
  blocks.follow(inode);
  const std::uint64_t at = view_.start() + shape_.inode_place(node);
  if (blocks.bad() != 0) {
    find(Severity::fault, FindingCode::extent_beyond_end, at, shape_.inode->bytes,
         fmt::format("inode {} names block {}, expected {} to {}", node, blocks.first_bad(),
                     shape_.first_data, shape_.blocks - 1));
  }
  if (blocks.exhausted()) {
    find(Severity::fault, FindingCode::filesystem_damaged, at, shape_.inode->bytes,
         fmt::format("inode {} maps more blocks than the volume has, expected at most {}", node,
                     shape_.blocks - shape_.first_data));
  }
}

void OldUnixVolume::each_extent(NodeId node, FunctionRef<bool(const Extent&)> visit) {
  const auto inode = inode_of(node);
  if (!inode || !has_content(inode->type)) return;
  if (inode->inline_text) {
    visit({0, view_.start() + inode->inline_place, inode->bytes, false});
    return;
  }
  map(
      node, *inode, visit, [](const Extent&) { return true; }, true);
}

void OldUnixVolume::each_further_block(NodeId node, FunctionRef<bool(const Extent&)> visit) {
  const auto inode = inode_of(node);
  if (!inode || !has_content(inode->type) || inode->inline_text) return;
  map(
      node, *inode, [](const Extent&) { return true; }, visit, false);
}

std::string OldUnixVolume::link_target(NodeId node) {
  const auto inode = inode_of(node);
  if (!inode || inode->type != NodeType::symlink) return {};
  if (inode->bytes > kLongestTarget) {
    find(Severity::fault, FindingCode::filesystem_damaged, view_.start() + shape_.inode_place(node),
         shape_.inode->bytes,
         fmt::format("the symbolic link in inode {} has {} bytes, expected at most {}", node,
                     inode->bytes, kLongestTarget));
  }
  return link_text(*this, view_, node, std::min(inode->bytes, kLongestTarget));
}

void OldUnixVolume::each_entry(NodeId directory, FunctionRef<bool(const Entry&)> visit) {
  const auto inode = inode_of(directory);
  if (!inode || inode->type != NodeType::directory) return;
  if (inode->bytes % kS5Entry.bytes != 0) {
    find(Severity::caution, FindingCode::filesystem_damaged,
         view_.start() + shape_.inode_place(directory), shape_.inode->bytes,
         fmt::format("the directory in inode {} has {} bytes, expected a multiple of {}", directory,
                     inode->bytes, kS5Entry.bytes));
  }
  std::vector<std::byte> buffer;
  each_extent(directory, [&](const Extent& extent) {
    if (extent.absent) return true;
    for (std::uint64_t done = 0; done < extent.bytes; done += kPiece) {
      buffer.resize(static_cast<std::size_t>(std::min(kPiece, extent.bytes - done)));
      const std::uint64_t place = extent.start - view_.start() + done;
      const std::size_t present = view_.read(place, buffer);
      if (!entries_in(std::span(buffer).first(present), place, visit)) return false;
      if (present < buffer.size()) return true;
    }
    return true;
  });
}

bool OldUnixVolume::entries_in(std::span<const std::byte> piece, std::uint64_t place,
                               FunctionRef<bool(const Entry&)> visit) {
  for (std::size_t i = 0; i + kS5Entry.bytes <= piece.size(); i += kS5Entry.bytes) {
    const FieldReader<kS5Entry> reader(piece.data() + i, shape_.order);
    const std::uint64_t node = reader.get<"inode">();
    if (node == 0) continue;
    const auto raw = reader.raw<"name">();
    std::string_view name(reinterpret_cast<const char*>(raw.data()), raw.size());
    name = name.substr(0, name.find('\0'));
    if (name == "." || name == "..") continue;
    const std::uint64_t at = view_.start() + place + i;
    if (node > shape_.inodes) {
      find(Severity::fault, FindingCode::filesystem_damaged, at, kS5Entry.bytes,
           fmt::format("a directory entry names inode {}, expected at most {}", node,
                       shape_.inodes));
    }
    if (name.empty() || name.find('/') != std::string_view::npos) {
      find(Severity::caution, FindingCode::name_illegal, at, kS5Entry.bytes,
           name.empty() ? "a directory entry in use has no name, expected 1 to 14 characters"
                        : "the name in a directory entry holds a '/', expected none");
      if (name.empty()) continue;
    }
    if (!visit({name, Charset::ascii, node, at})) return false;
  }
  return true;
}

// Where the root directory has inode 2, inode 1 holds the blocks that the maker found to be bad; it
// has no name, and its size need not be kept (V7 mkfs(1), s5 fsck).
std::vector<BlockRun> OldUnixVolume::bad_blocks() {
  std::vector<BlockRun> runs;
  constexpr NodeId kBadBlocks = 1;
  if (shape_.root == kBadBlocks) return runs;
  auto inode = inode_of(kBadBlocks);
  if (!inode || inode->type != NodeType::file) return runs;
  inode->bytes = std::max(inode->bytes, shape_.volume_bytes());
  const auto take = [&](const Extent& extent) {
    const std::uint64_t blocks = divide_up(extent.bytes, shape_.block_bytes);
    if (!extent.absent) runs.push_back({extent.start, blocks * shape_.block_bytes, BlockUse::bad});
    return true;
  };
  map(kBadBlocks, *inode, take, take, true);
  map(kBadBlocks, *inode, take, take, false);
  return runs;
}

void OldUnixVolume::each_run(FunctionRef<bool(const BlockRun&)> visit) {
  if (!shape_.free_list_known) return;
  const FreeList list = walk_free_list(view_, shape_);
  RunOverlay runs(bad_blocks(), visit);
  const auto add = [&](std::uint64_t first, std::uint64_t count, BlockUse use) {
    return runs.add({view_.start() + first * shape_.block_bytes, count * shape_.block_bytes, use});
  };
  bool wanted = add(0, shape_.first_data, BlockUse::metadata);
  std::uint64_t block = shape_.first_data;
  for (; wanted && block < list.free.size(); ++block) {
    wanted = add(block, 1, list.free[block] ? BlockUse::free : BlockUse::used);
  }
  // What the image does not hold was in use for all that is known.
  if (wanted) wanted = add(block, shape_.blocks - block, BlockUse::used);
  if (wanted) runs.finish();
}

std::uint64_t OldUnixVolume::count_free_inodes() {
  std::uint64_t free = 0;
  for (NodeId node = shape_.root; node <= shape_.inodes; ++node) {
    const auto bytes = window_.at(shape_.inode_place(node), shape_.inode->bytes);
    if (bytes.empty()) break;
    if (decode_unsigned(bytes.first(2), shape_.order) == 0) ++free;
  }
  return free;
}

void OldUnixVolume::check_records() {
  const auto found = disagreements(shape_);
  for (const Disagreement& one : found.all) {
    find(Severity::fault, FindingCode::filesystem_damaged,
         view_.start() + shape_.place_of(one.field), shape_.superblock->find(one.field)->width,
         one.message);
  }
  if (!shape_.free_list_known) return;
  const FreeList list = walk_free_list(view_, shape_);
  for (const FreeList::Problem& problem : list.problems) {
    find(Severity::fault, FindingCode::filesystem_damaged, view_.start() + problem.at,
         shape_.block_bytes, problem.message);
  }
  // Counts of a list that was cut short say nothing.
  if (list.problems.empty() && view_.bytes() >= shape_.volume_bytes()) check_totals(list);
}

void OldUnixVolume::check_totals(const FreeList& list) {
  const Severity severity = shape_.clean ? Severity::fault : Severity::note;
  if (shape_.stated_free && *shape_.stated_free != list.count) {
    find(severity, FindingCode::filesystem_damaged, view_.start() + shape_.place_of("tfree"), 4,
         fmt::format("the free list holds {} blocks, the superblock counts {}", list.count,
                     *shape_.stated_free));
  }
  if (!shape_.stated_free_inodes) return;
  // Makers differ in whether inode 1, which no file uses, counts as free.
  const std::uint64_t free = count_free_inodes();
  const std::uint64_t stated = *shape_.stated_free_inodes;
  if (stated > free + 1 || free > stated + 1) {
    find(severity, FindingCode::filesystem_damaged, view_.start() + shape_.place_of("tinode"), 2,
         fmt::format("the inode list has {} free inodes, the superblock counts {}", free, stated));
  }
}

}  // namespace platter::filesystem
