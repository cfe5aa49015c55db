// What the SVR4 line keeps on a volume without a name: lists of access rights, which files with
// equal rights share; directories of extended attributes with what is in them; and the log.
#include <algorithm>

#include <fmt/format.h>

#include "core/record.h"
#include "filesystem/ffs_volume.h"

namespace platter::filesystem {
namespace {

constexpr std::uint64_t kLogUnit = 512;
constexpr std::size_t kMostRuns = 1'000'000;
constexpr std::uint64_t kPiece = 65536;

// The checksum of a log's allocation block: its words, without the sum itself.
std::uint64_t sum_of(std::span<const std::byte> block, ByteOrder order) {
  std::uint64_t sum = 0;
  for (std::size_t at = 0; at + 4 <= block.size(); at += 4)
    sum += decode_unsigned(block.subspan(at, 4), order);
  return (sum - FieldReader<kFfsLog>(block.data(), order).get<"checksum">()) & 0xFFFFFFFFU;
}

}  // namespace

const FfsVolume::Nameless& FfsVolume::nameless() {
  if (nameless_) return *nameless_;
  Nameless found;
  if (shape_.dialect == FfsDialect::svr4 && shape_.usable() && shape_.groups_hold_records()) {
    for (std::uint64_t number = 0; number < shape_.groups; ++number) {
      if (shape_.group_base(number) >= shape_.fragments ||
          shape_.byte_of(shape_.group_base(number)) >= view_.bytes()) {
        break;
      }
      add_nameless(number, found);
    }
  }
  // Without their directories the flag may mean something else.
  if (found.attribute_directories) {
    found.runs.insert(found.runs.end(), found.attributes.begin(), found.attributes.end());
  }
  nameless_ = std::move(found);
  return *nameless_;
}

void FfsVolume::add_nameless(std::uint64_t group_number, Nameless& found) {
  FfsGroupBlock group;
  if (read_ffs_group(view_, shape_, group_number, group) != FfsGroupState::sound) return;
  const std::uint64_t base = group_number * shape_.group_inodes;
  const std::uint64_t place = shape_.inode_place(base);
  const std::uint64_t bytes = shape_.group_inodes * shape_.inode_bytes;
  std::vector<std::byte> buffer;
  for (std::uint64_t done = 0; done < bytes; done += kPiece) {
    buffer.resize(static_cast<std::size_t>(std::min(bytes - done, kPiece)));
    const std::uint64_t there = view_.read(place + done, buffer);
    for (std::uint64_t at = 0; at + shape_.inode_bytes <= there; at += shape_.inode_bytes) {
      const std::uint64_t index = (done + at) / shape_.inode_bytes;
      if (base + index < kFfsRootInode || !group.inode_used(index)) continue;
      FfsInode inode = decode_ffs_inode(shape_, buffer.data() + at);
      inode.number = base + index;
      inode.place = place + done + at;
      add_nameless(inode, found);
    }
    if (there < buffer.size()) return;
  }
}

void FfsVolume::add_nameless(const FfsInode& inode, Nameless& found) {
  if (inode.is_access_list(shape_)) {
    if (found.lists.size() < kMostRuns) found.lists.push_back({inode.number, inode.links, 0});
    return add_blocks(inode, found, found.runs);
  }
  if (inode.access_list != 0 && inode.mode != 0) {
    found.lists_named.add(inode.access_list, inode.number);
  }
  if (inode.is_attribute_directory(shape_)) {
    found.attribute_directories = true;
    add_blocks(inode, found, found.runs);
  } else if (inode.is_attribute(shape_)) {
    add_blocks(inode, found, found.attributes);
  }
}

void FfsVolume::add_blocks(const FfsInode& inode, Nameless& found, std::vector<BlockRun>& runs) {
  const auto add = [&](const Extent& extent) {
    if (++found.steps > kMostRuns) return false;
    if (extent.absent) return true;
    const std::uint64_t held = divide_up(extent.bytes, shape_.fragment_bytes);
    runs.push_back({extent.start, held * shape_.fragment_bytes, BlockUse::metadata});
    return true;
  };
  walk_blocks(inode, false, add);
  walk_blocks(inode, true, add);
}

// --- lists of access rights ----------------------------------------------------------------------

void FfsVolume::check_access_lists() {
  nameless();
  const std::vector<SharedNumber>& named = nameless_->lists_named.all();
  const auto at = [&](std::uint64_t inode) { return view_.start() + shape_.inode_place(inode); };
  const Severity severity = clean_ ? Severity::fault : Severity::caution;
  for (const SharedNumber& list : nameless_->lists) {
    const auto by = std::ranges::lower_bound(named, list.number, {}, &SharedNumber::number);
    const bool is_named = by != named.end() && by->number == list.number;
    const std::uint64_t names = is_named ? by->names : 0;
    if (names == list.names || nameless_->lists_named.full()) continue;
    find(severity, FindingCode::links_differ, at(list.number), shape_.inode_bytes,
         fmt::format("the access list in inode {} states {} files, {} name it", list.number,
                     list.names, names));
  }
  // Where there are none at all, the field may mean something else.
  if (nameless_->lists.empty()) return;
  for (const SharedNumber& one : named) {
    const bool known =
        std::ranges::binary_search(nameless_->lists, one.number, {}, &SharedNumber::number);
    if (known || nameless_->lists.size() >= kMostRuns) continue;
    find(severity, FindingCode::filesystem_damaged, at(one.first), shape_.inode_bytes,
         fmt::format("inode {} names inode {} for its access list, expected one of that type",
                     one.first, one.number));
  }
}

// --- the log -------------------------------------------------------------------------------------

bool FfsVolume::each_log_run(FunctionRef<bool(const BlockRun&)> visit) {
  if (shape_.log_place == 0) return true;
  std::vector<std::byte> block(static_cast<std::size_t>(shape_.block_bytes));
  if (view_.read(shape_.log_place, block) < block.size()) return false;
  const FieldReader<kFfsLog> log(block.data(), shape_.order);
  const std::uint64_t count = log.get<"extents">();
  const std::uint64_t room = (block.size() - kFfsLog.bytes) / kFfsLogExtent.bytes;
  if (log.get<"type">() != 0 || count == 0 || count > room ||
      log.get<"checksum">() != sum_of(block, shape_.order)) {
    return false;
  }
  if (!visit({view_.start() + shape_.log_place, block.size(), BlockUse::metadata})) return true;
  for (std::uint64_t i = 0; i < count; ++i) {
    const FieldReader<kFfsLogExtent> extent(block.data() + kFfsLog.bytes + i * kFfsLogExtent.bytes,
                                            shape_.order);
    const std::uint64_t start = extent.get<"first">() * kLogUnit;
    const std::uint64_t bytes = extent.get<"count">() * kLogUnit;
    if (!fits_within(start, bytes, shape_.byte_of(shape_.fragments))) return false;
    if (!visit({view_.start() + start, bytes, BlockUse::metadata})) return true;
  }
  return true;
}

void FfsVolume::check_log() {
  if (shape_.log_place >= view_.bytes()) {
    if (shape_.log_place < shape_.byte_of(shape_.fragments)) return;  // not in the image
  } else if (each_log_run([](const BlockRun&) { return true; })) {
    return;
  }
  find(Severity::caution, FindingCode::filesystem_damaged, view_.start() + shape_.log_place,
       kFfsLog.bytes,
       fmt::format("the superblock names byte {} for the allocation of its log, expected one with "
                   "its checksum and places inside the volume",
                   shape_.log_place));
}

}  // namespace platter::filesystem
