#include "filesystem/efs_volume.h"

#include <algorithm>

#include <fmt/format.h>

#include "core/name_scan.h"
#include "filesystem/link_text.h"

namespace platter::filesystem {
namespace {

constexpr std::uint64_t kPiece = 64 * 1024;
constexpr std::uint64_t kLongestTarget = 4096;
constexpr std::uint64_t kPerBlock = kEfsBlock / kEfsExtent.bytes;

std::uint32_t low32(std::uint64_t value) {
  return static_cast<std::uint32_t>(value);
}

bool has_content(NodeType type) {
  return type == NodeType::file || type == NodeType::directory || type == NodeType::symlink;
}

NodeType type_of(const Record<kEfsInode>& inode) {
  return type_of_mode(low32(inode.get<"mode">()));
}

std::uint64_t size_of(const Record<kEfsInode>& inode) {
  return inode.get<"size">() < 0 ? 0 : static_cast<std::uint64_t>(inode.get<"size">());
}

bool is_inline(const Record<kEfsInode>& inode) {
  return type_of(inode) == NodeType::symlink && inode.get<"numextents">() == 0 &&
         size_of(inode) <= kEfsInlineText;
}

// The older form has 7 and 8 bits (efs_dinode.h), the newer one 14 and 18 (Linux sysv_major).
DeviceNumber device_of(const Record<kEfsInode>& inode) {
  const FieldReader<kEfsDevice> device(inode.raw<"extents">().data(), ByteOrder::big);
  const auto old = low32(device.get<"old">());
  if (old != 0xFFFF) return {old >> 8U & 0x7FU, old & 0xFFU};
  const auto number = low32(device.get<"new">());
  return {number >> 18U & 0x3FFFU, number & 0x3FFFFU};
}

}  // namespace

bool EfsShape::is_data(std::uint64_t block, std::uint64_t length) const noexcept {
  if (block < first_group || block >= end()) return false;
  const std::uint64_t in_group = (block - first_group) % group_size;
  return in_group >= inode_blocks && length <= group_size - in_group;
}

std::optional<EfsVolume::Inode> EfsVolume::inode_of(NodeId node) {
  if (node < kEfsFirstFileInode || node >= shape_.inodes()) return std::nullopt;
  const std::uint64_t place = shape_.inode_place(node);
  const auto bytes = window_.at(place, kEfsInode.bytes);
  if (bytes.empty()) return std::nullopt;
  Inode inode(ByteOrder::big, view_.start() + place);
  std::ranges::copy(bytes, inode.storage().begin());
  inode.set_present(bytes.size());
  return inode;
}

void EfsVolume::damaged(Severity severity, NodeId node, std::string message) {
  find(severity, FindingCode::filesystem_damaged, view_.start() + shape_.inode_place(node),
       kEfsInode.bytes, std::move(message));
}

Attributes EfsVolume::attributes(NodeId node) {
  Attributes attributes;
  attributes.identity = node;
  const auto inode = inode_of(node);
  if (!inode || type_of(*inode) == NodeType::unknown) return attributes;
  attributes.type = type_of(*inode);
  attributes.mode = low32(inode->get<"mode">() & 07777U);
  attributes.uid = low32(inode->get<"uid">());
  attributes.gid = low32(inode->get<"gid">());
  attributes.links = low32(inode->get<"nlink">());
  const auto time = [](std::uint64_t seconds) {
    return Timestamp{static_cast<std::int64_t>(seconds)};
  };
  attributes.modified = time(inode->get<"mtime">());
  attributes.accessed = time(inode->get<"atime">());
  attributes.changed = time(inode->get<"ctime">());
  if (attributes.type == NodeType::char_device || attributes.type == NodeType::block_device) {
    attributes.device = device_of(*inode);
  } else {
    attributes.bytes = size_of(*inode);
  }
  return attributes;
}

// Takes an extent when it can be one; false when the list cannot be followed further.
bool EfsVolume::add_run(NodeId node, FieldReader<kEfsExtent> extent, std::vector<Run>& runs) {
  if (extent.get<"magic">() != 0) {
    damaged(Severity::fault, node,
            fmt::format("an extent of inode {} begins with 0x{:02X}, expected 0", node,
                        extent.get<"magic">()));
    return false;
  }
  const Run run{extent.get<"block">(), extent.get<"length">(), extent.get<"offset">()};
  if (run.length == 0) {
    damaged(Severity::fault, node,
            fmt::format("an extent of inode {} has no length, expected 1 to {} blocks", node,
                        kEfsLongestExtent));
    return true;
  }
  if (!shape_.is_data(run.block, run.length)) {
    find(Severity::fault, FindingCode::extent_beyond_end, view_.start() + shape_.inode_place(node),
         kEfsInode.bytes,
         fmt::format("inode {} maps blocks {} to {}, expected blocks in the data part of one group",
                     node, run.block, run.block + run.length - 1));
  }
  runs.push_back(run);
  return true;
}

std::vector<EfsVolume::Run> EfsVolume::indirect_of(NodeId node, const Inode& inode) {
  std::vector<Run> runs;
  const std::uint64_t count = inode.sub<"extents">().get<"offset">();
  if (count == 0 || count > kEfsDirectExtents) {
    damaged(Severity::fault, node,
            fmt::format("inode {} has {} indirect extents, expected 1 to {}", node, count,
                        kEfsDirectExtents));
    return runs;
  }
  for (std::size_t i = 0; i < count; ++i) {
    if (!add_run(node, inode.sub<"extents">(i), runs)) break;
  }
  return runs;
}

void EfsVolume::follow_indirect(NodeId node, const Inode& inode, std::uint64_t count,
                                std::vector<Run>& runs) {
  std::vector<std::byte> block(kEfsBlock);
  bool sound = true;
  for (const Run& indirect : indirect_of(node, inode)) {
    sound = sound && shape_.is_data(indirect.block, indirect.length);
    for (std::uint64_t i = 0; sound && i < indirect.length && runs.size() < count; ++i) {
      sound = view_.read((indirect.block + i) * kEfsBlock, block) == block.size();
      for (std::uint64_t j = 0; sound && j < kPerBlock && runs.size() < count; ++j) {
        const std::byte* at = block.data() + j * kEfsExtent.bytes;
        sound = add_run(node, FieldReader<kEfsExtent>(at, ByteOrder::big), runs);
      }
    }
  }
  if (runs.size() < count) {
    damaged(
        Severity::fault, node,
        fmt::format("inode {} has {} extents, {} of them were found", node, count, runs.size()));
  }
}

std::vector<EfsVolume::Run> EfsVolume::runs_of(NodeId node, const Inode& inode) {
  std::vector<Run> runs;
  const std::int64_t stated = inode.get<"numextents">();
  if (stated < 0) {
    damaged(Severity::fault, node,
            fmt::format("inode {} has {} extents, expected 0 or more", node, stated));
    return runs;
  }
  const auto count = static_cast<std::uint64_t>(stated);
  if (count <= kEfsDirectExtents) {
    for (std::size_t i = 0; i < count; ++i) {
      if (!add_run(node, inode.sub<"extents">(i), runs)) break;
    }
  } else {
    follow_indirect(node, inode, count, runs);
  }
  sort_runs(node, runs);
  return runs;
}

// By rising offset; what an earlier extent maps already is cut off.
void EfsVolume::sort_runs(NodeId node, std::vector<Run>& runs) {
  if (!std::ranges::is_sorted(runs, {}, &Run::offset)) {
    std::ranges::stable_sort(runs, {}, &Run::offset);
  }
  std::uint64_t next = 0;
  std::uint64_t budget = shape_.data_blocks();  // blocks that are named over and over end here
  bool overlap = false;
  bool exhausted = false;
  for (Run& run : runs) {
    if (run.offset < next) {
      overlap = true;
      const std::uint64_t cut = std::min(next - run.offset, run.length);
      run = {run.block + cut, run.length - cut, run.offset + cut};
    }
    exhausted = exhausted || run.length > budget;
    run.length = std::min(run.length, budget);
    budget -= run.length;
    next = std::max(next, run.offset + run.length);
  }
  if (exhausted) {
    damaged(Severity::fault, node,
            fmt::format("inode {} maps more blocks than the volume has, expected at most {}", node,
                        shape_.data_blocks()));
  }
  if (overlap) {
    damaged(Severity::fault, node,
            fmt::format("two extents of inode {} map the same part of it, expected one", node));
  }
}

void EfsVolume::each_extent(NodeId node, FunctionRef<bool(const Extent&)> visit) {
  const auto inode = inode_of(node);
  if (!inode || !has_content(type_of(*inode))) return;
  const std::uint64_t size = size_of(*inode);
  if (is_inline(*inode)) {
    if (size != 0) visit({0, inode->place_of<"extents">(), size, false});
    return;
  }
  ExtentJoiner joiner(visit);
  for (const Run& run : runs_of(node, *inode)) {
    const std::uint64_t offset = run.offset * kEfsBlock;
    if (offset >= size) break;
    const std::uint64_t bytes = std::min(run.length * kEfsBlock, size - offset);
    const bool absent = !shape_.is_data(run.block, 1);
    const std::uint64_t start = absent ? 0 : view_.start() + run.block * kEfsBlock;
    if (!joiner.add({offset, start, bytes, absent})) return;
  }
  joiner.finish();
}

void EfsVolume::each_further_block(NodeId node, FunctionRef<bool(const Extent&)> visit) {
  const auto inode = inode_of(node);
  if (!inode || !has_content(type_of(*inode))) return;
  if (inode->get<"numextents">() <= static_cast<std::int64_t>(kEfsDirectExtents)) return;
  ExtentJoiner joiner(visit);
  for (const Run& run : indirect_of(node, *inode)) {
    if (!shape_.is_data(run.block, run.length)) continue;
    const Extent extent{0, view_.start() + run.block * kEfsBlock, run.length * kEfsBlock, false};
    if (!joiner.add(extent)) return;
  }
  joiner.finish();
}

std::string EfsVolume::link_target(NodeId node) {
  const auto inode = inode_of(node);
  if (!inode || type_of(*inode) != NodeType::symlink) return {};
  const std::uint64_t size = size_of(*inode);
  if (size > kLongestTarget) {
    damaged(Severity::fault, node,
            fmt::format("the symbolic link in inode {} has {} bytes, expected at most {}", node,
                        size, kLongestTarget));
  }
  return link_text(*this, view_, node, std::min(size, kLongestTarget));
}

void EfsVolume::each_entry(NodeId directory, FunctionRef<bool(const Entry&)> visit) {
  const auto inode = inode_of(directory);
  if (!inode || type_of(*inode) != NodeType::directory) return;
  std::vector<std::byte> buffer;
  each_extent(directory, [&](const Extent& extent) {
    if (extent.absent) return true;
    for (std::uint64_t done = 0; done < extent.bytes; done += kPiece) {
      buffer.resize(static_cast<std::size_t>(std::min(kPiece, extent.bytes - done)));
      const std::uint64_t place = extent.start - view_.start() + done;
      const std::size_t present = view_.read(place, buffer);
      for (std::size_t i = 0; i + kEfsBlock <= present; i += kEfsBlock) {
        if (!entries_in(std::span(buffer).subspan(i, kEfsBlock), place + i, visit)) return false;
      }
      if (present < buffer.size()) return true;
    }
    return true;
  });
}

bool EfsVolume::entries_in(std::span<const std::byte> block, std::uint64_t place,
                           FunctionRef<bool(const Entry&)> visit) {
  const FieldReader<kEfsDirectory> reader(block.data(), ByteOrder::big);
  const std::uint64_t at = view_.start() + place;
  const std::uint64_t slots = reader.get<"slots">();
  if (reader.get<"magic">() != kEfsDirectoryMagic) {
    find(Severity::fault, FindingCode::filesystem_damaged, at, 2,
         fmt::format("a directory block begins with 0x{:04X}, expected 0x{:04X}",
                     reader.get<"magic">(), kEfsDirectoryMagic));
    return true;
  }
  const std::size_t first = FieldReader<kEfsDirectory>::offset_of<"space">();
  const std::uint64_t lowest = reader.get<"firstused">() * 2;
  if (slots > kEfsMostSlots || (slots != 0 && first + slots > lowest)) {
    find(Severity::fault, FindingCode::filesystem_damaged, at, kEfsDirectory.bytes,
         fmt::format("a directory block has {} slots and its first entry at byte {}, expected at "
                     "most {} slots before that entry",
                     slots, lowest, kEfsMostSlots));
    if (slots > kEfsMostSlots) return true;
  }
  for (std::size_t i = 0; i < slots; ++i) {
    const std::size_t offset = std::to_integer<std::size_t>(block[first + i]) * 2;
    if (offset == 0) continue;
    if (offset < first + slots || offset + kEfsEntry.bytes > kEfsBlock) {
      find(Severity::fault, FindingCode::filesystem_damaged, at, kEfsDirectory.bytes,
           fmt::format("a directory slot leads to byte {} of its block, expected {} to {}", offset,
                       lowest, kEfsBlock - kEfsEntry.bytes - 1));
      continue;
    }
    if (!entry_at(block, offset, place, visit)) return false;
  }
  return true;
}

bool EfsVolume::entry_at(std::span<const std::byte> block, std::size_t offset, std::uint64_t place,
                         FunctionRef<bool(const Entry&)> visit) {
  const FieldReader<kEfsEntry> entry(block.data() + offset, ByteOrder::big);
  const std::uint64_t at = view_.start() + place + offset;
  const auto length = static_cast<std::size_t>(entry.get<"namelen">());
  if (length == 0 || offset + kEfsEntry.bytes + length > kEfsBlock) {
    find(Severity::fault, FindingCode::name_illegal, at, kEfsEntry.bytes,
         fmt::format("a name of {} bytes at byte {} of a directory block, expected 1 to {}", length,
                     offset, kEfsBlock - offset - kEfsEntry.bytes));
    return true;
  }
  const auto raw = block.subspan(offset + kEfsEntry.bytes, length);
  const std::string_view name(reinterpret_cast<const char*>(raw.data()), raw.size());
  if (name == "." || name == "..") return true;
  if (has_slash_or_nul(name)) {
    find(Severity::caution, FindingCode::name_illegal, at, kEfsEntry.bytes + length,
         "the name in a directory entry holds a '/' or NUL, expected none");
  }
  const std::uint64_t node = entry.get<"inode">();
  if (node < kEfsFirstFileInode || node >= shape_.inodes()) {
    find(Severity::fault, FindingCode::filesystem_damaged, at, kEfsEntry.bytes,
         fmt::format("a directory entry names inode {}, expected {} to {}", node,
                     kEfsFirstFileInode, shape_.inodes() - 1));
  }
  return visit({name, Charset::ascii, node, at});
}

}  // namespace platter::filesystem
