// Where the forks of HFS+ files lie: eight extents in place, the others in a tree of their own.
#include <algorithm>

#include <fmt/format.h>

#include "filesystem/hfsplus_nodes.h"
#include "filesystem/hfsplus_volume.h"

namespace platter::filesystem {
namespace {

using ExtentKey = FieldReader<kHfsPlusExtentKey>;

// The order of the keys, and what continues at which block of its file.
struct Rank {
  std::uint64_t file_and_fork = 0;
  std::uint64_t first = 0;
  friend auto operator<=>(const Rank&, const Rank&) = default;
};

Rank rank(std::uint64_t file, std::uint64_t fork, std::uint64_t first) {
  return {file << 8U | fork, first};
}

Rank rank_of(std::span<const std::byte> record) {
  if (record.size() < kHfsPlusExtentKey.bytes) return {};
  const ExtentKey key(record.data(), ByteOrder::big);
  return rank(key.get<"file">(), key.get<"fork">(), key.get<"first">());
}

}  // namespace

void HfsPlusVolume::each_block_run(std::uint64_t id, std::uint64_t fork, Fork first,
                                   std::uint64_t wanted, BlockVisit visit) {
  std::uint64_t covered = 0;
  for (std::size_t i = 0; i < kHfsPlusExtents && covered < wanted; ++i) {
    const auto extent = first.sub<"extents">(i);
    const std::uint64_t count = extent.get<"count">();
    covered += count;
    // More blocks than the volume has: some of them must be named twice.
    if (count == 0 || covered > blocks_ || !visit(extent.get<"start">(), count)) return;
  }
  if (covered >= wanted || id == kHfsExtentsFile) return;
  each_overflow_run(id, fork, covered, [&](std::uint64_t start, std::uint64_t count) {
    covered += count;
    return covered <= blocks_ && visit(start, count) && covered < wanted;
  });
}

void HfsPlusVolume::each_overflow_run(std::uint64_t id, std::uint64_t fork, std::uint64_t from,
                                      BlockVisit visit) {
  Rank next = rank(id, fork, from);
  extents_.each_from(
      [&](std::span<const std::byte> record) { return rank_of(record) < next; },
      [&](const HfsTreeNode& node, std::size_t index) {
        const auto record = node.record(index);
        const Rank found = rank_of(record);
        const auto data = hfs_record_data(record, extents_.form().key_width);
        if (found.file_and_fork != next.file_and_fork || data.size() < kHfsPlusExtentRecord.bytes) {
          return false;
        }
        if (found != next) {
          say(image_place(node.place),
              fmt::format("the extents of file {} go on at its block {}, expected {}", id,
                          found.first, next.first));
          return false;
        }
        const FieldReader<kHfsPlusExtentRecord> extents(data.data(), ByteOrder::big);
        for (std::size_t i = 0; i < kHfsPlusExtents; ++i) {
          const auto extent = extents.sub<"extents">(i);
          if (extent.get<"count">() == 0) return false;
          if (!visit(extent.get<"start">(), extent.get<"count">())) return false;
          next.first += extent.get<"count">();
        }
        return true;
      });
  collect(extents_);
}

// A file of the volume itself, as far as it lies inside the volume.
std::vector<HfsRun> HfsPlusVolume::runs_of(std::uint64_t id, Fork fork) {
  std::vector<HfsRun> runs;
  std::uint64_t left = fork.get<"length">();
  each_block_run(id, kHfsDataFork, fork, divide_up(left, block_bytes_),
                 [&](std::uint64_t start, std::uint64_t count) {
                   if (!fits_within(start, count, blocks_)) return false;
                   const std::uint64_t bytes = std::min(left, count * block_bytes_);
                   runs.push_back({start * block_bytes_, bytes});
                   left -= bytes;
                   return true;
                 });
  return runs;
}

HfsTree HfsPlusVolume::tree_of(std::uint64_t id, Fork fork, const char* name) {
  std::vector<HfsRun> runs = runs_of(id, fork);
  if (runs.empty()) return {volume_, {}};
  const auto form = hfsplus_tree_form(volume_, runs.front().place);
  if (!form) {
    say(image_place(runs.front().place),
        fmt::format("the {} does not begin with a node that describes a tree", name));
    return {volume_, {}};
  }
  return {volume_, std::move(runs), *form};
}

void HfsPlusVolume::each_extent(NodeId node, FunctionRef<bool(const Extent&)> visit) {
  const Attributes known = attributes(node);
  if (known.type == NodeType::directory || known.type == NodeType::unknown) return;
  const Found found = record_at(node);
  const File file(found.data().data(), ByteOrder::big);
  const std::uint64_t id = file.get<"id">();
  const bool resource = is_hfsplus_resource(node);
  ExtentJoiner joiner(visit);
  std::uint64_t offset = 0;
  bool go_on = true;
  each_block_run(
      id, resource ? kHfsResourceFork : kHfsDataFork,
      resource ? file.sub<"resource">() : file.sub<"data">(), divide_up(known.bytes, block_bytes_),
      [&](std::uint64_t start, std::uint64_t count) {
        const std::uint64_t length = std::min(count * block_bytes_, known.bytes - offset);
        const bool absent = !fits_within(start, count, blocks_);
        if (absent) {
          find(Severity::fault, FindingCode::extent_beyond_end, found.place, 0,
               fmt::format("an extent of file {} covers blocks {} to {}, expected blocks below {}",
                           id, start, start + count - 1, blocks_));
        }
        go_on =
            joiner.add({offset, absent ? 0 : image_place(start * block_bytes_), length, absent});
        offset += length;
        return go_on && offset < known.bytes;
      });
  if (!go_on) return;
  if (offset < known.bytes) {
    say(found.place,
        fmt::format("the extents of file {} cover {} bytes, expected {}", id, offset, known.bytes));
    if (!joiner.add({.offset = offset, .bytes = known.bytes - offset, .absent = true})) return;
  }
  joiner.finish();
}

// Blocks that are allotted to a fork behind its end.
void HfsPlusVolume::each_further_block(NodeId node, FunctionRef<bool(const Extent&)> visit) {
  const Attributes known = attributes(node);
  if (known.type == NodeType::directory || known.type == NodeType::unknown) return;
  const Found found = record_at(node);
  const File file(found.data().data(), ByteOrder::big);
  const bool resource = is_hfsplus_resource(node);
  const Fork fork = resource ? file.sub<"resource">() : file.sub<"data">();
  std::uint64_t skip = divide_up(known.bytes, block_bytes_);
  each_block_run(file.get<"id">(), resource ? kHfsResourceFork : kHfsDataFork, fork,
                 fork.get<"blocks">(), [&](std::uint64_t start, std::uint64_t count) {
                   const std::uint64_t passed = std::min(skip, count);
                   skip -= passed;
                   if (passed == count || !fits_within(start, count, blocks_)) return true;
                   return visit({0, image_place((start + passed) * block_bytes_),
                                 (count - passed) * block_bytes_, false});
                 });
}

}  // namespace platter::filesystem
