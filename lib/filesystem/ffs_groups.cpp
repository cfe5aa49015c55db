#include "filesystem/ffs_groups.h"

#include <algorithm>

namespace platter::filesystem {
namespace {

template <const Structure& S>
void read_common(const FieldReader<S>& reader, FfsGroupBlock& group) {
  group.number = reader.template get<"cgx">();
  group.length = reader.template get<"ndblk">();
  group.inodes = reader.template get<"niblk">();
  const auto summary = reader.template sub<"summary">();
  group.counts = {summary.template get<"directories">(), summary.template get<"free_blocks">(),
                  summary.template get<"free_inodes">(), summary.template get<"free_fragments">()};
  for (std::size_t i = 0; i < group.runs.size(); ++i)
    group.runs[i] = reader.template get<"frsum">(i);
}

// A map of that many bits at an offset of the block, or nothing when it does not fit.
std::span<const std::byte> map_at(const FfsGroupBlock& group, std::uint64_t offset,
                                  std::uint64_t bits) {
  const std::uint64_t bytes = divide_up(bits, 8);
  if (!fits_within(offset, bytes, group.bytes.size())) return {};
  return std::span(group.bytes)
      .subspan(static_cast<std::size_t>(offset), static_cast<std::size_t>(bytes));
}

}  // namespace

FfsGroupState read_ffs_group(const View& view, const FfsShape& shape, std::uint64_t number,
                             FfsGroupBlock& group) {
  using New = FieldReader<kFfsGroup>;
  using Old = FieldReader<kFfsOldGroup>;
  group.place = shape.byte_of(saturating_add(shape.group_start(number), shape.group_block));
  group.bytes.resize(static_cast<std::size_t>(shape.block_bytes));
  if (view.read(group.place, group.bytes) < group.bytes.size()) return FfsGroupState::absent;
  const New reader(group.bytes.data(), shape.order);
  const Old old(group.bytes.data(), shape.order);
  group.old_form = reader.get<"magic">() != kFfsGroupMagic;
  if (group.old_form && old.get<"magic">() != kFfsGroupMagic) return FfsGroupState::no_magic;
  std::uint64_t inode_map = Old::offset_of<"iused">();
  std::uint64_t fragment_map = kFfsOldGroup.bytes;
  if (group.old_form) {
    read_common(old, group);
  } else {
    read_common(reader, group);
    inode_map = reader.get<"iusedoff">();
    fragment_map = reader.get<"freeoff">();
  }
  group.written = shape.group_inodes;
  if (shape.ufs2()) {
    group.inodes = reader.get<"wide_niblk">();
    group.written = std::min(group.written, reader.get<"initediblk">());
  }
  group.inode_map = map_at(group, inode_map, shape.group_inodes);
  group.fragment_map = map_at(group, fragment_map, shape.group_length(number));
  const std::uint64_t old_room = 8ULL * kFfsOldGroup.find("iused")->bytes();
  const bool old_map_fits = !group.old_form || shape.group_inodes <= old_room;
  const bool fits = !group.inode_map.empty() && !group.fragment_map.empty() && old_map_fits;
  return fits ? FfsGroupState::sound : FfsGroupState::maps_outside;
}

std::uint64_t read_written_inodes(const View& view, const FfsShape& shape, std::uint64_t number) {
  const std::uint64_t place =
      shape.byte_of(saturating_add(shape.group_start(number), shape.group_block));
  const auto group = view.record<kFfsGroup>(place, shape.order);
  if (!group.complete() || group.get<"magic">() != kFfsGroupMagic) return shape.group_inodes;
  return std::min(shape.group_inodes, group.get<"initediblk">());
}

FfsMapRun ffs_map_run(const FfsGroupBlock& group, std::uint64_t first, std::uint64_t end) noexcept {
  const bool free = group.fragment_free(first);
  const std::byte same = free ? std::byte{0xFF} : std::byte{0};
  std::uint64_t at = first + 1;
  while (at < end) {
    if (at % 8 == 0 && end - at >= 8 &&
        group.fragment_map[static_cast<std::size_t>(at / 8)] == same) {
      at += 8;
    } else if (group.fragment_free(at) == free) {
      ++at;
    } else {
      break;
    }
  }
  return {first, at, free};
}

}  // namespace platter::filesystem
