// The block map of ISO 9660 and High Sierra volumes. There is none on the disk: what the
// directories and descriptors name is in use, the rest is free.
#include <algorithm>

#include "filesystem/iso9660_scan.h"
#include "filesystem/iso9660_volume.h"

namespace platter::filesystem::iso9660 {
namespace {

// Blocks in use. Files usually lie one behind the other, so joining keeps this small.
class UseMap {
 public:
  explicit UseMap(std::uint64_t block_bytes, std::uint64_t blocks)
      : block_bytes_(block_bytes), blocks_(blocks) {}

  /// Bytes of the volume, rounded to whole blocks.
  void add(std::uint64_t place, std::uint64_t bytes, BlockUse use) {
    const std::uint64_t first = place / block_bytes_;
    if (bytes == 0 || first >= blocks_) return;
    const std::uint64_t end =
        std::min(blocks_, divide_up(saturating_add(place, bytes), block_bytes_));
    auto& runs = use == BlockUse::metadata ? metadata_ : used_;
    const auto begin32 = static_cast<std::uint32_t>(first);
    const auto end32 = static_cast<std::uint32_t>(end);
    if (!runs.empty() && runs.back().end == begin32) {
      runs.back().end = end32;
      return;
    }
    runs.push_back({begin32, end32});
    if (runs.size() >= most_) join(runs);
  }

  /// Hands out the whole volume; what is metadata and file at once is metadata.
  void hand_out(std::uint64_t start, FunctionRef<bool(const BlockRun&)> visit) {
    join(metadata_);
    join(used_);
    RunJoiner joiner(visit);
    auto metadata = metadata_.begin();
    auto used = used_.begin();
    for (std::uint64_t at = 0; at < blocks_;) {
      while (metadata != metadata_.end() && metadata->end <= at)
        ++metadata;
      while (used != used_.end() && used->end <= at)
        ++used;
      const std::uint64_t metadata_at = metadata != metadata_.end() ? metadata->begin : blocks_;
      const std::uint64_t used_at = used != used_.end() ? used->begin : blocks_;
      BlockRun run{.start = start + at * block_bytes_};
      std::uint64_t end = std::min(metadata_at, used_at);
      if (metadata_at <= at) {
        run.use = BlockUse::metadata;
        end = metadata->end;
      } else if (used_at <= at) {
        run.use = BlockUse::used;
        end = std::min<std::uint64_t>(used->end, metadata_at);
      }
      run.bytes = (end - at) * block_bytes_;
      if (!joiner.add(run)) return;
      at = end;
    }
    joiner.finish();
  }

 private:
  struct Run {
    std::uint32_t begin, end;
  };

  void join(std::vector<Run>& runs) {
    std::ranges::sort(runs, {}, &Run::begin);
    std::size_t kept = 0;
    for (const Run& run : runs) {
      if (kept != 0 && run.begin <= runs[kept - 1].end) {
        runs[kept - 1].end = std::max(runs[kept - 1].end, run.end);
      } else {
        runs[kept++] = run;
      }
    }
    runs.resize(kept);
    most_ = std::max(most_, 2 * kept);
  }

  std::uint64_t block_bytes_;
  std::uint64_t blocks_;
  std::vector<Run> metadata_;
  std::vector<Run> used_;
  std::size_t most_ = 65536;
};

// `units` bounds the file units that are told apart: no volume has more of them than blocks.
void add_record(const VolumeSource& source, const ParsedRecord& record, UseMap& map,
                std::uint64_t& units) {
  const std::uint64_t block = source.block_bytes();
  if (!source.here(record)) return;
  map.add(saturating_mul(record.extent, block), record.attribute_blocks * block,
          BlockUse::metadata);
  const BlockUse use = record.is_directory() ? BlockUse::metadata : BlockUse::used;
  const bool interleaved = record.unit_blocks != 0 && record.gap_blocks != 0;
  if (!interleaved) {
    map.add(source.data_place(record), record.bytes, use);
    return;
  }
  const std::uint64_t unit = record.unit_blocks * block;
  const std::uint64_t step = unit + record.gap_blocks * block;
  std::uint64_t place =
      saturating_add(saturating_mul(record.extent, block),
                     divide_up(record.attribute_blocks, record.unit_blocks) * step);
  for (std::uint64_t done = 0; done < record.bytes && place < source.volume_bytes() && units != 0;
       done += unit, place += step, --units) {
    map.add(place, std::min(unit, record.bytes - done), use);
  }
}

void add_tree(const VolumeSource& source, const DirectoryTree& tree, UseMap& map) {
  std::uint64_t units = source.primary().shape.blocks;
  for (const auto* tables : {&tree.path_tables_l, &tree.path_tables_m}) {
    for (const std::uint64_t block : *tables)
      map.add(tree.shape.place_of(block), tree.shape.path_table_bytes, BlockUse::metadata);
  }
  map.add(tree.root_place(), tree.shape.root_bytes, BlockUse::metadata);
  scan_tree(source, tree,
            {.directory = [](const ScannedDirectory&, std::uint64_t) {},
             .broken = [](const DirectoryReader&) {},
             .record =
                 [&](const ScannedDirectory&, const ParsedRecord& record, const RockFields& rock,
                     std::span<const ContinuationArea> areas) {
                   for (const ContinuationArea& area : areas)
                     map.add(area.place, area.bytes, BlockUse::metadata);
                   const bool nothing = record.is_parent() || rock.child || rock.has_link;
                   if (!nothing) add_record(source, record, map, units);
                 }});
}

}  // namespace

void Iso9660Volume::each_run(FunctionRef<bool(const BlockRun&)> visit) {
  UseMap map(source_.block_bytes(), source_.primary().shape.blocks);
  map.add(0, source_.descriptors_end, BlockUse::metadata);
  if (source_.boot_catalog) {
    map.add(saturating_mul(*source_.boot_catalog, kSectorBytes), kSectorBytes, BlockUse::metadata);
  }
  for (const DirectoryTree& tree : source_.trees)
    add_tree(source_, tree, map);
  map.hand_out(source_.view.start(), visit);
}

}  // namespace platter::filesystem::iso9660
