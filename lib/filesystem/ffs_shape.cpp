#include "filesystem/ffs_shape.h"

#include <algorithm>
#include <array>

#include "core/record.h"

namespace platter::filesystem {
namespace {

constexpr std::uint64_t kSmallChunk = 512;  // DIRBLKSIZ
constexpr std::uint64_t kLargeChunk = 1024;
constexpr std::size_t kFirstEntry = 12;  // "." with its padding

// Kernels take their device's block as the chunk; only 512 and 1024 are known.
std::uint64_t chunk_of(const FieldReader<kFfsHead>& head, const FfsShape& shape) {
  if (shape.dialect == FfsDialect::dialect_v) return kLargeChunk;
  const std::uint64_t to_device = head.get<"fsbtodb">();
  const bool by_shift = to_device < 32 && shape.fragment_bytes >> to_device == kLargeChunk;
  const bool by_count = saturating_mul(head.get<"nspf">(), kLargeChunk) == shape.fragment_bytes;
  return by_shift || by_count ? kLargeChunk : kSmallChunk;
}

std::uint64_t short_link_of(const FieldReader<kFfs44>& superblock, FfsDialect dialect) {
  const std::uint64_t most = dialect == FfsDialect::ufs2 ? 120 : 60;
  switch (dialect) {
    case FfsDialect::bsd44:
    case FfsDialect::bsd44_old:
    case FfsDialect::ufs2: {
      const std::int64_t stated = superblock.sub<"tail">().get<"maxsymlinklen">();
      return stated <= 0 ? 0 : std::min(static_cast<std::uint64_t>(stated), most);
    }
    default:
      return 0;
  }
}

constexpr std::uint64_t kLargeIds = 4;  // dialect V, feature bit

}  // namespace

FfsShape::FfsShape(const FfsRecord& sizes, const FfsReading& reading) {
  const auto head = sizes.sub<"head">();
  const auto body = sizes.sub<"body">();
  const std::byte* data_bytes = sizes.all().data();
  const FfsGeometry& geometry = reading.geometry;
  order = sizes.order();
  dialect = reading.dialect;
  block_bytes = geometry.block_bytes;
  fragment_bytes = geometry.fragment_bytes;
  parts = block_bytes / fragment_bytes;
  fragments = geometry.fragments;
  groups = geometry.groups;
  group_fragments = geometry.group_fragments;
  group_inodes = geometry.group_inodes;
  copy = geometry.copy_fragment;
  group_block = geometry.group_block_fragment;
  inode_table = head.get<"iblkno">();
  data = head.get<"dblkno">();
  shift = head.get<"cgoffset">();
  shift_mask = head.get<"cgmask">();
  summary = body.get<"csaddr">();
  if (ufs2()) summary = FieldReader<kFfsWide>(data_bytes, order).get<"wide_csaddr">();
  summary_bytes = body.get<"cssize">();
  inode_bytes = ufs2() ? kUfs2InodeBytes : kFfsInodeBytes;
  inodes_per_block = block_bytes / inode_bytes;
  address_bytes = ufs2() ? 8 : 4;
  addresses_per_block = block_bytes / address_bytes;
  const FieldReader<kFfs44> bsd44(data_bytes, order);
  short_link = short_link_of(bsd44, dialect);
  chunk = chunk_of(head, *this);
  const bool new_inodes = bsd44.sub<"tail">().get<"inodefmt">() == kFfs44InodeFormat;
  wide_ids = dialect == FfsDialect::bsd44 && new_inodes;
  typed_entries = ufs2() || (dialect == FfsDialect::bsd44 && short_link > 0);
  snapshots = dialect == FfsDialect::bsd44 || ufs2();
  if (dialect == FfsDialect::dialect_v) {
    const std::uint64_t magic = sizes.get<"magic">();
    const bool has_features = magic == kFfsFeatureMagic || magic == kFfsLargeMagic;
    const auto features = FieldReader<kFfsDialectV>(data_bytes, order).get<"features">();
    narrow_ids = !has_features || (features & kLargeIds) == 0;
  }
  if (dialect == FfsDialect::svr4) {
    constexpr std::uint64_t kLogUnit = 512;
    log_place = FieldReader<kFfsSvr4Big>(data_bytes, order).get<"logbno">() * kLogUnit;
  }
  totals = reading.totals;
}

bool FfsShape::groups_hold_records() const noexcept {
  const std::uint64_t table = saturating_mul(divide_up(group_inodes, inodes_per_block), parts);
  return group_block < inode_table && saturating_add(inode_table, table) <= data &&
         data <= group_fragments;
}

std::uint64_t FfsShape::inode_place(std::uint64_t inode) const noexcept {
  const std::uint64_t group = inode / group_inodes;
  const std::uint64_t index = inode % group_inodes;
  const std::uint64_t address = saturating_add(saturating_add(group_start(group), inode_table),
                                               saturating_mul(index / inodes_per_block, parts));
  return saturating_add(byte_of(address), index % inodes_per_block * inode_bytes);
}

bool FfsShape::is_record(std::uint64_t fragment) const noexcept {
  if (group_fragments == 0) return false;
  const std::uint64_t group = fragment / group_fragments;
  const std::uint64_t start = group_start(group);
  const std::uint64_t first = group == 0 ? 0 : saturating_add(start, copy);
  return fragment >= first && fragment < saturating_add(start, data);
}

std::optional<bool> typed_by_first_entry(std::span<const std::byte> entry, ByteOrder order) {
  if (entry.size() < kFirstEntry) return std::nullopt;
  const FieldReader<kFfsEntry> typed(entry.data(), order);
  const FieldReader<kFfsOldEntry> old(entry.data(), order);
  constexpr auto kDot = std::byte{'.'};
  if (entry[kFfsEntry.bytes] != kDot || entry[kFfsEntry.bytes + 1] != std::byte{0}) {
    return std::nullopt;
  }
  if (old.get<"namlen">() == 1) return false;
  if (typed.get<"namlen">() == 1) return true;
  return std::nullopt;
}

FfsRootEntry read_root_entry(const View& view, const FfsShape& shape) {
  if (!shape.usable() || shape.inodes() <= kFfsRootInode) return FfsRootEntry::unknown;
  const std::uint64_t place = shape.inode_place(kFfsRootInode);
  std::uint64_t address = 0;
  if (shape.ufs2()) {
    address = view.record<kUfs2Inode>(place, shape.order).get<"direct">();
  } else {
    address = view.record<kFfsInode>(place, shape.order).get<"direct">();
  }
  std::array<std::byte, kFirstEntry> entry{};
  if (address == 0 || address >= shape.fragments ||
      view.read(shape.byte_of(address), entry) != entry.size()) {
    return FfsRootEntry::unknown;
  }
  const auto is_dot = [&](std::span<const std::byte> bytes, ByteOrder order) {
    const FieldReader<kFfsEntry> reader(bytes.data(), order);
    return reader.get<"inode">() == kFfsRootInode && reader.get<"reclen">() >= kFirstEntry &&
           reader.get<"reclen">() <= kLargeChunk && typed_by_first_entry(bytes, order).has_value();
  };
  if (is_dot(entry, shape.order)) {
    const bool typed = *typed_by_first_entry(entry, shape.order);
    return typed ? FfsRootEntry::typed : FfsRootEntry::old_form;
  }
  for (std::size_t i = 0; i < entry.size(); i += 4) {
    std::reverse(entry.begin() + static_cast<std::ptrdiff_t>(i),
                 entry.begin() + static_cast<std::ptrdiff_t>(i) + 4);
  }
  const ByteOrder other = shape.order == ByteOrder::big ? ByteOrder::little : ByteOrder::big;
  return is_dot(entry, other) ? FfsRootEntry::reversed : FfsRootEntry::unknown;
}

}  // namespace platter::filesystem
