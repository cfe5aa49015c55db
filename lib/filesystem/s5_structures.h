// On-disk structures of the filesystems that descend from the Seventh Edition: System V (S5),
// Xenix, Coherent and V7 itself. Shared by the readers and the fixture writers.
//
// Sources: Linux include/linux/sysv_fs.h; NetBSD sys/fs/v7fs/v7fs.h.
#pragma once

#include <cstdint>
#include <span>

#include "core/field_list.h"
#include "core/layout.h"

namespace platter::filesystem {

inline constexpr std::uint64_t kS5SuperblockPlace = 512;  ///< S5, Coherent, V7
inline constexpr std::uint64_t kXenixSuperblockPlace = 1024;
inline constexpr std::uint32_t kS5Magic = 0xFD187E20;
inline constexpr std::uint32_t kXenixMagic = 0x002B5544;
inline constexpr std::uint32_t kS5CleanSum = 0x7C269D38;  ///< of time and state, when clean
inline constexpr std::uint64_t kXenixClean = 0x46;
inline constexpr std::uint64_t kS5BitmapMark = 0xFFFF;  ///< in nfree: free blocks are in a bitmap
inline constexpr std::uint64_t kS5InodeListBlock = 2;
inline constexpr std::uint64_t kS5RootInode = 2;
inline constexpr std::uint32_t kS5Direct = 10;
inline constexpr std::uint32_t kS5Addresses = 13;
inline constexpr std::uint32_t kS5AddressBytes = 3;
inline constexpr std::uint32_t kS5InlineText = 39;            ///< of a short symbolic link
inline constexpr std::uint64_t kS5LargestVolume = 1U << 24U;  ///< blocks: addresses have 3 bytes
inline constexpr std::uint32_t kS5NameBytes = 14;
/// Magic and type stand at the same place in both S5 superblocks.
inline constexpr std::uint64_t kS5MagicPlace = kS5SuperblockPlace + 504;
inline constexpr std::uint64_t kXenixMagicPlace = kXenixSuperblockPlace + 1016;

inline constexpr Name kS5States[] = {
    {0x5E72D81A, "active"}, {0xCB096F43, "bad root"}, {0xBADBC14B, "bad block"}};
inline constexpr Name kS5Types[] = {{1, "512-byte blocks"},
                                    {2, "1024-byte blocks"},
                                    {3, "2048-byte blocks"},
                                    {0x10, "512-byte blocks, long names"},
                                    {0x20, "1024-byte blocks, long names"},
                                    {0x30, "2048-byte blocks, long names"}};

// The superblocks of the family have much the same fields. How many free blocks they name, how the
// fields are aligned and what follows the time of the last change tell them apart.
inline constexpr std::uint32_t kV7FreeBlocks = 50;  ///< S5 and V7
inline constexpr std::uint32_t kCoherentFreeBlocks = 64;
inline constexpr std::uint32_t kXenixFreeBlocks = 100;
inline constexpr std::uint32_t kV7FreeInodes = 100;

inline constexpr Field kV7FirstDataField =
    u16("isize", 0, "first data block", unit::logical_blocks);
inline constexpr Field kV7VolumeField = u32("fsize", 0, "whole volume", unit::logical_blocks);

/// Some free blocks; also the start of a block that carries the free list on.
consteval auto v7_free_fields(std::uint32_t numbers) {
  return FieldList{
      u16("nfree", 0, "numbers in free"),
      array_of(numbers, u32("free", 2, "some free blocks; the first leads to more")),
  };
}

inline constexpr FieldList kV7StateFields = {
    u8("flock", 0, "lock of the free list"),
    u8("ilock", 1, "lock of the inode list"),
    u8("fmod", 2, "the superblock was changed in memory"),
    u8("ronly", 3, "mounted read-only"),
    s32("time", 4, "last change", unit::unix_time),
};
inline constexpr FieldList kS5CountFields = {
    u32("tfree", 0, "free blocks", unit::logical_blocks),
    u16("tinode", 4, "free inodes"),
};
inline constexpr FieldList kV7InterleaveFields = {
    u16("interleave_m", 0, "interleave factor"),
    u16("interleave_n", 2, "interleave factor"),
};
inline constexpr FieldList kV7NameFields = {
    text("fname", 0, 6, "filesystem name"),
    text("fpack", 6, 6, "pack name"),
};
inline constexpr Field kS5DeviceField = array_of(4, u16("dinfo", 0, "device information"));

/// All up to the time of the last change, where fields are aligned to 2 bytes: 218 bytes plus 4 for
/// each free block beyond 50.
consteval auto v7_head_fields(std::uint32_t free_blocks) {
  const std::uint32_t behind = 8 + 4 * free_blocks;
  return FieldList{
      kV7FirstDataField,
      at(2, kV7VolumeField),
      at(6, v7_free_fields(free_blocks)),
      u16("ninode", behind, "numbers in inode"),
      array_of(kV7FreeInodes, u16("inode", behind + 2, "some free inodes")),
      at(behind + 2 + 2 * kV7FreeInodes, kV7StateFields),
  };
}

inline constexpr FieldList kS5TailFields = {
    u32("state", 0, "clean: this plus time is 0x7C269D38", unit::none, kS5States),
    u32("magic", 4, "0xFD187E20"),
    u32("type", 8, "block size", unit::none, kS5Types),
};

inline constexpr FieldList kS5SuperblockFields = {
    kV7FirstDataField,
    reserved(2, 2),
    at(4, kV7VolumeField),
    u16("nfree", 8, "numbers in free, or 0xFFFF: free blocks are in a bitmap"),
    reserved(10, 2),
    array_of(kV7FreeBlocks, u32("free", 12, "some free blocks; the first leads to more")),
    u16("ninode", 212, "numbers in inode"),
    reserved(214, 2),
    array_of(kV7FreeInodes, u16("inode", 216, "some free inodes")),
    at(416, kV7StateFields),
    at(424, kS5DeviceField),
    at(432, kS5CountFields),
    reserved(438, 2),
    at(440, kV7NameFields),
    reserved(452, 48),
    at(500, kS5TailFields),
};
/// Fields aligned to 4 bytes, from release 3 on.
inline constexpr Structure kS5Superblock =
    structure("S5 superblock", "sysv_fs.h, struct sysv4_super_block", 512, kS5SuperblockFields);

inline constexpr FieldList kS5OldSuperblockFields = {
    v7_head_fields(kV7FreeBlocks), at(418, kS5DeviceField), at(426, kS5CountFields),
    at(432, kV7NameFields),        reserved(444, 56),       at(500, kS5TailFields),
};
/// Fields aligned to 2 bytes, of release 2.
inline constexpr Structure kS5OldSuperblock = structure(
    "S5 superblock, release 2", "sysv_fs.h, struct sysv2_super_block", 512, kS5OldSuperblockFields);

inline constexpr FieldList kXenixSuperblockFields = {
    v7_head_fields(kXenixFreeBlocks),
    at(618, kS5CountFields),
    at(624, kS5DeviceField),
    at(632, kV7NameFields),
    u8("clean", 644, "0x46 when clean"),
    reserved(645, 371),
    u32("magic", 1016, "0x002B5544"),
    u32("type", 1020, "block size", unit::none, kS5Types),
};
inline constexpr Structure kXenixSuperblock = structure(
    "Xenix superblock", "sysv_fs.h, struct xenix_super_block", 1024, kXenixSuperblockFields);

inline constexpr FieldList kCoherentSuperblockFields = {
    v7_head_fields(kCoherentFreeBlocks), at(474, kS5CountFields),
    at(480, kV7InterleaveFields),        at(484, kV7NameFields),
    u32("unique", 496, "unused"),
};
inline constexpr Structure kCoherentSuperblock = structure(
    "Coherent superblock", "sysv_fs.h, struct coh_super_block", 500, kCoherentSuperblockFields);

inline constexpr FieldList kV7SuperblockFields = {
    v7_head_fields(kV7FreeBlocks),
    u32("tfree", 418, "free blocks; not kept by V7 itself", unit::logical_blocks),
    u16("tinode", 422, "free inodes; not kept by V7 itself"),
    at(424, kV7InterleaveFields),
    at(428, kV7NameFields),
};
inline constexpr Structure kV7Superblock =
    structure("V7 superblock", "sysv_fs.h, struct v7_super_block", 440, kV7SuperblockFields);

// The start of a block that carries the free list on.
inline constexpr Field kS5ChainFields[] = {
    u16("nfree", 0, "numbers in free"),
    reserved(2, 2),
    array_of(kV7FreeBlocks, u32("free", 4, "some free blocks; the first leads to more")),
};
inline constexpr Structure kS5Chain =
    structure("S5 free list block", "sysv_fs.h, struct sysv4_super_block", 204, kS5ChainFields);
inline constexpr FieldList kV7ChainFields = v7_free_fields(kV7FreeBlocks);
inline constexpr Structure kV7Chain =
    structure("free list block", "v7fs.h, struct v7fs_freeblock", 202, kV7ChainFields);
inline constexpr FieldList kCoherentChainFields = v7_free_fields(kCoherentFreeBlocks);
inline constexpr Structure kCoherentChain =
    structure("free list block", "sysv_fs.h, struct coh_super_block", 258, kCoherentChainFields);
inline constexpr FieldList kXenixChainFields = v7_free_fields(kXenixFreeBlocks);
inline constexpr Structure kXenixChain =
    structure("free list block", "sysv_fs.h, struct xenix_super_block", 402, kXenixChainFields);

inline constexpr Field kS5InodeFields[] = {
    u16("mode", 0, "type and permissions; 0: free"),
    u16("nlink", 2, "names"),
    u16("uid", 4, "owner"),
    u16("gid", 6, "group"),
    u32("size", 8, "size", unit::bytes),
    bytes("address", 12, kS5InlineText, "13 block addresses of 3 bytes; short links: their text"),
    u8("generation", 51, "counted up when the inode is used again"),
    s32("atime", 52, "last access", unit::unix_time),
    s32("mtime", 56, "last change of the content", unit::unix_time),
    s32("ctime", 60, "last change of the inode", unit::unix_time),
};
inline constexpr Structure kS5Inode =
    structure("S5 inode", "sysv_fs.h, struct sysv_inode", 64, kS5InodeFields);

inline constexpr Field kS5EntryFields[] = {
    u16("inode", 0, "inode; 0: unused"),
    text("name", 2, kS5NameBytes, "name, padded with NUL"),
};
inline constexpr Structure kS5Entry =
    structure("directory entry", "sysv_fs.h, struct sysv_dir_entry", 16, kS5EntryFields);

/// A 3-byte block address (Linux fs/sysv/inode.c). In the PDP-11 order the high byte comes first.
[[nodiscard]] constexpr std::uint32_t s5_address(std::span<const std::byte> at,
                                                 ByteOrder order) noexcept {
  const auto byte = [&](std::size_t i) { return std::to_integer<std::uint32_t>(at[i]); };
  switch (order) {
    case ByteOrder::little:
      return byte(0) | byte(1) << 8U | byte(2) << 16U;
    case ByteOrder::pdp:
      return byte(0) << 16U | byte(1) | byte(2) << 8U;
    default:
      return byte(0) << 16U | byte(1) << 8U | byte(2);
  }
}
/// The inverse of s5_address.
constexpr void put_s5_address(std::span<std::byte> at, std::uint32_t value,
                              ByteOrder order) noexcept {
  const auto low = static_cast<std::byte>(value & 0xFFU);
  const auto middle = static_cast<std::byte>(value >> 8U & 0xFFU);
  const auto high = static_cast<std::byte>(value >> 16U & 0xFFU);
  switch (order) {
    case ByteOrder::little:
      at[0] = low, at[1] = middle, at[2] = high;
      break;
    case ByteOrder::pdp:
      at[0] = high, at[1] = low, at[2] = middle;
      break;
    default:
      at[0] = high, at[1] = middle, at[2] = low;
      break;
  }
}

}  // namespace platter::filesystem
