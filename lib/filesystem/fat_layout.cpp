#include "filesystem/fat_layout.h"

#include <algorithm>
#include <array>

namespace platter::filesystem {
namespace {

constexpr std::uint64_t kEntryBytes = 32;
constexpr std::uint64_t kFewestFat16 = 4085;

bool is_media(std::uint64_t media) {
  return media == 0xF0 || media >= 0xF8;
}

bool is_sensible(const FieldReader<kFatParameters>& block) {
  // Sectors above 4096 bytes are logical ones of TOS; common practice, no source.
  return is_power_of_two_in(block.get<"sector_bytes">(), 128, 16384) &&
         is_power_of_two_in(block.get<"cluster_sectors">(), 1, 128) &&
         block.get<"reserved_sectors">() != 0 && block.get<"fat_copies">() >= 1 &&
         block.get<"fat_copies">() <= 4 && is_media(block.get<"media">());
}

void add_fat32_fields(FatLayout& layout, const Fat32Boot& boot) {
  constexpr std::uint64_t kOneCopyOnly = 0x80;
  layout.root_cluster = boot.get<"root_cluster">();
  const std::uint64_t flags = boot.get<"flags">();
  if ((flags & kOneCopyOnly) != 0) {
    layout.mirrored = false;
    layout.active_copy = std::min(flags & 0xFU, layout.fat_copies - 1);
  }
  const auto place = [&](std::uint64_t sector) {
    const std::uint64_t reserved = layout.fat_start / layout.sector_bytes;
    return sector < reserved ? sector * layout.sector_bytes : 0;
  };
  layout.info_sector = place(boot.get<"info_sector">());
  layout.backup_sector = place(boot.get<"backup_sector">());
}

}  // namespace

std::optional<FatLayout> fat_layout_of(const FatBoot& boot) {
  const auto block = boot.sub<"parameters">();
  if (!is_sensible(block)) return std::nullopt;
  Fat32Boot wide(ByteOrder::little, boot.start());
  std::ranges::copy(boot.all(), wide.storage().begin());
  const bool is_wide = block.get<"fat_sectors">() == 0;
  if (is_wide && (block.get<"root_entries">() != 0 || wide.get<"version">() != 0)) {
    return std::nullopt;
  }
  if (!is_wide && block.get<"root_entries">() == 0) return std::nullopt;

  FatLayout layout;
  layout.sector_bytes = block.get<"sector_bytes">();
  layout.cluster_bytes = layout.sector_bytes * block.get<"cluster_sectors">();
  layout.fat_start = layout.sector_bytes * block.get<"reserved_sectors">();
  layout.fat_copies = block.get<"fat_copies">();
  layout.fat_bytes =
      layout.sector_bytes * (is_wide ? wide.get<"fat_sectors">() : block.get<"fat_sectors">());
  layout.root_start = layout.fat_start + layout.fat_copies * layout.fat_bytes;
  layout.root_bytes = divide_up(block.get<"root_entries">() * kEntryBytes, layout.sector_bytes) *
                      layout.sector_bytes;
  layout.data_start = layout.root_start + layout.root_bytes;
  layout.media = block.get<"media">();
  const std::uint64_t sectors =
      block.get<"sectors">() != 0 ? block.get<"sectors">() : block.get<"large_sectors">();
  layout.volume_bytes = sectors * layout.sector_bytes;
  if (layout.fat_bytes == 0 || layout.volume_bytes < layout.data_start) return std::nullopt;
  layout.clusters = (layout.volume_bytes - layout.data_start) / layout.cluster_bytes;
  if (layout.clusters == 0) return std::nullopt;
  layout.width = is_wide ? 32 : layout.clusters < kFewestFat16 ? 12 : 16;
  if (is_wide) add_fat32_fields(layout, wide);
  return layout;
}

std::optional<FatLayout> fat_layout_by_size(const View& view) {
  struct Floppy {
    std::uint64_t kib;
    std::uint64_t media;
    std::uint64_t cluster_sectors;
    std::uint64_t fat_sectors;
    std::uint64_t root_entries;
  };
  static constexpr std::array<Floppy, 4> kFloppies = {{{160, 0xFE, 1, 1, 64},
                                                       {180, 0xFC, 1, 2, 64},
                                                       {320, 0xFF, 2, 1, 112},
                                                       {360, 0xFD, 2, 2, 112}}};
  constexpr std::uint64_t kSector = 512;
  const auto found = std::ranges::find(kFloppies, view.bytes(),
                                       [](const Floppy& floppy) { return floppy.kib * 1024; });
  if (found == kFloppies.end()) return std::nullopt;
  FatLayout layout;
  layout.described = false;
  layout.width = 12;
  layout.sector_bytes = kSector;
  layout.cluster_bytes = kSector * found->cluster_sectors;
  layout.fat_start = kSector;
  layout.fat_copies = 2;
  layout.fat_bytes = kSector * found->fat_sectors;
  layout.root_start = layout.fat_start + 2 * layout.fat_bytes;
  layout.root_bytes = found->root_entries * kEntryBytes;
  layout.data_start = layout.root_start + layout.root_bytes;
  layout.volume_bytes = view.bytes();
  layout.clusters = (layout.volume_bytes - layout.data_start) / layout.cluster_bytes;
  layout.media = found->media;
  if (!fat_head_agrees(view, layout, 0) || !fat_head_agrees(view, layout, 1)) return std::nullopt;
  return layout;
}

std::optional<FatLayout> fat_layout(const View& view) {
  auto layout = fat_layout_of(view.record<kFatBootSector>(0, ByteOrder::little));
  return layout ? layout : fat_layout_by_size(view);
}

bool fat_head_agrees(const View& view, const FatLayout& layout, std::uint64_t copy) {
  // Entry 0 is the media byte with ones above it. Of entry 1 only the two upper bits may be clear
  // (FAT16, FAT32: not unmounted, errors met), and FAT12 has no such bits.
  const std::uint64_t head = view.number(layout.place_of_copy(copy), 4, ByteOrder::little);
  if ((head & 0xFFU) != layout.media) return false;
  switch (layout.width) {
    case 12:
      return (head & 0xFFFF00U) == 0xFFFF00U;
    case 16:
      return (head & 0x3FF8FF00U) == 0x3FF8FF00U;  // some formatters write an end mark, FFF8
    default:
      return (head & 0x0FFFFF00U) == 0x0FFFFF00U;
  }
}

}  // namespace platter::filesystem
