#include "filesystem/ffs_inode.h"

#include <cstring>

#include "core/record.h"

namespace platter::filesystem {
namespace {

constexpr std::uint64_t kSeeWideId = 65535;
constexpr std::uint32_t kMicrosecond = 1000;
constexpr std::uint32_t kTypeBits = 0170000;

std::uint32_t low32(std::uint64_t value) {
  return static_cast<std::uint32_t>(value);
}

// Parts of a second that are more than one are the spare words of older dialects.
FfsTime time_of(std::int64_t seconds, std::uint64_t parts, std::uint64_t unit) {
  const std::uint64_t nanoseconds = saturating_mul(parts, unit);
  return {seconds, nanoseconds < 1'000'000'000 ? low32(nanoseconds) : 0};
}

// What a unit of the words behind the seconds is worth in nanoseconds.
std::uint64_t parts_unit(FfsDialect dialect) {
  switch (dialect) {
    case FfsDialect::bsd44:
    case FfsDialect::bsd44_old:
      return 1;
    case FfsDialect::svr4:
      return kMicrosecond;
    default:
      return 0;
  }
}

void read_ids(const FfsShape& shape, const FieldReader<kFfsInode>& reader, FfsInode& inode) {
  if (shape.wide_ids) {
    inode.uid = low32(reader.get<"wide_ids">(0));
    inode.gid = low32(reader.get<"wide_ids">(1));
    return;
  }
  if (!shape.narrow_ids) return;
  const auto pick = [&](std::uint64_t narrow, std::uint64_t wide) {
    // Small numbers never stand in the wide field: SunOS 4 has 65535 and nothing there.
    const bool see_wide =
        shape.dialect == FfsDialect::svr4 && narrow == kSeeWideId && wide > kSeeWideId;
    return low32(see_wide ? wide : narrow);
  };
  inode.uid = pick(reader.get<"uid">(), reader.get<"wide_ids">(1));
  inode.gid = pick(reader.get<"gid">(), reader.get<"wide_ids">(2));
}

template <typename Reader>
void read_addresses(const Reader& reader, FfsInode& inode) {
  for (std::size_t i = 0; i < inode.direct.size(); ++i)
    inode.direct[i] = reader.template get<"direct">(i);
  for (std::size_t i = 0; i < inode.indirect.size(); ++i)
    inode.indirect[i] = reader.template get<"indirect">(i);
  const auto direct = reader.template raw<"direct">();
  const auto indirect = reader.template raw<"indirect">();
  std::memcpy(inode.text.data(), direct.data(), direct.size());
  std::memcpy(inode.text.data() + direct.size(), indirect.data(), indirect.size());
  inode.text_bytes = direct.size() + indirect.size();
}

FfsInode decode_ufs1(const FfsShape& shape, const std::byte* data) {
  const FieldReader<kFfsInode> reader(data, shape.order);
  FfsInode inode;
  inode.mode = low32(reader.get<"mode">());
  inode.links = static_cast<std::uint16_t>(reader.get<"nlink">());
  read_ids(shape, reader, inode);
  inode.size = reader.get<"size">();
  inode.blocks = reader.get<"blocks">();
  inode.flags = reader.get<"flags">();
  if (shape.dialect == FfsDialect::svr4) inode.access_list = reader.get<"wide_ids">(0);
  const std::uint64_t unit = parts_unit(shape.dialect);
  inode.accessed = time_of(reader.get<"atime">(), reader.get<"atime_parts">(), unit);
  inode.modified = time_of(reader.get<"mtime">(), reader.get<"mtime_parts">(), unit);
  inode.changed = time_of(reader.get<"ctime">(), reader.get<"ctime_parts">(), unit);
  read_addresses(reader, inode);
  return inode;
}

FfsInode decode_ufs2(const FfsShape& shape, const std::byte* data) {
  const FieldReader<kUfs2Inode> reader(data, shape.order);
  FfsInode inode;
  inode.mode = low32(reader.get<"mode">());
  inode.links = static_cast<std::uint16_t>(reader.get<"nlink">());
  inode.uid = low32(reader.get<"uid">());
  inode.gid = low32(reader.get<"gid">());
  inode.size = reader.get<"size">();
  inode.blocks = reader.get<"blocks">();
  inode.flags = reader.get<"flags">();
  inode.accessed = time_of(reader.get<"atime">(), reader.get<"atime_parts">(), 1);
  inode.modified = time_of(reader.get<"mtime">(), reader.get<"mtime_parts">(), 1);
  inode.changed = time_of(reader.get<"ctime">(), reader.get<"ctime_parts">(), 1);
  inode.created = time_of(reader.get<"birthtime">(), reader.get<"birthtime_parts">(), 1);
  inode.extended_bytes = reader.get<"extsize">();
  for (std::size_t i = 0; i < inode.extended.size(); ++i)
    inode.extended[i] = reader.get<"extended">(i);
  read_addresses(reader, inode);
  return inode;
}

// 16 bits, also when their sign was widened.
bool is_old_device(std::uint64_t number) {
  return number >> 16U == 0 || number >> 16U == 0xFFFF;
}
DeviceNumber old_device(std::uint64_t number) {
  return {low32(number >> 8U & 0xFFU), low32(number & 0xFFU)};
}

}  // namespace

bool FfsInode::is_access_list(const FfsShape& shape) const noexcept {
  return shape.dialect == FfsDialect::svr4 && (mode & kTypeBits) == kFfsAccessListType;
}

bool FfsInode::is_attribute_directory(const FfsShape& shape) const noexcept {
  return shape.dialect == FfsDialect::svr4 && (mode & kTypeBits) == kFfsAttributeDirectoryType;
}

bool FfsInode::is_attribute(const FfsShape& shape) const noexcept {
  return shape.dialect == FfsDialect::svr4 && type() == NodeType::file &&
         (flags & kFfsAttributeFlag) != 0;
}

bool FfsInode::text_inside(const FfsShape& shape) const noexcept {
  if (type() != NodeType::symlink || size > text_bytes) return false;
  if (blocks == 0 || size < shape.short_link) return true;
  const bool has_flag =
      shape.dialect == FfsDialect::classic || shape.dialect == FfsDialect::dialect_v;
  return has_flag && (flags & kFfsFastLinkFlag) != 0;
}

bool FfsInode::has_blocks(const FfsShape& shape) const noexcept {
  switch (type()) {
    case NodeType::file:
    case NodeType::directory:
      return true;
    case NodeType::symlink:
      return !text_inside(shape);
    default:
      return false;
  }
}

std::optional<DeviceNumber> FfsInode::device(const FfsShape& shape) const noexcept {
  if (type() != NodeType::char_device && type() != NodeType::block_device) return std::nullopt;
  switch (shape.dialect) {
    case FfsDialect::svr4: {
      // Little-endian systems of the SVR4 line keep the number in the second word, others that look
      // alike in the first; the rest of a device's words is 0.
      const bool second = shape.order == ByteOrder::little && direct[1] != 0;
      const std::uint64_t stored = direct[second ? 1 : 0];
      if (is_old_device(stored)) return old_device(stored);
      return DeviceNumber{low32(stored >> 18U), low32(stored & 0x3FFFFU)};
    }
    case FfsDialect::dialect_v:
      return DeviceNumber{low32(direct[0] >> 24U), low32(direct[0] & 0xFFFFFFU)};
    case FfsDialect::classic:
      if (!is_old_device(direct[0])) return std::nullopt;
      return old_device(direct[0]);
    case FfsDialect::bsd44:
    case FfsDialect::bsd44_old:
    case FfsDialect::ufs2:
      if (direct[0] >> 32U != 0) return std::nullopt;
      // 12 bits of major number amid 20 bits of minor number.
      return DeviceNumber{low32(direct[0] >> 8U & 0xFFFU),
                          low32((direct[0] >> 12U & 0xFFF00U) | (direct[0] & 0xFFU))};
  }
  return std::nullopt;
}

FfsInode decode_ffs_inode(const FfsShape& shape, const std::byte* data) {
  return shape.ufs2() ? decode_ufs2(shape, data) : decode_ufs1(shape, data);
}

}  // namespace platter::filesystem
