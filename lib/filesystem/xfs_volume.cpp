#include "filesystem/xfs_volume.h"

#include <algorithm>
#include <cstring>

#include <fmt/format.h>

#include "filesystem/link_text.h"

namespace platter::filesystem {
namespace {

using Inode = FieldReader<kXfsInode>;
using Inode3 = FieldReader<kXfsInode3>;

constexpr std::uint64_t kLongestLink = 1024;  // Linux xfs_format.h, XFS_SYMLINK_MAXLEN
constexpr std::uint64_t kSecond = 1'000'000'000;

// 14 bits of the major number, 18 of the minor.
DeviceNumber device_of(std::uint64_t number) {
  return {static_cast<std::uint32_t>(number >> 18U & 0x3FFFU),
          static_cast<std::uint32_t>(number & 0x3FFFFU)};
}

std::uint64_t core_bytes(std::uint64_t version) {
  return version == 3 ? kXfsInode.bytes + kXfsInode3.bytes : kXfsInode.bytes;
}

}  // namespace

XfsVolume::XfsVolume(const View& view, const XfsSuper& super, const XfsShape& shape,
                     std::optional<Charset> charset)
    : view_(view.sub(0, saturating_mul(shape.blocks, shape.block_bytes))),
      super_(super),
      shape_(shape),
      log_(xfs_log_state(view_, super, shape)),
      charset_(charset.value_or(Charset::ascii)),
      inodes_(view_) {
  const std::uint64_t unknown = shape_.incompatible & ~kXfsIncompatKnown;
  const auto say = [&](std::uint64_t at, std::uint64_t bytes, std::string words) {
    find(Severity::caution, FindingCode::filesystem_damaged, at, bytes, std::move(words));
  };
  if (unknown != 0) {
    say(super_.start() + kXfsSuperblock.bytes, 12,
        fmt::format("the volume uses features {:#x} that are not known here, expected none; files "
                    "are shown as if it did not",
                    unknown));
  }
  if ((shape_.incompatible & kXfsIncompatNeedsRepair) != 0) {
    say(super_.start() + kXfsSuperblock.bytes, 12,
        "the volume is marked as one that needs repair, expected no such mark");
  }
  if (log_ == XfsLogState::unclean) {
    say(super_.place_of<"log_start">(), 8,
        "the log does not end with the record of an unmount, as one of a volume that was left in "
        "order does: changes may not be in their places yet; files are shown without them");
  }
}

const std::byte* XfsVolume::inode(NodeId node) {
  const std::uint64_t at = shape_.inode_place(node);
  if (at == kLargest) return nullptr;
  const auto bytes = inodes_.at(at, static_cast<std::size_t>(shape_.inode_bytes));
  if (bytes.empty() && inodes_.failed()) {
    find(Severity::fault, FindingCode::unreadable, saturating_add(view_.start(), at),
         shape_.inode_bytes, fmt::format("inode {} could not be read", node));
  }
  return bytes.empty() ? nullptr : bytes.data();
}

std::optional<XfsVolume::Node> XfsVolume::node_of(NodeId number) {
  const std::byte* bytes = inode(number);
  if (bytes == nullptr) return std::nullopt;
  const Inode inode(bytes, ByteOrder::big);
  if (inode.get<"magic">() != kXfsInodeMagic) return std::nullopt;
  std::optional<Node> node(std::in_place);
  node->number = number;
  node->place = view_.start() + shape_.inode_place(number);
  node->type = type_of_mode(static_cast<std::uint32_t>(inode.get<"mode">()));
  node->bytes = inode.get<"bytes">();
  node->core = core_bytes(inode.get<"version">());
  node->length = shape_.inode_bytes;
  std::memcpy(node->raw.data(), bytes, static_cast<std::size_t>(shape_.inode_bytes));
  return node;
}

Attributes XfsVolume::free_attributes(NodeId node, const std::byte* bytes) {
  const Inode inode(bytes, ByteOrder::big);
  const std::uint64_t at = saturating_add(view_.start(), shape_.inode_place(node));
  if (inode.get<"magic">() != kXfsInodeMagic) {
    find(Severity::fault, FindingCode::filesystem_damaged, at, 2,
         fmt::format("inode {} has a name and begins with {:#06x}, expected {:#06x}", node,
                     inode.get<"magic">(), kXfsInodeMagic));
  } else {
    find(Severity::fault, FindingCode::filesystem_damaged, at, 4,
         fmt::format("inode {} has a name and the mode {:#o}, expected the type of a file", node,
                     inode.get<"mode">()));
  }
  return {.identity = node};
}

// Nanoseconds since 1901-12-13, the least that 32 bits of seconds hold (Linux xfs_format.h,
// XFS_BIGTIME_EPOCH_OFFSET).
Timestamp XfsVolume::late_time(std::uint64_t high, std::uint64_t low) const {
  const std::uint64_t all = (high & 0xFFFFFFFFU) << 32U | low;
  return {static_cast<std::int64_t>(all / kSecond) - (std::int64_t{1} << 31U)};
}

// Called once for every name: all fields are set in one go, because clearing them first would take
// longer than the rest.
Attributes XfsVolume::attributes(NodeId node) {
  const std::byte* bytes = inode(node);
  if (bytes == nullptr) return {};
  __builtin_prefetch(bytes + shape_.inode_bytes);  // the next name often leads to the next inode
  const Inode inode(bytes, ByteOrder::big);
  const auto mode = static_cast<std::uint32_t>(inode.get<"mode">());
  const NodeType type = type_of_mode(mode);
  if (inode.get<"magic">() != kXfsInodeMagic || type == NodeType::unknown) {
    return free_attributes(node, bytes);
  }
  const std::uint64_t version = inode.get<"version">();
  const bool is_device = type == NodeType::char_device || type == NodeType::block_device;
  const Inode3 rest(bytes + kXfsInode.bytes, ByteOrder::big);
  const bool late = version == 3 && (rest.get<"flags2">() & kXfsLateTimes) != 0;
  const auto time = [&](std::int64_t seconds, std::uint64_t nanoseconds) {
    return late ? late_time(static_cast<std::uint64_t>(seconds), nanoseconds) : Timestamp{seconds};
  };
  const std::uint64_t wide = static_cast<std::uint64_t>(inode.get<"modified">()) << 32U;
  const std::uint64_t below = inode.get<"modified_nanoseconds">();
  const std::uint64_t nanoseconds = late ? (wide | below) % kSecond : below;
  const FieldReader<kXfsDevice> device(bytes + core_bytes(version), ByteOrder::big);
  return {
      .type = type,
      .bytes = is_device ? 0 : inode.get<"bytes">(),
      .mode = mode & 07777U,
      .uid = static_cast<std::uint32_t>(inode.get<"uid">()),
      .gid = static_cast<std::uint32_t>(inode.get<"gid">()),
      .links = static_cast<std::uint32_t>(version == 1 ? inode.get<"old_links">()
                                                       : inode.get<"links">()),
      .modified = time(inode.get<"modified">(), below),
      .accessed = time(inode.get<"accessed">(), inode.get<"accessed_nanoseconds">()),
      .changed = time(inode.get<"changed">(), inode.get<"changed_nanoseconds">()),
      .created = version == 3
                     ? std::optional(time(rest.get<"created">(), rest.get<"created_nanoseconds">()))
                     : std::nullopt,
      .modified_nanoseconds = nanoseconds < kSecond ? static_cast<std::uint32_t>(nanoseconds) : 0,
      .device = is_device ? std::optional(device_of(device.get<"number">())) : std::nullopt,
      .identity = node};
}

std::string XfsVolume::link_target(NodeId number) {
  const auto node = node_of(number);
  if (!node || node->type != NodeType::symlink) return {};
  if (node->bytes > kLongestLink) {
    find(Severity::fault, FindingCode::filesystem_damaged, node->place, kXfsInode.bytes,
         fmt::format("the link in inode {} has {} bytes, expected at most {}", number, node->bytes,
                     kLongestLink));
  }
  return link_text(*this, view_, number, std::min(node->bytes, kLongestLink));
}

}  // namespace platter::filesystem
