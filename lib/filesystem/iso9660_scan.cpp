#include "filesystem/iso9660_scan.h"

#include <unordered_set>
#include <utility>

namespace platter::filesystem::iso9660 {
namespace {

ScannedDirectory root_of(const DirectoryTree& tree) {
  ScannedDirectory root;
  root.place = tree.root_place();
  root.bytes = tree.shape.root_bytes;
  root.extent = root.parent = tree.shape.root_extent;
  root.attribute_blocks = tree.root_attribute_blocks;
  root.record = tree.root_record;
  root.identifier.assign(1, std::byte{0});
  return root;
}

ScannedDirectory directory_of(const VolumeSource& source, const ScannedDirectory& above,
                              const ParsedRecord& record) {
  return {.place = source.data_place(record),
          .bytes = record.bytes,
          .extent = record.extent,
          .parent = above.extent,
          .attribute_blocks = record.attribute_blocks,
          .record = record.place,
          .identifier = {record.identifier.begin(), record.identifier.end()}};
}

}  // namespace

bool directory_begins(const VolumeSource& source, std::uint64_t place, SingleRecord& self) {
  return place < source.view.bytes() && self.read(source.view, source.dialect, place) &&
         self.begins_directory();
}

void scan_tree(const VolumeSource& source, const DirectoryTree& tree, const ScanVisitor& visitor) {
  RockReader reader(source.view, source.block_bytes(), source.volume_bytes());
  RockFields rock;
  SingleRecord self;
  std::vector<std::byte> buffer;
  std::vector<ScannedDirectory> pending{root_of(tree)};
  std::unordered_set<std::uint64_t> known{tree.root_place()};
  while (!pending.empty()) {
    const ScannedDirectory directory = std::move(pending.back());
    pending.pop_back();
    // Where the lengths differ the directory's own is used, as in the listing.
    const bool begins = directory_begins(source, directory.place, self);
    const bool is_root = directory.record == tree.root_record;
    const std::uint64_t bytes = begins && !is_root ? self.get().bytes : directory.bytes;
    visitor.directory(directory, begins ? self.get().bytes : directory.bytes);
    DirectoryReader records(source.view, source.dialect, directory.place, bytes, buffer);
    ParsedRecord record;
    for (auto step = records.next(record); step != DirectoryReader::Step::end;
         step = records.next(record)) {
      if (step == DirectoryReader::Step::broken) {
        visitor.broken(records);
        continue;
      }
      rock.clear();
      if (tree.rock_ridge) reader.read(record, tree.skip, rock);
      visitor.record(directory, record, rock,
                     tree.rock_ridge ? reader.areas() : std::span<const ContinuationArea>());
      if (!record.is_directory() || record.is_self() || record.is_parent()) continue;
      ScannedDirectory below = directory_of(source, directory, record);
      if (directory_begins(source, below.place, self) && known.insert(below.place).second) {
        pending.push_back(std::move(below));
      }
    }
  }
}

}  // namespace platter::filesystem::iso9660
