#include "filesystem/ext2_volume.h"

#include <algorithm>
#include <cstring>

#include <fmt/format.h>

#include "filesystem/link_text.h"

namespace platter::filesystem {
namespace {

using Inode = FieldReader<kExt2Inode>;
using Extra = FieldReader<kExt2InodeExtra>;
using Descriptor = FieldReader<kExt2Group>;
using UpperDescriptor = FieldReader<kExt2GroupUpper>;

constexpr std::uint64_t kMasix = 2;
constexpr std::uint64_t kShortLink = 60;  // bytes of the pointers
constexpr std::uint64_t kOldInode = 128;

// Seconds of an inode: 32 bits with a sign, and two bits more in later kernels' inodes.
std::int64_t seconds_of(std::int64_t low, std::uint64_t extra) {
  return low + static_cast<std::int64_t>((extra & 3U) << 32U);
}

// Device numbers of the old form have 8 bits each, those of the new form 12 and 20.
DeviceNumber device_of(const Inode& inode) {
  const auto first = static_cast<std::uint32_t>(inode.get<"block">(0));
  if (first != 0) return {first >> 8U & 0xFFU, first & 0xFFU};
  const auto second = static_cast<std::uint32_t>(inode.get<"block">(1));
  return {second >> 8U & 0xFFFU, (second & 0xFFU) | (second >> 12U & 0xFFF00U)};
}

}  // namespace

Ext2Volume::Ext2Volume(const View& view, const Ext2Super& super, const Ext2Numbers& numbers,
                       std::optional<Charset> charset)
    : view_(view.sub(0, saturating_mul(numbers.blocks, numbers.block_bytes))),
      super_(super),
      numbers_(numbers),
      layout_(super, numbers),
      order_(super.order()),
      charset_(charset.value_or(Charset::ascii)),
      upper_ids_(super.get<"creator_os">() != kMasix),
      descriptors_(view_),
      inodes_(view_) {
  const std::uint64_t unknown = numbers_.incompatible & ~kExt2IncompatKnown;
  if (unknown != 0) {
    find(Severity::caution, FindingCode::filesystem_damaged, super_.place_of<"feature_incompat">(),
         4,
         fmt::format("the volume uses features {:#x} that are not known here, expected none; files "
                     "are shown as if it did not",
                     unknown));
  }
  if ((numbers_.incompatible & kExt2IncompatRecovery) != 0) {
    find(Severity::caution, FindingCode::filesystem_damaged, super_.place_of<"feature_incompat">(),
         4,
         "the journal holds changes that are not in their places yet; files are shown without "
         "them");
  }
}

std::optional<Ext2Group> Ext2Volume::group(std::uint64_t index) {
  const std::uint64_t at = layout_.descriptor_place(index);
  const auto bytes = descriptors_.at(at, static_cast<std::size_t>(numbers_.descriptor_bytes));
  if (bytes.empty()) return std::nullopt;
  const Descriptor low(bytes.data(), order_);
  Ext2Group group;
  group.place = saturating_add(view_.start(), at);
  group.block_bitmap = low.get<"block_bitmap">();
  group.inode_bitmap = low.get<"inode_bitmap">();
  group.inode_table = low.get<"inode_table">();
  group.free_blocks = low.get<"free_blocks">();
  group.free_inodes = low.get<"free_inodes">();
  group.directories = low.get<"used_dirs">();
  if ((numbers_.read_only & (kExt2ReadOnlyDescriptorSums | kExt2ReadOnlySums)) != 0) {
    group.unused_inodes = low.get<"itable_unused">();
    group.no_inode_bitmap = (low.get<"flags">() & kExt2GroupNoInodeBitmap) != 0;
    group.no_block_bitmap = (low.get<"flags">() & kExt2GroupNoBlockBitmap) != 0;
  }
  if (bytes.size() >= kExt2Group.bytes + kExt2GroupUpper.bytes) {
    const UpperDescriptor high(bytes.data() + kExt2Group.bytes, order_);
    group.block_bitmap |= high.get<"block_bitmap_hi">() << 32U;
    group.inode_bitmap |= high.get<"inode_bitmap_hi">() << 32U;
    group.inode_table |= high.get<"inode_table_hi">() << 32U;
    group.free_blocks |= high.get<"free_blocks_hi">() << 16U;
    group.free_inodes |= high.get<"free_inodes_hi">() << 16U;
    group.directories |= high.get<"used_dirs_hi">() << 16U;
    group.unused_inodes |= high.get<"itable_unused_hi">() << 16U;
  }
  return group;
}

std::uint64_t Ext2Volume::inode_offset(NodeId node) {
  if (node - known_first_ >= known_count_ && !find_table(node)) return kLargest;
  return known_table_ + (node - known_first_) * numbers_.inode_bytes;
}

// Makes the table that a node's inode is in the known one.
bool Ext2Volume::find_table(NodeId node) {
  if (node == 0 || node > numbers_.inodes) return false;
  const std::uint64_t index = (node - 1) / numbers_.group_inodes;
  if (index >= numbers_.groups) return false;
  const auto found = group(index);
  if (!found) return false;
  if (found->inode_table <= numbers_.first_block || found->inode_table >= numbers_.blocks) {
    find(Severity::fault, FindingCode::filesystem_damaged, found->place, kExt2Group.bytes,
         fmt::format("group {} has its inodes at block {}, expected one from {} to {}", index,
                     found->inode_table, numbers_.first_block + 1, numbers_.blocks - 1));
    return false;
  }
  const std::uint64_t table = saturating_mul(found->inode_table, numbers_.block_bytes);
  if (table >= view_.bytes()) return false;
  known_table_ = table;
  known_first_ = index * numbers_.group_inodes + 1;
  known_count_ = std::min(numbers_.group_inodes, numbers_.inodes - known_first_ + 1);
  return true;
}

const std::byte* Ext2Volume::inode(NodeId node) {
  const std::uint64_t at = inode_offset(node);
  const auto bytes = inodes_.at(at, static_cast<std::size_t>(numbers_.inode_bytes));
  if (bytes.empty() && inodes_.failed()) {
    find(Severity::fault, FindingCode::unreadable, saturating_add(view_.start(), at),
         numbers_.inode_bytes, fmt::format("inode {} could not be read", node));
  }
  return bytes.empty() ? nullptr : bytes.data();
}

std::uint64_t Ext2Volume::size_of(NodeType type, std::uint64_t low, std::uint64_t high) const {
  constexpr std::uint64_t kLargeDirectories = 0x4000;
  // In directories the upper half was once the place of an access list.
  const bool large = type == NodeType::file || (type == NodeType::directory &&
                                                (numbers_.incompatible & kLargeDirectories) != 0);
  return large ? high << 32U | low : low;
}

std::optional<Ext2Volume::Node> Ext2Volume::node_of(NodeId node) {
  const std::byte* bytes = inode(node);
  if (bytes == nullptr) return std::nullopt;
  Node found{node, inode_offset(node), Record<kExt2Inode>(order_), NodeType::unknown, 0, 0};
  std::memcpy(found.record.storage().data(), bytes, kExt2Inode.bytes);
  found.type = type_of_mode(static_cast<std::uint32_t>(found.record.get<"mode">()));
  found.bytes = size_of(found.type, found.record.get<"size">(), found.record.get<"size_high">());
  found.flags = found.record.get<"flags">();
  return found;
}

// How many of the fields behind the first 128 bytes are in use.
std::uint64_t Ext2Volume::extra_bytes(const std::byte* bytes) const {
  if (numbers_.inode_bytes < kOldInode + kExt2InodeExtra.bytes) return 0;
  const Extra extra(bytes + kOldInode, order_);
  return std::min<std::uint64_t>(extra.get<"extra_isize">(), numbers_.inode_bytes - kOldInode);
}

Attributes Ext2Volume::free_attributes(NodeId node, std::uint32_t mode) {
  find(Severity::fault, FindingCode::filesystem_damaged,
       saturating_add(view_.start(), inode_offset(node)), 2,
       fmt::format("inode {} has a name and the mode {:#o}, expected the type of a file", node,
                   mode));
  return {.identity = node};
}

// Called once for every name: all fields are set in one go, because clearing them first would take
// longer than the rest.
Attributes Ext2Volume::attributes(NodeId node) {
  const std::byte* bytes = inode(node);
  if (bytes == nullptr) return {};
  __builtin_prefetch(bytes + numbers_.inode_bytes);  // the next name often leads to the next inode
  const Inode inode(bytes, order_);
  const auto mode = static_cast<std::uint32_t>(inode.get<"mode">());
  const NodeType type = type_of_mode(mode);
  if (type == NodeType::unknown) return free_attributes(node, mode);
  const bool is_device = type == NodeType::char_device || type == NodeType::block_device;
  const auto joined = [&](std::uint64_t high, std::uint64_t low) {
    return static_cast<std::uint32_t>(upper_ids_ ? high << 16U | low : low);
  };
  const std::uint64_t used = extra_bytes(bytes);
  const Extra extra(bytes + kOldInode, order_);
  const auto has = [used](std::uint64_t field_offset) { return field_offset + 4 <= used; };
  const std::uint64_t modified =
      has(Extra::offset_of<"mtime_extra">()) ? extra.get<"mtime_extra">() : 0;
  const std::uint64_t changed =
      has(Extra::offset_of<"ctime_extra">()) ? extra.get<"ctime_extra">() : 0;
  const std::uint64_t accessed =
      has(Extra::offset_of<"atime_extra">()) ? extra.get<"atime_extra">() : 0;
  const std::int64_t created = has(Extra::offset_of<"crtime_extra">())
                                   ? seconds_of(extra.get<"crtime">(), extra.get<"crtime_extra">())
                                   : 0;
  constexpr std::uint64_t kSecond = 1'000'000'000;
  const std::uint64_t nanoseconds = modified >> 2U;
  return {
      .type = type,
      .bytes = is_device ? 0 : size_of(type, inode.get<"size">(), inode.get<"size_high">()),
      .mode = mode & 07777U,
      .uid = joined(inode.get<"uid_high">(), inode.get<"uid">()),
      .gid = joined(inode.get<"gid_high">(), inode.get<"gid">()),
      .links = static_cast<std::uint32_t>(inode.get<"links">()),
      .modified = Timestamp{seconds_of(inode.get<"mtime">(), modified)},
      .accessed = Timestamp{seconds_of(inode.get<"atime">(), accessed)},
      .changed = Timestamp{seconds_of(inode.get<"ctime">(), changed)},
      .created = created != 0 ? std::optional(Timestamp{created}) : std::nullopt,
      .modified_nanoseconds = nanoseconds < kSecond ? static_cast<std::uint32_t>(nanoseconds) : 0,
      .device = is_device ? std::optional(device_of(inode)) : std::nullopt,
      .identity = node};
}

bool Ext2Volume::is_short_link(const Node& node) const {
  if (node.type != NodeType::symlink || node.bytes >= kShortLink) return false;
  if ((node.flags & (kExt2InodeExtents | kExt2InodeInline)) != 0) return false;
  // Values of attributes that have inodes of their own count as space of the link (Linux fs/ext4).
  if ((numbers_.incompatible & kExt2IncompatValueInodes) != 0) return true;
  // The only block such a link may have is the one of its extended attributes.
  const std::uint64_t attributes = node.record.get<"file_acl">() == 0 ? 0 : unit_bytes() / 512;
  return node.record.get<"blocks">() <= attributes;
}

std::string Ext2Volume::link_target(NodeId node) {
  const auto found = node_of(node);
  if (!found || found->type != NodeType::symlink) return {};
  if (found->bytes > numbers_.block_bytes) {
    find(Severity::fault, FindingCode::filesystem_damaged,
         saturating_add(view_.start(), found->place), kExt2Inode.bytes,
         fmt::format("the link in inode {} has {} bytes, expected at most {}", node, found->bytes,
                     numbers_.block_bytes));
  }
  return link_text(*this, view_, node, std::min(found->bytes, numbers_.block_bytes));
}

}  // namespace platter::filesystem
