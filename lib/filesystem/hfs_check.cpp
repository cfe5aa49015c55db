// The records of an HFS volume against one another.
#include <algorithm>

#include <fmt/format.h>

#include "filesystem/hfs_valences.h"
#include "filesystem/hfs_volume.h"

namespace platter::filesystem {

void HfsVolume::check_records() {
  check_bitmap();
  check_spare();
  check_catalog();
}

void HfsVolume::check_bitmap() {
  const std::vector<bool> used = bitmap();
  const auto free = static_cast<std::uint64_t>(std::ranges::count(used, false));
  if (free == header_.get<"free_blocks">()) return;
  find(Severity::caution, FindingCode::filesystem_damaged, header_.place_of<"free_blocks">(), 2,
       fmt::format("the header says that {} blocks are free, expected {} by the bitmap",
                   header_.get<"free_blocks">(), free));
}

void HfsVolume::check_spare() {
  const std::uint64_t end = hfs_blocks_end(header_);
  // Builders of hybrid discs leave the copy out; an image that is cut short has lost it.
  if (end >= view_.bytes() || is_hybrid(bitmap())) return;
  const auto spare = hfs_spare(view_, header_);
  if (!spare) {
    find(Severity::note, FindingCode::filesystem_damaged, image_place(end), 2 * kHfsNodeBytes,
         "there is no copy of the header behind the last block");
    return;
  }
  if (spare->get<"bitmap_start">() == header_.get<"bitmap_start">() &&
      spare->get<"first_block">() == header_.get<"first_block">()) {
    return;
  }
  find(Severity::caution, FindingCode::filesystem_damaged, spare->start(), kHfsHeader.bytes,
       fmt::format("the copy of the header has its first block at {}, expected {}",
                   spare->get<"first_block">(), header_.get<"first_block">()));
}

// Along all leaves of the catalog: order of keys, counts, and how many children each directory has.
void HfsVolume::check_catalog() {
  HfsValences valences;
  std::uint64_t records = 0;
  std::uint64_t files = 0;
  std::uint64_t directories = 0;
  std::uint64_t last_parent = 0;
  std::uint64_t last_leaf = 0;
  std::string last_name;
  bool ordered = true;
  catalog_.each([&](const HfsTreeNode& node, std::size_t index) {
    const auto record = node.record(index);
    const auto data = hfs_record_data(record);
    ++records;
    last_leaf = node.number;
    if (data.empty()) return true;
    const auto [parent, name] = hfs_catalog_key(record);
    const bool rises = records == 1 || parent > last_parent ||
                       (parent == last_parent && compare_hfs_names(last_name, name) < 0);
    if (!rises && ordered) {
      ordered = false;
      find(Severity::fault, FindingCode::filesystem_damaged, image_place(node.place), kHfsNodeBytes,
           fmt::format("record {} of catalog leaf {} has a key that is not above the one before",
                       index, node.number));
    }
    last_parent = parent;
    last_name.assign(name);
    const auto kind = std::to_integer<std::uint64_t>(data[0]);
    if (kind != kHfsFileRecord && kind != kHfsDirectoryRecord) return true;
    ++(kind == kHfsFileRecord ? files : directories);
    if (parent != kHfsRootParent) valences.entry_in(parent);
    if (kind == kHfsDirectoryRecord && data.size() >= kHfsDirectory.bytes) {
      const FieldReader<kHfsDirectory> directory(data.data(), ByteOrder::big);
      valences.claim(directory.get<"id">(), directory.get<"valence">());
    }
    return true;
  });
  collect(catalog_);
  const auto& head = catalog_.header();
  if (records != head.get<"leaf_records">() || (ordered && last_leaf != head.get<"last_leaf">())) {
    find(
        Severity::fault, FindingCode::filesystem_damaged, head.start(), kHfsTreeHeader.bytes,
        fmt::format("the catalog's leaves hold {} records and end with node {}, expected {} and {}",
                    records, last_leaf, head.get<"leaf_records">(), head.get<"last_leaf">()));
  }
  if (head.get<"node_bytes">() != kHfsNodeBytes) {
    find(Severity::fault, FindingCode::filesystem_damaged, head.place_of<"node_bytes">(), 2,
         fmt::format("the catalog's nodes have {} bytes, expected {}", head.get<"node_bytes">(),
                     kHfsNodeBytes));
  }
  // Some writers count the root among the directories, most do not.
  const std::uint64_t stated = header_.get<"directories">();
  if (files != header_.get<"files">() || (directories != stated && directories != stated + 1)) {
    find(
        Severity::caution, FindingCode::filesystem_damaged, header_.place_of<"files">(), 8,
        fmt::format("the header counts {} files and {} directories, expected {} and {}",
                    header_.get<"files">(), stated, files, directories == 0 ? 0 : directories - 1));
  }
  for (std::string& complaint : valences.complaints()) {
    find(Severity::caution, FindingCode::filesystem_damaged, image_place(kHfsHeaderPlace), 0,
         std::move(complaint));
  }
}

}  // namespace platter::filesystem
