// Names in XFS directories, of both forms: inside inodes, and in blocks. The index of a large
// directory is not needed to list it: blocks of names are told from the others by their magics, or
// lie in front of them.
#include <algorithm>
#include <cstring>

#include <fmt/format.h>

#include "core/name_scan.h"
#include "filesystem/xfs_directory.h"
#include "filesystem/xfs_volume.h"

namespace platter::filesystem {
namespace {

using DataEntry = FieldReader<kXfsEntry>;
using OldLeaf = FieldReader<kXfsOldLeaf>;
using OldHash = FieldReader<kXfsOldHash>;

constexpr std::size_t kPiece = 64 * 1024;  // a multiple of every directory block

std::uint64_t number_at(const std::byte* at, std::size_t bytes) {
  return decode_unsigned(std::span(at, bytes), ByteOrder::big);
}

std::string_view text_at(const std::byte* at, std::size_t bytes) {
  return {reinterpret_cast<const char*>(at), bytes};
}

bool is_unused(const std::byte* entry) {
  return FieldReader<kXfsUnused>(entry, ByteOrder::big).get<"tag">() == kXfsUnusedTag;
}

bool is_self_or_parent(std::string_view name) {
  return name.size() <= 2 && (name == "." || name == "..");
}

std::uint64_t rounded(std::uint64_t bytes) {
  return divide_up(bytes, kXfsEntryUnit) * kXfsEntryUnit;
}

// Whole blocks of a directory, gathered from extents that may end inside one.
class Gatherer {
 public:
  Gatherer(std::vector<std::byte>& buffer, std::size_t unit) : buffer_(buffer), unit_(unit) {
    if (buffer_.size() < kPiece) buffer_.resize(kPiece);
  }

  /// Gives `take` runs of whole blocks. \returns whether to go on
  template <typename Take>
  bool add(const View& view, const Extent& extent, Take take) {
    if (extent.offset != start_ + filled_) drop();
    // A block whose beginning is missing cannot be read.
    std::uint64_t at = filled_ == 0 ? (unit_ - extent.offset % unit_) % unit_ : 0;
    while (at < extent.bytes) {
      if (filled_ == 0) start_ = extent.offset + at;
      const auto wanted =
          static_cast<std::size_t>(std::min<std::uint64_t>(kPiece - filled_, extent.bytes - at));
      const std::size_t present =
          view.read(extent.start + at - view.start(), std::span(buffer_).subspan(filled_, wanted));
      pieces_.push_back({filled_, extent.start + at});
      filled_ += present;
      at += wanted;
      const bool cut = present < wanted;
      if (filled_ % unit_ != 0 && !cut) continue;
      const bool go_on = take(std::span<const std::byte>(buffer_).first(filled_ - filled_ % unit_));
      drop();
      if (!go_on) return false;
      if (cut) return true;
    }
    return true;
  }
  void drop() {
    pieces_.clear();
    filled_ = 0;
  }
  /// Image byte of an offset in what was given.
  [[nodiscard]] std::uint64_t place_of(std::size_t offset) const {
    std::size_t i = pieces_.size() - 1;
    while (i > 0 && pieces_[i].offset > offset)
      --i;
    return pieces_[i].place + (offset - pieces_[i].offset);
  }

 private:
  struct Piece {
    std::size_t offset;
    std::uint64_t place;
  };

  std::vector<std::byte>& buffer_;
  std::size_t unit_;
  std::uint64_t start_ = 0;  // of the buffer, in the directory
  std::size_t filled_ = 0;
  std::vector<Piece> pieces_;
};

}  // namespace

// Reads one block at a time.
class XfsVolume::BlockReader {
 public:
  BlockReader(XfsVolume& volume, NodeId directory, EntryVisit visit)
      : volume_(volume), shape_(volume.shape_), directory_(directory), visit_(visit) {}

  /// \param base  offset of the block in what `gatherer` holds
  bool read(std::span<const std::byte> block, const Gatherer& gatherer, std::size_t base) {
    block_ = block;
    gatherer_ = &gatherer;
    base_ = base;
    return shape_.second_form ? read_second() : read_first();
  }

 private:
  [[nodiscard]] std::uint64_t place(std::size_t at) const {
    return gatherer_->place_of(base_ + at);
  }
  void say(std::size_t at, std::uint64_t bytes, std::string words) {
    volume_.find(Severity::fault, FindingCode::filesystem_damaged, place(at), bytes,
                 std::move(words));
  }

  bool read_second() {
    const std::uint64_t magic =
        FieldReader<kXfsDataHead>(block_.data(), ByteOrder::big).get<"magic">();
    const bool indexed = magic == (shape_.sums ? kXfsBlockMagic5 : kXfsBlockMagic);
    if (!indexed && magic != (shape_.sums ? kXfsDataMagic5 : kXfsDataMagic)) {
      say(0, 4,
          fmt::format("a block of directory {} begins with {:#010x}, expected {:#010x}", directory_,
                      magic, shape_.sums ? kXfsDataMagic5 : kXfsDataMagic));
      return true;
    }
    const std::size_t head = shape_.sums ? kXfsDataHead5 : kXfsDataHead.bytes;
    std::size_t end = block_.size();
    if (indexed) {
      const std::size_t tail = end - kXfsBlockTail.bytes;
      const FieldReader<kXfsBlockTail> about(block_.data() + tail, ByteOrder::big);
      const std::uint64_t entries = about.get<"entries">();
      if (entries > (tail - head) / kXfsHash.bytes) {
        say(tail, kXfsBlockTail.bytes,
            fmt::format("the block of directory {} has {} entries in its index, expected at most "
                        "{}; it is left out",
                        directory_, entries, (tail - head) / kXfsHash.bytes));
        return true;
      }
      end = tail - static_cast<std::size_t>(entries) * kXfsHash.bytes;
    }
    return read_entries(head, end);
  }

  // Length of the entry or unused piece at a place, 0 when it cannot be one.
  [[nodiscard]] std::size_t length_at(std::size_t at, std::size_t end) const {
    const std::byte* bytes = block_.data() + at;
    std::uint64_t length = 0;
    if (is_unused(bytes)) {
      length = FieldReader<kXfsUnused>(bytes, ByteOrder::big).get<"bytes">();
      if (length == 0 || length % kXfsEntryUnit != 0) return 0;
    } else {
      if (end - at < kXfsEntry.bytes) return 0;
      const std::uint64_t name = DataEntry(bytes, ByteOrder::big).get<"name_bytes">();
      if (name == 0) return 0;
      length = rounded(kXfsEntry.bytes + name + (shape_.typed_names ? 1 : 0) + kXfsEntryTag.bytes);
    }
    return length <= end - at ? static_cast<std::size_t>(length) : 0;
  }
  [[nodiscard]] std::uint64_t tag_of(std::size_t at, std::size_t length) const {
    const std::byte* tag = block_.data() + at + length - kXfsEntryTag.bytes;
    return FieldReader<kXfsEntryTag>(tag, ByteOrder::big).get<"offset">();
  }

  bool read_entries(std::size_t at, std::size_t end) {
    while (at + kXfsEntryUnit <= end) {
      const std::size_t length = length_at(at, end);
      const std::size_t next = at + length;
      const bool told = length != 0 && tag_of(at, length) == at;
      // One wrong tag between right ones is no reason to lose what follows.
      if (!told && !follows(next, end, length)) {
        say(at, kXfsEntryUnit,
            fmt::format("an entry of directory {} at byte {} of its block has no right length or "
                        "tag; the rest of the block is left out",
                        directory_, at));
        return true;
      }
      if (!told) {
        say(at, length,
            fmt::format("an entry of directory {} at byte {} of its block has the tag {}, expected "
                        "its place",
                        directory_, at, tag_of(at, length)));
      }
      if (!give(at)) return false;
      at = next;
    }
    return true;
  }
  [[nodiscard]] bool follows(std::size_t next, std::size_t end, std::size_t length) const {
    if (length == 0) return false;
    if (next + kXfsEntryUnit > end) return next == end;
    const std::size_t after = length_at(next, end);
    return after != 0 && tag_of(next, after) == next;
  }
  bool give(std::size_t at) {
    const std::byte* bytes = block_.data() + at;
    if (is_unused(bytes)) return true;
    const DataEntry entry(bytes, ByteOrder::big);
    const std::string_view name =
        text_at(bytes + kXfsEntry.bytes, static_cast<std::size_t>(entry.get<"name_bytes">()));
    if (is_self_or_parent(name)) return true;
    return volume_.give_entry(directory_, {name, volume_.charset_, entry.get<"inode">(), place(at)},
                              visit_);
  }

  bool read_first() {
    const OldLeaf leaf(block_.data(), ByteOrder::big);
    const std::uint64_t magic = leaf.get<"magic">();
    if (magic == kXfsNodeMagic) return true;  // leads to leaves
    const std::uint64_t count = leaf.get<"entries">();
    const std::uint64_t room = (block_.size() - kXfsOldLeaf.bytes) / kXfsOldHash.bytes;
    if (magic != kXfsOldLeafMagic || count > room) {
      say(0, kXfsOldLeaf.bytes,
          fmt::format("a block of directory {} has the magic {:#06x} and {} entries, expected "
                      "{:#06x} and at most {}",
                      directory_, magic, count, kXfsOldLeafMagic, room));
      return true;
    }
    for (std::uint64_t i = 0; i < count; ++i) {
      if (!give_first(kXfsOldLeaf.bytes + static_cast<std::size_t>(i) * kXfsOldHash.bytes,
                      kXfsOldLeaf.bytes + static_cast<std::size_t>(count) * kXfsOldHash.bytes)) {
        return false;
      }
    }
    return true;
  }
  bool give_first(std::size_t slot, std::size_t first) {
    const OldHash hash(block_.data() + slot, ByteOrder::big);
    const auto at = static_cast<std::size_t>(hash.get<"offset">());
    const auto length = static_cast<std::size_t>(hash.get<"name_bytes">());
    if (at < first || length == 0 || !fits_within(at, kXfsWide.bytes + length, block_.size())) {
      say(slot, kXfsOldHash.bytes,
          fmt::format("an entry of directory {} has {} bytes of name at byte {} of its block, "
                      "expected 1 to 255 between {} and {}",
                      directory_, length, at, first, block_.size()));
      return true;
    }
    const std::byte* bytes = block_.data() + at;
    const std::string_view name = text_at(bytes + kXfsWide.bytes, length);
    if (is_self_or_parent(name)) return true;
    return volume_.give_entry(
        directory_, {name, volume_.charset_, number_at(bytes, kXfsWide.bytes), place(at)}, visit_);
  }

  XfsVolume& volume_;
  const XfsShape& shape_;
  NodeId directory_;
  EntryVisit visit_;
  std::span<const std::byte> block_;
  const Gatherer* gatherer_ = nullptr;
  std::size_t base_ = 0;
};

bool XfsVolume::give_entry(NodeId directory, const Entry& entry, EntryVisit visit) {
  if (shape_.inode_place(entry.node) == kLargest) {
    find(
        Severity::fault, FindingCode::filesystem_damaged, entry.place, kXfsEntry.bytes,
        fmt::format("an entry of directory {} leads to inode {}, expected one inside the {} groups "
                    "of the volume",
                    directory, entry.node, shape_.groups));
  }
  if (has_slash_or_nul(entry.name)) {
    find(Severity::fault, FindingCode::name_illegal, entry.place, kXfsEntry.bytes,
         fmt::format("directory {} holds a name of {} bytes that has a '/' or NUL in it", directory,
                     entry.name.size()));
  }
  return visit(entry);
}

void XfsVolume::say_short(const Node& node, std::uint64_t at) {
  find(Severity::fault, FindingCode::filesystem_damaged, node.place + node.core + at,
       kXfsShortEntry.bytes,
       fmt::format("the names of directory {} reach out of its {} bytes inside the inode, expected "
                   "them to fit; the rest is left out",
                   node.number,
                   std::min<std::uint64_t>(node.bytes, content_fork(node).bytes.size())));
}

void XfsVolume::short_entries(const Node& node, EntryVisit visit) {
  const auto fork = content_fork(node).bytes;
  const std::size_t end =
      static_cast<std::size_t>(std::min<std::uint64_t>(node.bytes, fork.size()));
  if (end < kXfsShortHead.bytes) return say_short(node, 0);
  const FieldReader<kXfsShortHead> head(fork.data(), ByteOrder::big);
  const bool wide = head.get<"wide_entries">() != 0;
  const std::size_t number = wide ? 8 : 4;
  const std::size_t type = shape_.typed_names ? 1 : 0;
  std::size_t at = FieldReader<kXfsShortHead>::offset_of<"parent">() + number;
  for (std::uint64_t i = 0; i < head.get<"entries">(); ++i) {
    if (!fits_within(at, kXfsShortEntry.bytes, end)) return say_short(node, at);
    const FieldReader<kXfsShortEntry> entry(fork.data() + at, ByteOrder::big);
    const auto name_bytes = static_cast<std::size_t>(entry.get<"name_bytes">());
    const std::size_t length = kXfsShortEntry.bytes + name_bytes + type + number;
    if (name_bytes == 0 || !fits_within(at, length, end)) return say_short(node, at);
    const std::byte* name = fork.data() + at + kXfsShortEntry.bytes;
    const Entry given{text_at(name, name_bytes), charset_,
                      number_at(name + name_bytes + type, number), node.place + node.core + at};
    if (!is_self_or_parent(given.name) && !give_entry(node.number, given, visit)) return;
    at += length;
  }
}

void XfsVolume::old_short_entries(const Node& node, EntryVisit visit) {
  const auto fork = content_fork(node).bytes;
  const std::size_t end =
      static_cast<std::size_t>(std::min<std::uint64_t>(node.bytes, fork.size()));
  if (end < kXfsOldShortHead.bytes) return say_short(node, 0);
  const FieldReader<kXfsOldShortHead> head(fork.data(), ByteOrder::big);
  std::size_t at = kXfsOldShortHead.bytes;
  for (std::uint64_t i = 0; i < head.get<"entries">(); ++i) {
    if (!fits_within(at, kXfsOldShortEntry.bytes, end)) return say_short(node, at);
    const FieldReader<kXfsOldShortEntry> entry(fork.data() + at, ByteOrder::big);
    const auto name_bytes = static_cast<std::size_t>(entry.get<"name_bytes">());
    const std::size_t length = kXfsOldShortEntry.bytes + name_bytes;
    if (name_bytes == 0 || !fits_within(at, length, end)) return say_short(node, at);
    const Entry given{text_at(fork.data() + at + kXfsOldShortEntry.bytes, name_bytes), charset_,
                      entry.get<"inode">(), node.place + node.core + at};
    if (!is_self_or_parent(given.name) && !give_entry(node.number, given, visit)) return;
    at += length;
  }
}

void XfsVolume::block_entries(const Node& node, EntryVisit visit) {
  const auto unit =
      static_cast<std::size_t>(shape_.second_form ? shape_.directory_bytes : shape_.block_bytes);
  // What is visited may come back here for another directory.
  std::vector<std::byte> buffer = std::move(spare_);
  Gatherer gatherer(buffer, unit);
  BlockReader reader(*this, node.number, visit);
  each_extent(node.number, [&](const Extent& extent) {
    if (extent.absent) return true;
    return gatherer.add(view_, extent, [&](std::span<const std::byte> blocks) {
      for (std::size_t at = 0; at < blocks.size(); at += unit) {
        if (!reader.read(blocks.subspan(at, unit), gatherer, at)) return false;
      }
      return true;
    });
  });
  spare_ = std::move(buffer);
}

void XfsVolume::each_entry(NodeId directory, FunctionRef<bool(const Entry&)> visit) {
  const auto node = node_of(directory);
  if (!node || node->type != NodeType::directory) return;
  if (node->inode().get<"format">() != kXfsForkInside) return block_entries(*node, visit);
  return shape_.second_form ? short_entries(*node, visit) : old_short_entries(*node, visit);
}

}  // namespace platter::filesystem
