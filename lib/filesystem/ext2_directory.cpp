// Directories of ext2: blocks of entries that are linked by their lengths. The hashed form looks
// like this too: its index hides in entries without an inode.
#include <algorithm>

#include <fmt/format.h>

#include "core/name_scan.h"
#include "filesystem/ext2_volume.h"

namespace platter::filesystem {
namespace {

using DirectoryEntry = FieldReader<kExt2Entry>;

constexpr std::uint64_t kPiece = 64 * 1024;
constexpr std::uint64_t kInlineFirst = 4;  // the parent's inode stands before the entries
constexpr std::uint64_t kInlineBytes = 60;

// Lengths of entries in blocks of 64 KiB do not fit the field: two values stand for all of it.
std::uint64_t record_length(std::uint64_t stored, std::uint64_t block_bytes) {
  if (block_bytes < 65536) return stored;
  if (stored == 65535 || stored == 0) return block_bytes;
  return (stored & 65532U) | (stored & 3U) << 16U;
}

bool is_self_or_parent(std::string_view name) {
  return name.size() <= 2 && (name == "." || name == "..");
}

}  // namespace

void Ext2Volume::each_entry(NodeId directory, FunctionRef<bool(const Entry&)> visit) {
  const auto node = node_of(directory);
  if (!node || node->type != NodeType::directory) return;
  const bool is_inline = (node->flags & kExt2InodeInline) != 0;
  // What is visited may come back here for another directory.
  std::vector<std::byte> buffer = std::move(spare_);
  each_extent(directory, [&](const Extent& extent) {
    std::uint64_t skip = is_inline && extent.offset == 0 ? kInlineFirst : 0;
    const std::uint64_t unit =
        is_inline ? (extent.offset == 0 ? kInlineBytes - kInlineFirst : extent.bytes)
                  : numbers_.block_bytes;
    if (extent.absent || skip > extent.bytes) return true;
    for (; skip < extent.bytes; skip += kPiece) {
      const std::uint64_t place = extent.start + skip;
      const std::uint64_t wanted = std::min(kPiece, extent.bytes - skip);
      if (buffer.size() < wanted) buffer.resize(static_cast<std::size_t>(wanted));
      const auto piece = std::span(buffer).first(static_cast<std::size_t>(wanted));
      const std::size_t present = view_.read(place - view_.start(), piece);
      // Where the image ends inside a block, its entries cannot be told from damaged ones.
      const std::size_t whole =
          present == wanted ? present : present - present % static_cast<std::size_t>(unit);
      if (!read_entries(directory, piece.first(whole), place, unit, visit)) return false;
      if (present < wanted) return true;
    }
    return true;
  });
  spare_ = std::move(buffer);
}

bool Ext2Volume::read_entries(NodeId directory, std::span<const std::byte> bytes,
                              std::uint64_t place, std::uint64_t unit,
                              FunctionRef<bool(const Entry&)> visit) {
  for (std::size_t at = 0; at < bytes.size(); at += static_cast<std::size_t>(unit)) {
    const auto block =
        bytes.subspan(at, std::min(bytes.size() - at, static_cast<std::size_t>(unit)));
    if (!read_block(directory, block, place + at, visit)) return false;
  }
  return true;
}

bool Ext2Volume::read_block(NodeId directory, std::span<const std::byte> block, std::uint64_t place,
                            FunctionRef<bool(const Entry&)> visit) {
  constexpr std::size_t kHead = kExt2Entry.bytes;
  const bool typed = (numbers_.incompatible & kExt2IncompatTypes) != 0;
  const bool big = order_ == ByteOrder::big;
  for (std::size_t at = 0; at + kHead <= block.size();) {
    const DirectoryEntry record(block.data() + at, order_);
    const std::uint64_t length = record_length(record.get<"rec_len">(), numbers_.block_bytes);
    // Without the feature the length of the name has 16 bits; no name was ever that long.
    const std::size_t name_bytes = typed || !big ? record.get<"name_len">() : record.get<"type">();
    const std::uint64_t inode = record.get<"inode">();
    if (length < kHead || length % 4 != 0 || length > block.size() - at ||
        (inode != 0 && name_bytes > length - kHead)) {
      find(
          Severity::fault, FindingCode::filesystem_damaged, place + at, kHead,
          fmt::format("an entry of directory {} has {} bytes and a name of {}, expected a multiple "
                      "of 4 that holds the name and at most {}; the rest of its block is left out",
                      directory, length, name_bytes, block.size() - at));
      return true;
    }
    const char* name = reinterpret_cast<const char*>(block.data() + at + kHead);
    const bool plain = is_plain_name({name, name_bytes});
    const Entry entry{.name = {name, name_bytes},
                      .charset = charset_,
                      .node = inode,
                      .place = place + at,
                      .plain = plain};
    at += static_cast<std::size_t>(length);
    if (inode == 0 || is_self_or_parent(entry.name)) continue;
    const bool sound =
        inode <= numbers_.inodes && name_bytes != 0 && (plain || !has_slash_or_nul(entry.name));
    if (!sound) say_what_is_wrong(directory, entry);
    if (name_bytes != 0 && !visit(entry)) return false;
  }
  return true;
}

void Ext2Volume::say_what_is_wrong(NodeId directory, const Entry& entry) {
  if (entry.node > numbers_.inodes) {
    find(Severity::fault, FindingCode::filesystem_damaged, entry.place, 4,
         fmt::format("an entry of directory {} leads to inode {}, expected one from 1 to {}",
                     directory, entry.node, numbers_.inodes));
  }
  if (entry.name.empty() || has_slash_or_nul(entry.name)) {
    find(
        Severity::fault, FindingCode::name_illegal, entry.place, kExt2Entry.bytes,
        fmt::format("directory {} holds a name of {} bytes that is empty or has a '/' or NUL in it",
                    directory, entry.name.size()));
  }
}

}  // namespace platter::filesystem
