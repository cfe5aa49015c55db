// Inodes of the fast file system, in 64 bits and whatever their dialect.
#pragma once

#include <array>
#include <cstdint>
#include <string>

#include "core/volume.h"
#include "filesystem/ffs_shape.h"

namespace platter::filesystem {

struct FfsTime {
  std::int64_t seconds = 0;
  std::uint32_t nanoseconds = 0;
};

/// What stands in an inode. Nothing in it was compared with anything.
struct FfsInode {
  std::uint64_t number = 0;
  std::uint64_t place = 0;  ///< bytes from the volume's start
  std::uint32_t mode = 0;
  std::uint32_t links = 0;
  std::optional<std::uint32_t> uid = {};
  std::optional<std::uint32_t> gid = {};
  std::uint64_t size = 0;
  std::uint64_t blocks = 0;  ///< space that is held, in device blocks
  std::uint64_t flags = 0;
  FfsTime modified, accessed, changed, created;
  std::array<std::uint64_t, 12> direct{};
  std::array<std::uint64_t, 3> indirect{};
  std::array<std::uint64_t, 2> extended{};  ///< blocks of extended attributes (UFS2)
  std::uint64_t extended_bytes = 0;
  std::uint64_t access_list = 0;  ///< SVR4 line: inode of the list of access rights; 0: none
  std::array<char, 120> text{};   ///< the bytes over the addresses
  std::uint64_t text_bytes = 0;   ///< how many of them there are: 60 or 120

  [[nodiscard]] NodeType type() const noexcept { return type_of_mode(mode); }
  /// Whether it is one of the SVR4 line's that have no name.
  [[nodiscard]] bool is_access_list(const FfsShape& shape) const noexcept;
  [[nodiscard]] bool is_attribute_directory(const FfsShape& shape) const noexcept;
  /// Whether it is an attribute: a file in such a directory.
  [[nodiscard]] bool is_attribute(const FfsShape& shape) const noexcept;
  /// Whether the type has addresses of blocks: files, directories and links in blocks.
  [[nodiscard]] bool has_blocks(const FfsShape& shape) const noexcept;
  /// Whether the text of a link stands in the inode.
  [[nodiscard]] bool text_inside(const FfsShape& shape) const noexcept;
  /// The device that a device inode names; nothing when its number is of no known form.
  [[nodiscard]] std::optional<DeviceNumber> device(const FfsShape& shape) const noexcept;
};

/// Reads an inode.
/// \param data shape.inode_bytes bytes
[[nodiscard]] FfsInode decode_ffs_inode(const FfsShape& shape, const std::byte* data);

}  // namespace platter::filesystem
