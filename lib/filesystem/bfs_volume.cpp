#include "filesystem/bfs_volume.h"

#include <algorithm>
#include <cstring>

#include <fmt/format.h>

#include "core/name_scan.h"

namespace platter::filesystem {
namespace {

constexpr std::uint64_t kPiece = 64 * 1024;
constexpr std::uint64_t kMostInodes = 65536;  // numbers have 16 bits

}  // namespace

BfsVolume::BfsVolume(const View& view, const Record<kBfsSuper>& super,
                     std::optional<Charset> charset)
    : view_(view.sub(0, super.get<"end">() + 1)),
      super_(super),
      inodes_(
          std::min((super.get<"start">() - kBfsBlock) / kBfsInode.bytes, kMostInodes - kBfsRoot)),
      charset_(charset.value_or(Charset::ascii)),
      window_(view_) {}

std::uint64_t BfsVolume::inode_place(NodeId node) const {
  return kBfsBlock + (node - kBfsRoot) * kBfsInode.bytes;
}

std::optional<BfsInode> BfsVolume::inode(NodeId node) {
  if (node < kBfsRoot || node - kBfsRoot >= inodes_) return std::nullopt;
  const auto bytes = window_.at(inode_place(node), kBfsInode.bytes);
  if (bytes.empty()) return std::nullopt;
  const FieldReader<kBfsInode> record(bytes.data(), super_.order());
  const auto word = [](std::uint64_t value) { return static_cast<std::uint32_t>(value); };
  const auto seconds = [](std::uint64_t value) { return static_cast<std::int64_t>(value); };
  return BfsInode{.number = record.get<"number">(),
                  .first = record.get<"first">(),
                  .last = record.get<"last">(),
                  .end = record.get<"end">(),
                  .type = record.get<"type">(),
                  .mode = word(record.get<"mode">()),
                  .uid = word(record.get<"uid">()),
                  .gid = word(record.get<"gid">()),
                  .links = word(record.get<"links">()),
                  .atime = seconds(record.get<"atime">()),
                  .mtime = seconds(record.get<"mtime">()),
                  .ctime = seconds(record.get<"ctime">())};
}

bool BfsVolume::is_inside(const BfsInode& inode) const {
  return inode.first == 0 ||
         (inode.start() >= super_.get<"start">() && inode.end + 1 >= inode.start() &&
          inode.end <= super_.get<"end">() && inode.last >= inode.first &&
          (inode.last + 1) * kBfsBlock <= super_.get<"end">() + 1);
}

Attributes BfsVolume::attributes(NodeId node) {
  Attributes result;
  const auto found = inode(node);
  if (!found) return result;
  result.identity = node;
  // Old systems left the type out of the mode, or wrote another one there.
  if (found->number == 0) return result;
  if (found->type == kBfsFile) result.type = NodeType::file;
  if (found->type == kBfsDirectory) result.type = NodeType::directory;
  if (result.type == NodeType::unknown) {
    say(inode_place(node), kBfsInode.bytes,
        fmt::format("inode {} has the type {}, expected 1 or 2", node, found->type));
    return result;
  }
  result.bytes = found->bytes();
  result.mode = found->mode & 07777U;
  result.uid = found->uid;
  result.gid = found->gid;
  result.links = found->links;
  result.modified = Timestamp{found->mtime};
  result.accessed = Timestamp{found->atime};
  result.changed = Timestamp{found->ctime};
  return result;
}

void BfsVolume::each_extent(NodeId node, FunctionRef<bool(const Extent&)> visit) {
  const auto found = inode(node);
  if (!found || found->number == 0 || found->bytes() == 0) return;
  if (found->type != kBfsFile && found->type != kBfsDirectory) return;
  if (is_inside(*found)) {
    visit({0, saturating_add(view_.start(), found->start()), found->bytes(), false});
    return;
  }
  find(Severity::fault, FindingCode::extent_beyond_end,
       saturating_add(view_.start(), inode_place(node)), kBfsInode.bytes,
       fmt::format("inode {} has bytes {} to {}, expected a place from {} to {}", node,
                   found->start(), found->end, super_.get<"start">(), super_.get<"end">()));
  visit({0, 0, found->bytes(), true});
}

// A directory is given room for all the names that it may ever have.
void BfsVolume::each_further_block(NodeId node, FunctionRef<bool(const Extent&)> visit) {
  const auto found = inode(node);
  if (!found || found->number == 0 || found->first == 0 || !is_inside(*found)) return;
  const std::uint64_t used = divide_up(found->start() + found->bytes(), kBfsBlock);
  const std::uint64_t last = std::min(found->last, super_.get<"end">() / kBfsBlock);
  if (used > last) return;
  visit({0, saturating_add(view_.start(), used * kBfsBlock), (last + 1 - used) * kBfsBlock, false});
}

void BfsVolume::each_entry(NodeId directory, FunctionRef<bool(const Entry&)> visit) {
  const auto found = inode(directory);
  if (!found || found->type != kBfsDirectory) return;
  each_extent(directory, [&](const Extent& extent) {
    std::vector<std::byte> buffer;
    for (std::uint64_t skip = 0; !extent.absent && skip < extent.bytes; skip += kPiece) {
      const std::uint64_t at = extent.start - view_.start() + skip;
      buffer = view_.read_vector(at, std::min(kPiece, extent.bytes - skip));
      for (std::size_t i = 0; i + kBfsEntry.bytes <= buffer.size(); i += kBfsEntry.bytes) {
        const FieldReader<kBfsEntry> record(buffer.data() + i, super_.order());
        const std::uint64_t number = record.get<"inode">();
        const auto raw = record.raw<"name">();
        const char* name = reinterpret_cast<const char*>(raw.data());
        const Entry entry{{name, strnlen(name, raw.size())},
                          charset_,
                          number,
                          saturating_add(view_.start(), at + i)};
        if (number == 0 || entry.name == "." || entry.name == "..") continue;
        const auto leads_to = inode(number);
        if (!leads_to || leads_to->number == 0) {
          say(at + i, kBfsEntry.bytes,
              fmt::format("the directory has a name for inode {}, expected one that is in use",
                          number));
        }
        if (entry.name.empty() || has_slash_or_nul(entry.name)) {
          find(Severity::fault, FindingCode::name_illegal, entry.place, kBfsEntry.bytes,
               "the directory holds a name that is empty or has a '/' in it");
          if (entry.name.empty()) continue;
        }
        if (!visit(entry)) return false;
      }
      if (buffer.size() < kPiece) break;
    }
    return true;
  });
}

std::vector<BfsVolume::Taken> BfsVolume::taken() {
  std::vector<Taken> all;
  for (NodeId node = kBfsRoot; node - kBfsRoot < inodes_; ++node) {
    const auto found = inode(node);
    if (!found) break;
    if (found->number == 0 || found->first == 0 || !is_inside(*found)) continue;
    all.push_back({found->first, found->last, node});
  }
  std::ranges::sort(all, {}, &Taken::first);
  return all;
}

BfsVolume::Use BfsVolume::use() {
  Use use;
  std::uint64_t next = 0;
  for (const Taken& run : taken()) {
    const std::uint64_t first = std::max(run.first, next);
    if (run.last >= first) use.blocks += run.last - first + 1;
    next = std::max(next, run.last + 1);
  }
  for (NodeId node = kBfsRoot; node - kBfsRoot < inodes_; ++node) {
    const auto found = inode(node);
    if (!found) break;
    if (found->number != 0) ++use.files;
  }
  return use;
}

// There is no map: what no inode has is free.
void BfsVolume::each_run(FunctionRef<bool(const BlockRun&)> visit) {
  RunJoiner joiner(visit);
  const auto emit = [&](std::uint64_t from, std::uint64_t to, BlockUse use) {
    return to <= from || joiner.add({saturating_add(view_.start(), from), to - from, use});
  };
  const std::uint64_t end = super_.get<"end">() + 1;
  std::uint64_t next = super_.get<"start">();
  if (!emit(0, next, BlockUse::metadata)) return;
  for (const Taken& run : taken()) {
    const std::uint64_t from = std::max(run.first * kBfsBlock, next);
    const std::uint64_t to = std::max((run.last + 1) * kBfsBlock, next);
    if (!emit(next, from, BlockUse::free) || !emit(from, to, BlockUse::used)) return;
    next = to;
  }
  if (emit(next, end, BlockUse::free)) joiner.finish();
}

void BfsVolume::say(std::uint64_t at, std::uint64_t bytes, std::string message) {
  find(Severity::fault, FindingCode::filesystem_damaged, saturating_add(view_.start(), at), bytes,
       std::move(message));
}

void BfsVolume::check_records() {
  const bool idle = super_.get<"from">() == kBfsIdle && super_.get<"to">() == kBfsIdle;
  if (!idle) {
    say(Record<kBfsSuper>::offset_of<"from">(), 16,
        fmt::format("block {} was being moved to {} when the system stopped, expected none",
                    super_.get<"from">(), super_.get<"to">()));
  }
  for (NodeId node = kBfsRoot; node - kBfsRoot < inodes_; ++node)
    check_inode(node);
  std::uint64_t next = 0;
  NodeId before = 0;
  for (const Taken& run : taken()) {
    if (run.first < next) {
      find(Severity::fault, FindingCode::extent_overlap,
           saturating_add(view_.start(), run.first * kBfsBlock), kBfsBlock,
           fmt::format("inodes {} and {} both have block {}, expected one owner", before, run.node,
                       run.first));
    }
    if (run.last + 1 > next) before = run.node;
    next = std::max(next, run.last + 1);
  }
}

void BfsVolume::check_inode(NodeId node) {
  const auto found = inode(node);
  if (!found || found->number == 0) return;
  if (found->number != node) {
    say(inode_place(node), 2,
        fmt::format("the inode in the place of {} has the number {}", node, found->number));
  }
  if (!is_inside(*found)) {
    find(Severity::fault, FindingCode::extent_beyond_end,
         saturating_add(view_.start(), inode_place(node)), kBfsInode.bytes,
         fmt::format("inode {} has blocks {} to {} and ends at byte {}, expected a place from byte "
                     "{} to {}",
                     node, found->first, found->last, found->end, super_.get<"start">(),
                     super_.get<"end">()));
  }
}

}  // namespace platter::filesystem
