#include "kernel/giving.h"

#include <ctime>
#include <stdexcept>

#include <fmt/format.h>

namespace platter::test {

using namespace fixtures;  // NOLINT(google-build-using-namespace): the writers

namespace {

template <typename Attributes>
Attributes attributes_of(const ContentItem& item) {
  return {.permissions = item.mode, .uid = item.uid, .gid = item.gid, .modified = item.modified};
}

[[noreturn]] void refuse(const ContentItem& item) {
  throw std::invalid_argument(fmt::format("{} has no place on this filesystem", item.path));
}

bool has_holes(const ContentItem& item) {
  return item.bytes != 0 && (item.pieces.empty() || item.pieces[0].text.size() != item.bytes);
}

// Microsoft FAT specification 1.03, "Date and Time Formats".
FatStamp stamp_of(std::int64_t seconds) {
  const std::time_t time = seconds;
  std::tm parts{};
  gmtime_r(&time, &parts);
  const int date = (parts.tm_year - 80) << 9 | (parts.tm_mon + 1) << 5 | parts.tm_mday;
  const int clock = parts.tm_hour << 11 | parts.tm_min << 5 | parts.tm_sec / 2;
  return {.date = static_cast<std::uint64_t>(date), .time = static_cast<std::uint64_t>(clock)};
}

// What most writers have in common.
template <typename Attributes, typename Writer>
bool give_common(Writer& writer, const ContentItem& item) {
  const auto attributes = attributes_of<Attributes>(item);
  switch (item.type) {
    case NodeType::file:
      writer.add_file(item.path, item.content(), attributes);
      return true;
    case NodeType::directory:
      writer.add_directory(item.path, attributes);
      return true;
    case NodeType::symlink:
      writer.add_symlink(item.path, item.target, attributes);
      return true;
    default:
      return false;
  }
}

}  // namespace

void give(UnixTreeWriter& writer, const ContentItems& items) {
  for (const ContentItem& item : items) {
    const auto attributes = attributes_of<UnixAttributes>(item);
    if (!item.same_as.empty()) {
      writer.add_link(item.path, item.same_as);
    } else if (item.type == NodeType::file && has_holes(item)) {
      std::vector<UnixPiece> pieces;
      for (const ContentPiece& piece : item.pieces)
        pieces.push_back({piece.offset, piece.text});
      writer.add_sparse_file(item.path, item.bytes, pieces, attributes);
    } else if (item.type == NodeType::fifo) {
      writer.add_fifo(item.path, attributes);
    } else if (!give_common<UnixAttributes>(writer, item)) {
      writer.add_device(item.path, item.type == NodeType::block_device, item.device.major,
                        item.device.minor, attributes);
    }
  }
}

void give(FfsWriter& writer, const ContentItems& items) {
  for (const ContentItem& item : items) {
    const auto attributes = attributes_of<FfsAttributes>(item);
    if (!item.same_as.empty()) {
      writer.add_hard_link(item.path, item.same_as);
    } else if (item.type == NodeType::file && has_holes(item)) {
      std::vector<FfsPiece> pieces;
      for (const ContentPiece& piece : item.pieces)
        pieces.emplace_back(piece.offset, piece.text);
      writer.add_sparse_file(item.path, item.bytes, pieces, attributes);
    } else if (!give_common<FfsAttributes>(writer, item)) {
      const FfsSpecial kind = item.type == NodeType::fifo          ? FfsSpecial::fifo
                              : item.type == NodeType::char_device ? FfsSpecial::char_device
                                                                   : FfsSpecial::block_device;
      writer.add_special(item.path, kind, item.device.major, item.device.minor, attributes);
    }
  }
}

void give(MinixWriter& writer, const ContentItems& items) {
  for (const ContentItem& item : items) {
    if (!item.same_as.empty()) {
      writer.add_link(item.path, item.same_as);
    } else if (!give_common<MinixAttributes>(writer, item)) {
      if (item.type == NodeType::fifo) refuse(item);
      writer.add_device(item.path, item.type == NodeType::block_device ? 0060000 : 0020000,
                        item.device.major, item.device.minor, attributes_of<MinixAttributes>(item));
    }
  }
}

void give(Iso9660Writer& writer, const ContentItems& items) {
  for (const ContentItem& item : items) {
    if (!item.same_as.empty() || !give_common<IsoAttributes>(writer, item)) refuse(item);
  }
}

void give(BfsWriter& writer, const ContentItems& items) {
  for (const ContentItem& item : items) {
    if (!item.same_as.empty() || item.type != NodeType::file) refuse(item);
    writer.add_file(item.path, item.content(), attributes_of<BfsAttributes>(item));
  }
}

void give(FatWriter& writer, const ContentItems& items) {
  for (const ContentItem& item : items) {
    if (!item.same_as.empty()) refuse(item);
    if (item.type == NodeType::directory) {
      writer.add_directory(item.path, stamp_of(item.modified));
    } else if (item.type == NodeType::file) {
      writer.add_file(item.path, item.content(), stamp_of(item.modified));
    } else {
      refuse(item);
    }
  }
}

void give(HfsWriter& writer, const ContentItems& items) {
  std::size_t pieces = 0;
  for (const ContentItem& item : items) {
    if (!item.same_as.empty()) refuse(item);
    if (item.type == NodeType::directory) {
      writer.add_directory(item.path);
    } else if (item.type == NodeType::file) {
      // Three extents stand in the catalog; more of them go into the extents file.
      pieces = item.bytes > 8192 ? pieces % 9 + 1 : 1;
      writer.add_file(item.path, {item.content(), pieces}, {"resource fork", 1});
    } else {
      refuse(item);
    }
  }
}

void give(HfsPlusWriter& writer, const ContentItems& items) {
  std::size_t pieces = 0;
  for (const ContentItem& item : items) {
    const auto attributes = attributes_of<HfsPlusAttributes>(item);
    if (!item.same_as.empty()) {
      writer.add_link(item.path, item.same_as);
    } else if (item.type == NodeType::file) {
      // Eight extents stand in the catalog; more of them go into the extents file.
      pieces = item.bytes > 8192 ? pieces % 20 + 3 : 1;
      const HfsFork resource{item.bytes % 3 == 1 ? "resource fork" : "", 1};
      writer.add_file(item.path, {item.content(), pieces}, resource, attributes);
    } else if (item.type == NodeType::directory) {
      writer.add_directory(item.path, attributes);
    } else if (item.type == NodeType::symlink) {
      writer.add_symlink(item.path, item.target, attributes);
    } else if (item.type == NodeType::fifo) {
      writer.add_fifo(item.path, attributes);
    } else {
      writer.add_device(item.path, item.type == NodeType::block_device, item.device.major,
                        item.device.minor, attributes);
    }
  }
}

}  // namespace platter::test
