// The records of an HFS+ volume against one another.
#include <algorithm>
#include <bit>

#include <fmt/format.h>

#include "filesystem/hfs_valences.h"
#include "filesystem/hfsplus_names.h"
#include "filesystem/hfsplus_volume.h"

namespace platter::filesystem {
namespace {

constexpr std::uint64_t kMapNode = 2;
constexpr std::size_t kMapRecord = 2;  // of a header node; a map node has nothing else
constexpr std::uint64_t kTailBytes = 1024;

std::uint64_t clear_bits(std::span<const std::byte> map, std::uint64_t bits) {
  std::uint64_t set = 0;
  for (std::uint64_t i = 0; i < bits / 8; ++i)
    set += static_cast<unsigned>(std::popcount(std::to_integer<unsigned>(map[i])));
  if (bits % 8 != 0) {
    const unsigned last = std::to_integer<unsigned>(map[bits / 8]) & (0xFF00U >> bits % 8);
    set += static_cast<unsigned>(std::popcount(last & 0xFFU));
  }
  return bits - set;
}

}  // namespace

struct HfsPlusVolume::CatalogCounts {
  HfsValences valences = {};
  std::uint64_t files = 0;
  std::uint64_t directories = 0;
  std::uint64_t file_threads = 0;
  std::uint64_t directory_threads = 0;
  std::uint64_t highest_id = 0;
  bool any = false;
  bool ordered = true;
  std::uint64_t last_parent = 0;
  std::string last_name = {};
};

void HfsPlusVolume::check_records() {
  const std::vector<MarkedRun> marked = marked_runs();
  check_bitmap(marked);
  check_copy();
  check_tree(extents_, "extents file");
  check_tree(catalog_, "catalog");
  if (!attribute_tree_.runs().empty()) check_tree(attribute_tree_, "attributes file");
  check_marked(marked);
  check_catalog(marked);
}

// The free count, and blocks of the volume itself that its bitmap calls free.
void HfsPlusVolume::check_bitmap(const std::vector<MarkedRun>& marked) {
  std::uint64_t free = 0;
  auto mark = marked.begin();
  const std::uint64_t told = each_bit_run([&](const BitRun& run) {
    const std::uint64_t end = run.start + run.count;
    free += run.used ? 0 : run.count;
    for (; mark != marked.end() && mark->start < end; ++mark) {
      if (!run.used) {
        find(Severity::fault, FindingCode::blocks_free_in_use,
             image_place(mark->start * block_bytes_), block_bytes_,
             fmt::format("block {} belongs to {} and is free in the bitmap, expected in use",
                         mark->start, mark->owner));
      }
      if (mark->start + mark->count > end) break;
    }
    return true;
  });
  if (told < blocks_) {
    // What an image that was cut short has lost is told elsewhere.
    if (hfsplus_blocks_end(header_) > volume_.bytes()) return;
    say(header_.place_of<"allocation">(),
        fmt::format("the bitmap tells of {} blocks, expected {}", told, blocks_));
  } else if (free != header_.get<"free_blocks">()) {
    say(header_.place_of<"free_blocks">(),
        fmt::format("the header says that {} blocks are free, expected {} by the bitmap",
                    header_.get<"free_blocks">(), free),
        Severity::caution);
  }
}

void HfsPlusVolume::check_copy() {
  const std::uint64_t end = hfsplus_blocks_end(header_);
  if (end > volume_.bytes() || end < 2 * kTailBytes || hfsplus_copy(volume_, header_)) return;
  say(image_place(end - kTailBytes), "there is no copy of the header at the end of the volume",
      Severity::note);
}

// Nodes that the maps of a tree call free, as far as the maps go.
std::uint64_t HfsPlusVolume::free_nodes_by_map(const HfsTree& tree) const {
  const std::uint64_t nodes = std::min(tree.header().get<"nodes">(), tree.nodes());
  std::uint64_t free = 0;
  std::uint64_t done = 0;
  HfsTreeNode node;
  std::size_t record = kMapRecord;
  for (std::uint64_t number = 0; done < nodes && tree.read(number, node);) {
    if (number != 0 && node.head().get<"kind">() != kMapNode) break;
    const auto map = node.record(record);
    if (map.empty()) break;
    const std::uint64_t bits = std::min<std::uint64_t>(nodes - done, std::uint64_t{8} * map.size());
    free += clear_bits(map, bits);
    done += bits;
    number = node.head().get<"next">();
    record = 0;
    if (number == 0) break;
  }
  return free;
}

// The header of a tree against its file, its maps and its leaves.
void HfsPlusVolume::check_tree(HfsTree& tree, const char* name) {
  const auto& head = tree.header();
  if (!head.complete()) return;  // told when the volume was opened
  if (head.get<"nodes">() > tree.nodes()) {
    say(head.start(), fmt::format("the {} claims {} nodes, expected at most the {} that its file "
                                  "has room for",
                                  name, head.get<"nodes">(), tree.nodes()));
    return;
  }
  const std::uint64_t free = free_nodes_by_map(tree);
  if (free != head.get<"free_nodes">()) {
    say(head.place_of<"free_nodes">(),
        fmt::format("the {} says that {} of its nodes are free, expected {} by its map", name,
                    head.get<"free_nodes">(), free),
        Severity::caution);
  }
  std::uint64_t records = 0;
  std::uint64_t last_leaf = 0;
  tree.each([&](const HfsTreeNode& node, std::size_t index) {
    if (index == 0 && node.head().get<"height">() != 1) {
      say(image_place(node.place), fmt::format("leaf {} of the {} has the height {}, expected 1",
                                               node.number, name, node.head().get<"height">()));
    }
    ++records;
    last_leaf = node.number;
    return true;
  });
  collect(tree);
  if (records == head.get<"leaf_records">() && last_leaf == head.get<"last_leaf">()) return;
  say(head.start(),
      fmt::format("the leaves of the {} hold {} records and end with node {}, expected {} and {}",
                  name, records, last_leaf, head.get<"leaf_records">(), head.get<"last_leaf">()));
}

// No two parts of the volume itself may share blocks; the header and its copy may on tiny ones.
void HfsPlusVolume::check_marked(const std::vector<MarkedRun>& marked) {
  for (std::size_t i = 1; i < marked.size(); ++i) {
    const MarkedRun& before = marked[i - 1];
    const MarkedRun& run = marked[i];
    if (run.start >= before.start + before.count) continue;
    find(Severity::fault, FindingCode::extent_overlap, image_place(run.start * block_bytes_),
         block_bytes_,
         fmt::format("block {} belongs to {} and to {}", run.start, before.owner, run.owner));
  }
}

void HfsPlusVolume::check_order(CatalogCounts& counts, const HfsTreeNode& node, std::size_t index) {
  const auto [parent, name] = hfsplus_catalog_key(node.record(index));
  const bool rises =
      !counts.any || parent > counts.last_parent ||
      (parent == counts.last_parent && compare_hfsplus_names(counts.last_name, name, by_case_) < 0);
  if (!rises && counts.ordered) {
    counts.ordered = false;
    say(image_place(node.place),
        fmt::format("record {} of catalog leaf {} has a key that is not above the one before",
                    index, node.number));
  }
  counts.any = true;
  counts.last_parent = parent;
  counts.last_name.assign(name);
}

// Along all leaves of the catalog: order of keys, counts, ids, forks.
void HfsPlusVolume::check_catalog(const std::vector<MarkedRun>& marked) {
  CatalogCounts counts;
  catalog_.each([&](const HfsTreeNode& node, std::size_t index) {
    const auto record = node.record(index);
    const auto data = hfs_record_data(record, catalog_.form().key_width);
    if (data.empty()) return true;
    check_order(counts, node, index);
    const std::uint64_t kind = hfsplus_kind(data);
    counts.directory_threads += kind == kHfsDirectoryThread ? 1 : 0;
    counts.file_threads += kind == kHfsFileThread ? 1 : 0;
    const bool is_file = kind == kHfsFileRecord && data.size() >= kHfsPlusFile.bytes;
    if (!is_file && (kind != kHfsDirectoryRecord || data.size() < kHfsPlusDirectory.bytes)) {
      return true;
    }
    ++(is_file ? counts.files : counts.directories);
    const std::uint64_t parent = hfsplus_catalog_key(record).parent;
    if (parent != kHfsRootParent) counts.valences.entry_in(parent);
    const FieldReader<kHfsPlusDirectory> directory(data.data(), ByteOrder::big);
    // The id has the same place in both.
    counts.highest_id = std::max(counts.highest_id, directory.get<"id">());
    if (is_file) {
      check_file(File(data.data(), ByteOrder::big), image_place(node.place), marked);
    } else {
      counts.valences.claim(directory.get<"id">(), directory.get<"valence">());
    }
    return true;
  });
  collect(catalog_);
  compare_counts(counts);
}

// The blocks that a file says it has against its extents, and these against those of the volume.
void HfsPlusVolume::check_file(File file, std::uint64_t place,
                               const std::vector<MarkedRun>& marked) {
  const std::uint64_t id = file.get<"id">();
  for (const bool resource : {false, true}) {
    const Fork fork = resource ? file.sub<"resource">() : file.sub<"data">();
    const std::uint64_t blocks = fork.get<"blocks">();
    std::uint64_t covered = 0;
    each_block_run(
        id, resource ? kHfsResourceFork : kHfsDataFork, fork, blocks,
        [&](std::uint64_t start, std::uint64_t count) {
          covered += count;
          auto mark = std::ranges::upper_bound(marked, start, {}, &MarkedRun::start);
          if (mark != marked.begin() && std::prev(mark)->start + std::prev(mark)->count > start) {
            --mark;
          }
          if (mark == marked.end() || mark->start >= start + count) return true;
          find(Severity::fault, FindingCode::extent_overlap, place, 0,
               fmt::format("an extent of file {} at block {} shares blocks with {}", id, start,
                           mark->owner));
          return true;
        });
    if (covered != blocks) {
      say(place, fmt::format("the extents of the {} fork of file {} have {} blocks, expected {}",
                             resource ? "resource" : "data", id, covered, blocks));
    } else if (fork.get<"length">() > saturating_mul(blocks, block_bytes_)) {
      say(place, fmt::format("the {} fork of file {} has {} bytes, expected no more than its {} "
                             "blocks hold",
                             resource ? "resource" : "data", id, fork.get<"length">(), blocks));
    }
  }
}

void HfsPlusVolume::compare_counts(const CatalogCounts& counts) {
  // The root is not counted.
  const std::uint64_t directories = counts.directories == 0 ? 0 : counts.directories - 1;
  if (counts.files != header_.get<"files">() || directories != header_.get<"directories">()) {
    say(header_.place_of<"files">(),
        fmt::format("the header counts {} files and {} directories, expected {} and {}",
                    header_.get<"files">(), header_.get<"directories">(), counts.files,
                    directories),
        Severity::caution);
  }
  if (counts.files != counts.file_threads || counts.directories != counts.directory_threads) {
    say(catalog_.header().start(),
        fmt::format("{} files and {} directories have {} and {} thread records, expected one each",
                    counts.files, counts.directories, counts.file_threads,
                    counts.directory_threads),
        Severity::caution);
  }
  const std::uint64_t next = header_.get<"next_id">();
  const bool reused = (header_.get<"attributes">() & kHfsPlusIdsReused) != 0;
  if (!reused && counts.highest_id >= next) {
    say(header_.place_of<"next_id">(),
        fmt::format("the next id is {}, expected one above {}", next, counts.highest_id),
        Severity::caution);
  }
  for (std::string& complaint : counts.valences.complaints()) {
    say(image_place(kHfsPlusHeaderPlace), std::move(complaint), Severity::caution);
  }
}

}  // namespace platter::filesystem
