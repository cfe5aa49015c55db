#include "filesystem/ffs_volume.h"

#include <algorithm>

#include <fmt/format.h>

#include "core/record.h"
#include "filesystem/ffs_find.h"

namespace platter::filesystem {
namespace {

// Path names have at most 1024 bytes (4096 in later heirs); more than this is damage.
constexpr std::uint64_t kLongestTarget = 65536;
constexpr std::size_t kWindow = 8192;  // of the inode table

}  // namespace

FfsVolume::FfsVolume(View view, const FfsShape& shape, bool clean, const VolumeOptions& options)
    : view_(std::move(view)),
      shape_(shape),
      clean_(clean),
      charset_(options.charset.value_or(Charset::ascii)) {}

bool FfsVolume::was_written(std::uint64_t number) {
  const std::uint64_t group = number / shape_.group_inodes;
  if (group != written_group_) {
    written_ = read_written_inodes(view_, shape_, group);
    written_group_ = group;
  }
  return number % shape_.group_inodes < written_;
}

std::optional<FfsInode> FfsVolume::inode(NodeId node) {
  if (!shape_.usable() || node < kFfsRootInode || node >= shape_.inodes()) return std::nullopt;
  const std::uint64_t place = shape_.inode_place(node);
  if (!fits_within(place, shape_.inode_bytes, view_.bytes())) return std::nullopt;
  const std::uint64_t start = place / kWindow * kWindow;
  if (start != window_place_) {
    window_.resize(kWindow);
    window_place_ = kLargest;  // reading may throw
    view_.read(start, window_);
    window_place_ = start;
  }
  if (shape_.ufs2() && !was_written(node)) return std::nullopt;
  // Tables start where fragments do, so that no inode lies across two windows.
  FfsInode inode = decode_ffs_inode(shape_, window_.data() + (place - start));
  inode.number = node;
  inode.place = place;
  return inode;
}

Attributes FfsVolume::attributes(NodeId node) {
  const auto found = inode(node);
  if (!found) return {};
  if (found->mode == 0) {
    find(Severity::fault, FindingCode::filesystem_damaged, view_.start() + found->place,
         shape_.inode_bytes, fmt::format("inode {} is free, expected the file of a name", node));
    return {};
  }
  Attributes attributes;
  attributes.type = found->type();
  attributes.bytes = found->size;
  attributes.mode = found->mode & 07777U;
  attributes.uid = found->uid;
  attributes.gid = found->gid;
  attributes.links = found->links;
  attributes.modified = Timestamp{found->modified.seconds};
  attributes.accessed = Timestamp{found->accessed.seconds};
  attributes.changed = Timestamp{found->changed.seconds};
  if (found->created.seconds != 0) attributes.created = Timestamp{found->created.seconds};
  attributes.modified_nanoseconds = found->modified.nanoseconds;
  attributes.device = found->device(shape_);
  attributes.identity = node;
  return attributes;
}

void FfsVolume::walk_blocks(const FfsInode& inode, bool pointers,
                            FunctionRef<bool(const Extent&)> visit) {
  const auto report = [&](FindingCode code, std::string message) {
    const Severity severity =
        code == FindingCode::filesystem_damaged ? Severity::caution : Severity::fault;
    find(severity, code, view_.start() + inode.place, shape_.inode_bytes, std::move(message));
  };
  FfsBlocks blocks(shape_, view_, inode, report);
  if (pointers) {
    blocks.each_further_block(visit);
  } else {
    blocks.each_extent(visit);
  }
}

void FfsVolume::each_extent(NodeId node, FunctionRef<bool(const Extent&)> visit) {
  const auto found = inode(node);
  if (!found) return;
  if (found->has_blocks(shape_)) return walk_blocks(*found, false, visit);
  if (found->text_inside(shape_) && found->size != 0) {
    const std::uint64_t offset = shape_.ufs2() ? FieldReader<kUfs2Inode>::offset_of<"direct">()
                                               : FieldReader<kFfsInode>::offset_of<"direct">();
    visit({0, view_.start() + found->place + offset, found->size, false});
  }
}

void FfsVolume::each_further_block(NodeId node, FunctionRef<bool(const Extent&)> visit) {
  const auto found = inode(node);
  if (!found) return;
  if (found->has_blocks(shape_)) {
    bool wanted = true;
    walk_blocks(*found, true, [&](const Extent& block) { return wanted = visit(block); });
    if (!wanted || !visit_rest_of_last_block(*found, visit)) return;
  }
  // Extended attributes take space as a file of their own would.
  std::uint64_t rest = found->extended_bytes;
  for (const std::uint64_t address : found->extended) {
    const std::uint64_t bytes = std::min(rest, shape_.block_bytes);
    const std::uint64_t fragments = divide_up(bytes, shape_.fragment_bytes);
    rest -= bytes;
    if (bytes == 0 || address == 0 || !fits_within(address, fragments, shape_.fragments)) continue;
    const std::uint64_t held = fragments * shape_.fragment_bytes;
    if (!visit({0, view_.start() + shape_.byte_of(address), held, false})) return;
  }
}

// Only the blocks of direct addresses may be cut to fragments: behind them the last one is whole
// (4.4BSD ufs/ffs/fs.h, blksize()).
bool FfsVolume::visit_rest_of_last_block(const FfsInode& found,
                                         FunctionRef<bool(const Extent&)> visit) {
  constexpr std::uint64_t kDirect = FieldReader<kFfsInode>::count_of<"direct">();
  if (found.size == 0 || (found.size - 1) / shape_.block_bytes < kDirect) return true;
  Extent last;
  walk_blocks(found, false, [&](const Extent& extent) {
    last = extent;
    return true;
  });
  const std::uint64_t used = divide_up(last.bytes, shape_.fragment_bytes) * shape_.fragment_bytes;
  if (last.absent || last.bytes == 0 || last.offset + last.bytes != found.size) return true;
  const std::uint64_t rest = (shape_.block_bytes - used % shape_.block_bytes) % shape_.block_bytes;
  return rest == 0 || visit({0, last.start + used, rest, false});
}

std::string FfsVolume::link_target(NodeId node) {
  const auto found = inode(node);
  if (!found || found->type() != NodeType::symlink) return {};
  if (found->text_inside(shape_)) {
    return {found->text.data(), static_cast<std::size_t>(found->size)};
  }
  if (found->size > kLongestTarget) {
    find(Severity::fault, FindingCode::filesystem_damaged, view_.start() + found->place,
         shape_.inode_bytes,
         fmt::format("the link in inode {} has {} bytes, expected at most {}", node, found->size,
                     kLongestTarget));
    return {};
  }
  std::string target;
  walk_blocks(*found, false, [&](const Extent& extent) {
    target.resize(static_cast<std::size_t>(extent.offset + extent.bytes));
    if (extent.absent) return true;
    const std::span<char> piece =
        std::span(target).subspan(static_cast<std::size_t>(extent.offset));
    view_.read(extent.start - view_.start(), std::as_writable_bytes(piece));
    return true;
  });
  return target;
}

std::unique_ptr<Volume> open_ffs(const View& view, const VolumeOptions& options, bool ufs2) {
  const auto found = find_ffs(view, ufs2);
  if (!found) return nullptr;
  const std::uint64_t magic = found->sizes.get<"magic">();
  if (magic == kFfsUnfinishedMagic || magic == kFfsSecureMagic) return nullptr;
  FfsShape shape(found->sizes, found->reading);
  if (found->counts_hold) shape.totals_place = found->place;
  const bool clean = found->claim.facts.words("clean") != "not clean";
  return std::make_unique<FfsVolume>(view, shape, clean, options);
}

// --- the map of blocks -------------------------------------------------------------------------

BlockRun FfsVolume::run_of(std::uint64_t first, std::uint64_t end, BlockUse use) const {
  return {view_.start() + shape_.byte_of(first), shape_.byte_of(end - first), use};
}

void FfsVolume::each_run(FunctionRef<bool(const BlockRun&)> visit) {
  if (!shape_.usable() || !shape_.groups_hold_records()) return;
  std::vector<BlockRun> own = nameless().runs;
  each_log_run([&](const BlockRun& run) {
    own.push_back(run);
    return true;
  });
  RunOverlay runs(std::move(own), visit);
  FfsGroupBlock group;
  std::uint64_t done = 0;
  for (std::uint64_t number = 0; number < shape_.groups; ++number) {
    // Nothing is known of groups that the image does not hold.
    if (shape_.group_base(number) >= shape_.fragments ||
        shape_.byte_of(shape_.group_base(number)) >= view_.bytes()) {
      break;
    }
    if (!group_runs(number, group, runs)) return;
    done = shape_.group_base(number) + shape_.group_length(number);
  }
  if (done < shape_.fragments && !runs.add(run_of(done, shape_.fragments, BlockUse::used))) return;
  runs.finish();
}

bool FfsVolume::group_runs(std::uint64_t number, FfsGroupBlock& group, RunOverlay& runs) {
  const std::uint64_t base = shape_.group_base(number);
  const std::uint64_t end = base + shape_.group_length(number);
  const std::uint64_t start = shape_.group_start(number);
  struct Records {
    std::uint64_t first;
    std::uint64_t end;
  };
  std::array<Records, 2> own = {
      Records{number == 0 ? 0 : saturating_add(start, shape_.copy),
              saturating_add(start, shape_.data)},
      Records{shape_.summary, saturating_add(shape_.summary, shape_.summary_fragments())}};
  std::ranges::sort(own, {}, &Records::first);
  const bool known = read_ffs_group(view_, shape_, number, group) == FfsGroupState::sound;
  if (!known) {
    find(Severity::fault, FindingCode::filesystem_damaged, view_.start() + group.place,
         shape_.block_bytes,
         fmt::format("the map of group {} cannot be read; its fragments count as used", number));
  }
  std::uint64_t at = base;
  const auto by_map = [&](std::uint64_t until) {
    while (at < until) {
      const FfsMapRun run = known ? ffs_map_run(group, at - base, until - base)
                                  : FfsMapRun{at - base, until - base, false};
      const BlockUse use = run.free ? BlockUse::free : BlockUse::used;
      if (!runs.add(run_of(at, base + run.end, use))) return false;
      at = base + run.end;
    }
    return true;
  };
  for (const Records& records : own) {
    if (!by_map(std::clamp(records.first, at, end))) return false;
    const std::uint64_t until = std::clamp(records.end, at, end);
    if (until > at && !runs.add(run_of(at, until, BlockUse::metadata))) return false;
    at = until;
  }
  return by_map(end);
}

}  // namespace platter::filesystem
