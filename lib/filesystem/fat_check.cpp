// The records of a FAT volume against one another.
#include <algorithm>
#include <array>

#include <fmt/format.h>

#include "filesystem/fat_volume.h"

namespace platter::filesystem {
namespace {

constexpr std::size_t kPieceBytes = 64 * 1024;

}  // namespace

void FatVolume::check_records() {
  check_state();
  if (layout_.mirrored) check_copies();
  check_entries();
  check_info();
  check_backup();
}

// Only the entries of clusters count: what a table has behind them is padding.
void FatVolume::check_copies() {
  const std::uint64_t meaningful =
      std::min(layout_.fat_bytes, divide_up(layout_.end_cluster() * layout_.width, 8));
  std::vector<std::byte> first(kPieceBytes);
  std::vector<std::byte> other(kPieceBytes);
  for (std::uint64_t copy = 1; copy < layout_.fat_copies; ++copy) {
    std::uint64_t differing = 0;
    std::uint64_t place = 0;
    for (std::uint64_t at = 0; at < meaningful; at += kPieceBytes) {
      const auto count =
          static_cast<std::size_t>(std::min<std::uint64_t>(kPieceBytes, meaningful - at));
      // What a short image does not hold reads as zero on both sides.
      if (view_.read(layout_.fat_start + at, std::span(first).first(count)) == 0) break;
      view_.read(layout_.place_of_copy(copy) + at, std::span(other).first(count));
      for (std::size_t i = 0; i < count; ++i) {
        if (first[i] == other[i]) continue;
        if (differing++ == 0) place = layout_.place_of_copy(copy) + at + i;
      }
    }
    if (differing == 0) continue;
    find(Severity::fault, FindingCode::filesystem_damaged, view_.start() + place, 1,
         fmt::format("copy {} of the allocation table differs from the first in {} bytes, "
                     "expected equal copies",
                     copy + 1, differing));
  }
}

void FatVolume::check_state() {
  const std::uint64_t table = view_.start() + layout_.place_of_copy(layout_.active_copy);
  const std::uint64_t head =
      view_.number(layout_.place_of_copy(layout_.active_copy), 1, ByteOrder::little);
  if (head != layout_.media) {
    find(Severity::fault, FindingCode::filesystem_damaged, table, 1,
         fmt::format("the allocation table begins with {:#04x}, expected the media byte {:#04x}",
                     head, layout_.media));
  }
  if (layout_.width == 12) return;
  const std::uint32_t state = table_.state_entry();
  const std::uint32_t clean = layout_.width == 16 ? 0x8000U : 0x08000000U;
  const std::uint32_t no_errors = clean >> 1U;
  const std::uint64_t at = table + layout_.width / 8;
  if ((state & clean) == 0) {
    find(Severity::caution, FindingCode::filesystem_damaged, at, layout_.width / 8,
         "the volume is marked as in use, expected it to be unmounted");
  }
  if ((state & no_errors) == 0) {
    find(Severity::caution, FindingCode::filesystem_damaged, at, layout_.width / 8,
         "the volume is marked as one where the medium gave errors, expected none");
  }
}

// Entries that lead nowhere; what else is wrong with chains shows when files are followed.
void FatVolume::check_entries() {
  std::uint64_t wrong = 0;
  std::uint64_t first = 0;
  for (std::uint64_t cluster = 2; cluster < table_.end_of_covered(); ++cluster) {
    const std::uint32_t entry = table_.entry(cluster);
    if (entry == 0 || entry >= kFatBad || layout_.is_cluster(entry)) continue;
    if (wrong++ == 0) first = cluster;
  }
  if (wrong != 0) {
    find(Severity::fault, FindingCode::filesystem_damaged,
         view_.start() + layout_.place_of_copy(layout_.active_copy) + first * layout_.width / 8,
         layout_.width / 8,
         fmt::format("{} entries of the allocation table lead to clusters that do not exist, the "
                     "first is that of cluster {}",
                     wrong, first));
  }
  if (layout_.fat_entries() < layout_.end_cluster()) {
    find(Severity::fault, FindingCode::filesystem_damaged, view_.start() + layout_.fat_start,
         layout_.fat_bytes,
         fmt::format("the allocation table has room for {} entries, expected {}",
                     layout_.fat_entries(), layout_.end_cluster()));
  }
}

void FatVolume::check_info() {
  if (layout_.info_sector == 0) return;
  const auto info = view_.record<kFatInfo>(layout_.info_sector, ByteOrder::little);
  if (info.get<"lead">() != kFatInfoLead || info.get<"info_signature">() != kFatInfoSignature) {
    find(Severity::caution, FindingCode::filesystem_damaged, info.start(), kFatInfo.bytes,
         "the info sector lacks its signatures");
    return;
  }
  const std::uint64_t claimed = info.get<"free_clusters">();
  const std::uint64_t counted = table_.count_free();
  if (claimed != kFatInfoUnknown && claimed != counted) {
    find(Severity::caution, FindingCode::filesystem_damaged, info.place_of<"free_clusters">(), 4,
         fmt::format("the info sector says that {} clusters are free, expected {}", claimed,
                     counted));
  }
  const std::uint64_t next = info.get<"next_cluster">();
  if (next != kFatInfoUnknown && next >= layout_.end_cluster()) {
    find(Severity::caution, FindingCode::filesystem_damaged, info.place_of<"next_cluster">(), 4,
         fmt::format("the info sector starts the search at cluster {}, expected at most {}", next,
                     layout_.clusters + 1));
  }
}

void FatVolume::check_backup() {
  if (layout_.backup_sector == 0) return;
  const auto boot = view_.record<kFat32BootSector>(0, ByteOrder::little);
  const auto backup = view_.record<kFat32BootSector>(layout_.backup_sector, ByteOrder::little);
  // The state byte changes with every mount, the copy does not follow.
  if (std::ranges::equal(boot.raw<"parameters">(), backup.raw<"parameters">()) &&
      boot.get<"fat_sectors">() == backup.get<"fat_sectors">() &&
      boot.get<"root_cluster">() == backup.get<"root_cluster">()) {
    return;
  }
  find(Severity::caution, FindingCode::filesystem_damaged, backup.start(), kFat32BootSector.bytes,
       "the copy of the boot sector describes another volume than the boot sector");
}

}  // namespace platter::filesystem
