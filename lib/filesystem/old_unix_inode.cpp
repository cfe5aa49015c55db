// Inodes of the Seventh Edition's line and of V6, brought to one form.
#include <algorithm>

#include "filesystem/old_unix_volume.h"
#include "filesystem/s5_structures.h"
#include "filesystem/v6_structures.h"

namespace platter::filesystem {
namespace {

// Multiplexed channels of V7 were devices of a kind of their own (NetBSD v7fs.h).
constexpr std::uint64_t kMultiplexedChar = 0030000;
constexpr std::uint64_t kMultiplexedBlock = 0070000;

NodeType s5_type(std::uint64_t mode) {
  switch (mode & 0170000U) {
    case kMultiplexedChar:
      return NodeType::char_device;
    case kMultiplexedBlock:
      return NodeType::block_device;
    default:
      return type_of_mode(static_cast<std::uint32_t>(mode));
  }
}

std::uint32_t low32(std::uint64_t value) {
  return static_cast<std::uint32_t>(value);
}

std::optional<DeviceNumber> device_of(NodeType type, std::uint32_t number) {
  if (type != NodeType::char_device && type != NodeType::block_device) return std::nullopt;
  return DeviceNumber{number >> 8U & 0xFFU, number & 0xFFU};
}

// A short link's text stands where the addresses would be. A link with a block has one sound
// address and zeros behind it; text that looks like that would have to be three bytes long at most.
bool holds_text(const OldInode& inode, std::span<const std::byte> addresses,
                const OldUnixShape& shape) {
  if (inode.type != NodeType::symlink || inode.bytes == 0 || inode.bytes > kS5InlineText) {
    return false;
  }
  if (shape.is_data(inode.addresses[0].block)) {
    const auto rest = addresses.subspan(kS5AddressBytes);
    if (std::ranges::all_of(rest, [](std::byte b) { return b == std::byte{0}; })) return false;
  }
  const auto text = addresses.first(static_cast<std::size_t>(inode.bytes));
  return std::ranges::none_of(text, [](std::byte b) { return b == std::byte{0}; });
}

OldInode read_s5(std::span<const std::byte> bytes, const OldUnixShape& shape, std::uint64_t place) {
  const FieldReader<kS5Inode> reader(bytes.data(), shape.order);
  OldInode inode;
  const std::uint64_t mode = reader.get<"mode">();
  inode.type = s5_type(mode);
  inode.permissions = low32(mode & 07777U);
  inode.links = low32(reader.get<"nlink">());
  inode.uid = low32(reader.get<"uid">());
  inode.gid = low32(reader.get<"gid">());
  inode.bytes = reader.get<"size">();
  inode.accessed = reader.get<"atime">();
  inode.modified = reader.get<"mtime">();
  inode.changed = reader.get<"ctime">();
  const auto addresses = reader.raw<"address">();
  for (std::uint32_t i = 0; i < kS5Addresses; ++i) {
    inode.addresses[i].block = s5_address(
        addresses.subspan(std::size_t{i} * kS5AddressBytes, kS5AddressBytes), shape.order);
    inode.addresses[i].level = i < kS5Direct ? 0 : i - kS5Direct + 1;
  }
  inode.address_count = kS5Addresses;
  inode.device = device_of(inode.type, inode.addresses[0].block);
  inode.inline_text = holds_text(inode, addresses, shape);
  inode.inline_place = place + FieldReader<kS5Inode>::offset_of<"address">();
  return inode;
}

NodeType v6_type(std::uint64_t mode) {
  if ((mode & kV6Allocated) == 0) return NodeType::unknown;
  switch (mode & kV6TypeMask) {
    case kV6Directory:
      return NodeType::directory;
    case kV6CharDevice:
      return NodeType::char_device;
    case kV6BlockDevice:
      return NodeType::block_device;
    default:
      return NodeType::file;
  }
}

OldInode read_v6(std::span<const std::byte> bytes, const OldUnixShape& shape) {
  const FieldReader<kV6Inode> reader(bytes.data(), shape.order);
  OldInode inode;
  const std::uint64_t mode = reader.get<"mode">();
  inode.type = v6_type(mode);
  inode.permissions = low32(mode & kV6Permissions);
  inode.links = low32(reader.get<"nlink">());
  inode.uid = low32(reader.get<"uid">());
  inode.gid = low32(reader.get<"gid">());
  inode.bytes = reader.get<"size_high">() << 16U | reader.get<"size_low">();
  inode.accessed = reader.get<"atime">();
  inode.modified = reader.get<"mtime">();
  const bool large = (mode & kV6Large) != 0;
  for (std::uint32_t i = 0; i < kV6Addresses; ++i) {
    const unsigned level = !large ? 0 : i + 1 < kV6Addresses ? 1 : 2;
    inode.addresses[i] = {low32(reader.get<"address">(i)), level};
  }
  inode.address_count = kV6Addresses;
  inode.device = device_of(inode.type, inode.addresses[0].block);
  return inode;
}

}  // namespace

OldInode read_old_inode(std::span<const std::byte> bytes, const OldUnixShape& shape,
                        std::uint64_t place) {
  return shape.inode == &kV6Inode ? read_v6(bytes, shape) : read_s5(bytes, shape, place);
}

}  // namespace platter::filesystem
