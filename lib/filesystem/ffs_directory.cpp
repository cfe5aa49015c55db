// Directories of the fast file system.
#include <algorithm>

#include <fmt/format.h>

#include "core/name_scan.h"
#include "core/record.h"
#include "filesystem/ffs_volume.h"

namespace platter::filesystem {
namespace {

constexpr std::uint64_t kPiece = 65536;
constexpr std::uint64_t kFirstName = 2;  // inodes below were never files

struct Item {
  std::uint64_t inode = 0;
  std::uint64_t length = 0;
  std::uint64_t name_bytes = 0;
  bool whiteout = false;
};

// Byte 7 is the length of the name in every form but the old one in little-endian order.
Item item_of(const std::byte* data, ByteOrder order, bool typed) {
  const FieldReader<kFfsEntry> reader(data, order);
  Item item;
  item.inode = reader.get<"inode">();
  item.length = reader.get<"reclen">();
  item.name_bytes = reader.get<"namlen">();
  if (order == ByteOrder::little && !typed) {
    item.name_bytes = FieldReader<kFfsOldEntry>(data, order).get<"namlen">();
  }
  item.whiteout = typed && reader.get<"type">() == kFfsWhiteout && item.inode == 1;
  return item;
}

}  // namespace

struct FfsVolume::DirectoryRead {
  const FfsInode& directory;
  FunctionRef<bool(const Entry&)> visit;
  bool typed;
  bool first_entry = true;
  std::vector<std::byte> buffer = {};
};

void FfsVolume::each_entry(NodeId directory, FunctionRef<bool(const Entry&)> visit) {
  const auto found = inode(directory);
  if (!found || found->type() != NodeType::directory) return;
  DirectoryRead read{*found, visit, shape_.typed_entries};
  std::uint64_t next = 0;
  walk_blocks(*found, false, [&](const Extent& extent) {
    if (extent.offset != next) {
      find(Severity::fault, FindingCode::filesystem_damaged, view_.start() + found->place,
           shape_.inode_bytes,
           fmt::format("the directory in inode {} has no block for its bytes {} to {}", directory,
                       next, extent.offset));
    }
    next = extent.offset + extent.bytes;
    return extent.absent || read_extent(read, extent);
  });
}

bool FfsVolume::read_extent(DirectoryRead& read, const Extent& extent) {
  for (std::uint64_t done = 0; done < extent.bytes;) {
    const std::uint64_t place = extent.start - view_.start() + done;
    const std::uint64_t count = std::min(extent.bytes - done, kPiece);
    if (place >= view_.bytes()) return true;  // the image ends before
    read.buffer.resize(
        static_cast<std::size_t>(std::max<std::uint64_t>(read.buffer.size(), count)));
    const auto piece = std::span(read.buffer).first(static_cast<std::size_t>(count));
    const std::size_t got = view_.read(place, piece);
    for (std::size_t at = 0; at < got; at += static_cast<std::size_t>(shape_.chunk)) {
      const std::size_t length = std::min(got - at, static_cast<std::size_t>(shape_.chunk));
      if (!read_chunk(read, std::span<const std::byte>(piece).subspan(at, length), place + at)) {
        return false;
      }
    }
    done += count;
  }
  return true;
}

bool FfsVolume::read_chunk(DirectoryRead& read, std::span<const std::byte> chunk,
                           std::uint64_t place) {
  std::size_t at = 0;
  while (at + kFfsEntry.bytes <= chunk.size()) {
    const std::size_t room = chunk.size() - at;
    if (read.first_entry) {
      // Old directories stay as they are when a volume is taken over by a younger system.
      read.typed = typed_by_first_entry(chunk, shape_.order).value_or(read.typed);
      read.first_entry = false;
    }
    const Item item = item_of(chunk.data() + at, shape_.order, read.typed);
    const bool holds_name = item.inode == 0 || kFfsEntry.bytes + item.name_bytes <= item.length;
    if (item.length < kFfsEntry.bytes || item.length % 4 != 0 || item.length > room ||
        !holds_name) {
      find(
          Severity::fault, FindingCode::filesystem_damaged, view_.start() + place + at,
          kFfsEntry.bytes,
          fmt::format("a directory entry has length {} and a name of {} bytes, expected a multiple "
                      "of 4 that holds the name and is at most {}; the next chunk goes on",
                      item.length, item.name_bytes, room));
      return true;
    }
    if (item.inode != 0 && !item.whiteout) {
      const auto bytes =
          chunk.subspan(at + kFfsEntry.bytes, static_cast<std::size_t>(item.name_bytes));
      const std::string_view name(reinterpret_cast<const char*>(bytes.data()), bytes.size());
      if (!hand_out(read, item.inode, name, view_.start() + place + at)) return false;
    }
    at += static_cast<std::size_t>(item.length);
  }
  return true;
}

bool FfsVolume::hand_out(DirectoryRead& read, std::uint64_t number, std::string_view name,
                         std::uint64_t place) {
  const std::uint64_t length = kFfsEntry.bytes + name.size();
  if (name == "." || name == "..") {
    if (name == "." && number != read.directory.number) {
      find(Severity::fault, FindingCode::filesystem_damaged, place, length,
           fmt::format("the entry . of the directory in inode {} names inode {}, expected itself",
                       read.directory.number, number));
    }
    return true;
  }
  if (name.empty() || has_slash_or_nul(name)) {
    find(Severity::fault, FindingCode::name_illegal, place, length,
         fmt::format("a name of {} bytes is empty or holds a '/' or a NUL", name.size()));
  }
  if (number < kFirstName || number >= shape_.inodes()) {
    find(Severity::fault, FindingCode::filesystem_damaged, place, length,
         fmt::format("a directory entry names inode {}, expected 2 to {}", number,
                     shape_.inodes() - 1));
  }
  return read.visit(Entry{name, charset_, number, place});
}

}  // namespace platter::filesystem
