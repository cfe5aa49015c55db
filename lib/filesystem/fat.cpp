// FAT12, FAT16 and FAT32: identification.
//
// Nearly every boot sector ends with 55 AA, so that proves nothing. What must agree is the
// parameter block within itself, and the allocation table, which begins with the block's media
// byte.
#include <algorithm>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include <fmt/format.h>

#include "core/claim.h"
#include "filesystem/fat_volume.h"

namespace platter::filesystem {
namespace {

constexpr std::uint64_t kMostLabelBytes = 64 * 1024;
constexpr std::uint64_t kEntryBytes = 32;

bool jumps(const FatBoot& boot) {
  const auto jump = boot.raw<"jump">();
  return (jump[0] == std::byte{0xEB} && jump[2] == std::byte{0x90}) || jump[0] == std::byte{0xE9};
}

struct Extension {
  bool has_serial = false;
  bool has_texts = false;
  std::uint64_t serial = 0;
  std::uint64_t state = 0;
  std::string label;
  std::string type_text;
};

template <const Structure& S>
Extension extension_of(const Record<S>& boot) {
  Extension extension;
  extension.has_texts = boot.template get<"extension">() == 0x29;
  extension.has_serial = extension.has_texts || boot.template get<"extension">() == 0x28;
  if (!extension.has_serial) return extension;
  extension.serial = boot.template get<"serial">();
  extension.state = boot.template get<"state">();
  if (!extension.has_texts) return extension;
  extension.label = boot.template text<"label">();
  extension.type_text = boot.template text<"type_text">();
  return extension;
}

// The first sectors of a root directory hold entries and nothing else.
bool is_plausible_root(const View& view, const FatLayout& layout) {
  const std::uint64_t place = layout.width == 32 && layout.is_cluster(layout.root_cluster)
                                  ? layout.place_of_cluster(layout.root_cluster)
                                  : layout.root_start;
  for (std::uint64_t at = 0; at < 512; at += kEntryBytes) {
    const auto entry = view.record<kFatEntry>(place + at, ByteOrder::little);
    const std::byte first = entry.raw<"name">()[0];
    if (first == std::byte{0}) return true;
    if (first == std::byte{kFatDeleted}) continue;
    if ((entry.get<"attributes">() & ~fat_attribute::all) != 0) return false;
    if (entry.get<"attributes">() == fat_attribute::long_name) continue;
    const auto name = entry.all().first(11);
    if (std::ranges::any_of(name.subspan(1), [](std::byte b) { return b < std::byte{0x20}; })) {
      return false;
    }
  }
  return true;
}

std::optional<Strength> strength_of(const View& view, const FatLayout& layout, const FatBoot& boot,
                                    const Extension& extension) {
  if (!layout.described) {
    return is_plausible_root(view, layout) ? std::optional(Strength::shape) : std::nullopt;
  }
  std::uint64_t heads = 0;
  for (std::uint64_t copy = 0; copy < layout.fat_copies; ++copy) {
    if (fat_head_agrees(view, layout, copy)) ++heads;
  }
  const bool marked = boot.get<"signature">() == kFatSignature;
  if (heads == layout.fat_copies) {
    if (marked || jumps(boot)) return Strength::sane;
    return is_plausible_root(view, layout) ? std::optional(Strength::sane) : std::nullopt;
  }
  // A damaged table: then everything else has to speak for it.
  const bool named = extension.has_texts && extension.type_text.starts_with("FAT");
  if (marked && jumps(boot) && (named || heads != 0)) return Strength::magic;
  return std::nullopt;
}

struct Label {
  std::string text;
  std::optional<Timestamp> time;
};

// The label's entry in the root directory, which systems prefer to the boot sector's.
std::optional<Label> label_in_root(const View& view, const FatLayout& layout) {
  std::uint64_t place = layout.root_start;
  std::uint64_t bytes = std::min(layout.root_bytes, kMostLabelBytes);
  if (layout.width == 32) {
    if (!layout.is_cluster(layout.root_cluster)) return std::nullopt;
    place = layout.place_of_cluster(layout.root_cluster);
    bytes = std::min(layout.cluster_bytes, kMostLabelBytes);
  }
  const std::vector<std::byte> directory = view.read_vector(place, bytes);
  for (std::size_t at = 0; at + kEntryBytes <= directory.size(); at += kEntryBytes) {
    const FatEntry entry(directory.data() + at, ByteOrder::little);
    const std::byte first = entry.raw<"name">()[0];
    if (first == std::byte{0}) break;
    const std::uint64_t kind =
        entry.get<"attributes">() & (fat_attribute::label | fat_attribute::directory);
    const bool part = (entry.get<"attributes">() & fat_attribute::all) == fat_attribute::long_name;
    if (first == std::byte{kFatDeleted} || part || kind != fat_attribute::label) continue;
    std::string text = unpadded_text(entry.all().first(11));
    if (!text.empty() && text[0] == kFatRealE5) text[0] = static_cast<char>(kFatDeleted);
    return Label{text, fat_time(entry.get<"modified_date">(), entry.get<"modified_time">())};
  }
  return std::nullopt;
}

// Cheap ones: a table of FAT12 or FAT16 is small, FAT32 keeps a count.
std::optional<std::uint64_t> free_clusters(const View& view, const FatLayout& layout) {
  if (layout.width != 32) return FatTable(view, layout).count_free();
  if (layout.info_sector == 0) return std::nullopt;
  const auto info = view.record<kFatInfo>(layout.info_sector, ByteOrder::little);
  const bool valid =
      info.get<"lead">() == kFatInfoLead && info.get<"info_signature">() == kFatInfoSignature;
  if (!valid || info.get<"free_clusters">() > layout.clusters) return std::nullopt;
  return info.get<"free_clusters">();
}

void add_state(Facts& facts, const View& view, const FatLayout& layout,
               const Extension& extension) {
  bool clean = (extension.state & 1U) == 0;
  if (layout.width != 12) {
    const std::uint32_t mark = layout.width == 16 ? 0x8000U : 0x08000000U;
    clean = clean && (FatTable(view, layout).state_entry() & mark) != 0;
  } else if (!extension.has_serial) {
    return;
  }
  facts.set("clean", clean ? "clean" : "not clean");
}

void add_facts(Claim& claim, const View& view, const FatLayout& layout, const FatBoot& boot,
               const Extension& extension) {
  Facts& facts = claim.facts;
  facts.set("byte_order", "little")
      .set("block_bytes", layout.cluster_bytes)
      .set("volume_bytes", layout.volume_bytes);
  const auto label = label_in_root(view, layout);
  const bool unnamed = extension.label == "NO NAME";
  facts.set_text("volume_name",
                 label     ? label->text
                 : unnamed ? ""
                           : extension.label,
                 Charset::cp437);
  if (const auto free = free_clusters(view, layout)) {
    facts.set("used_bytes", (layout.clusters - *free) * layout.cluster_bytes)
        .set("free_bytes", *free * layout.cluster_bytes);
  }
  if (label && label->time) facts.set("labelled", *label->time);
  if (extension.has_serial) {
    facts.set("serial",
              fmt::format("{:04X}-{:04X}", extension.serial >> 16U, extension.serial & 0xFFFFU));
  }
  add_state(facts, view, layout, extension);
  if (layout.described) facts.set_text("system", boot.text<"system">(), Charset::cp437);
  facts.set("sector_bytes", layout.sector_bytes)
      .set("clusters", layout.clusters)
      .set("fat_copies", layout.fat_copies)
      .set("media", layout.media);
  if (layout.described) {
    const auto block = boot.sub<"parameters">();
    facts.set("root_entries", block.get<"root_entries">())
        .set("heads", block.get<"heads">())
        .set("sectors_per_track", block.get<"track_sectors">());
  }
}

void add_records(Claim& claim, const View& view, const FatLayout& layout, const FatBoot& boot,
                 const Fat32Boot& wide) {
  if (!layout.described) return;
  if (layout.width != 32) {
    claim.records.push_back(boot.keep());
    return;
  }
  claim.records.push_back(wide.keep());
  if (layout.info_sector != 0) {
    claim.records.push_back(view.record<kFatInfo>(layout.info_sector, ByteOrder::little).keep());
  }
  if (layout.backup_sector != 0) {
    claim.records.push_back(
        view.record<kFat32BootSector>(layout.backup_sector, ByteOrder::little).keep("copy"));
  }
}

void add_findings(Claim& claim, const FatLayout& layout, const FatBoot& boot) {
  const auto damaged = [&](std::uint64_t at, std::uint64_t bytes, std::string message) {
    claim.find(Severity::fault, FindingCode::filesystem_damaged, at, bytes, std::move(message));
  };
  if (claim.strength == Strength::magic) {
    damaged(claim.start + layout.fat_start, 4,
            fmt::format("a copy of the allocation table does not begin with the media byte "
                        "{:#04x} and ones, as expected",
                        layout.media));
  }
  const std::uint64_t block = boot.place_of<"parameters">();
  if (layout.fat_entries() < layout.end_cluster()) {
    damaged(block + FieldReader<kFatParameters>::offset_of<"fat_sectors">(), 2,
            fmt::format("the allocation table has room for {} entries, expected {}",
                        layout.fat_entries(), layout.end_cluster()));
  }
  if (layout.width == 32 && !layout.is_cluster(layout.root_cluster)) {
    damaged(claim.start + Fat32Boot::offset_of<"root_cluster">(), 4,
            fmt::format("the root directory starts at cluster {}, expected one from 2 to {}",
                        layout.root_cluster, layout.clusters + 1));
  }
}

std::vector<Claim> claims_of_width(const View& view, unsigned width) {
  const auto layout = fat_layout(view);
  if (!layout || layout->width != width) return {};
  const auto boot = view.record<kFatBootSector>(0, ByteOrder::little);
  const auto wide = view.record<kFat32BootSector>(0, ByteOrder::little);
  const Extension extension = !layout->described ? Extension{}
                              : width == 32      ? extension_of(wide)
                                                 : extension_of(boot);
  const auto strength = strength_of(view, *layout, boot, extension);
  if (!strength) return {};
  std::vector<Claim> result(1);
  Claim& claim = result.front();
  claim.strength = *strength;
  claim.start = view.start();
  claim.bytes = layout->volume_bytes;
  claim.title = fmt::format("FAT{} filesystem", width);
  add_facts(claim, view, *layout, boot, extension);
  add_findings(claim, *layout, boot);
  if (!claim.findings.empty()) claim.strength = std::min(claim.strength, Strength::magic);
  add_records(claim, view, *layout, boot, wide);
  return result;
}

template <unsigned Width>
std::vector<Claim> claims(const View& view, const Context&) {
  return claims_of_width(view, Width);
}

std::unique_ptr<Volume> open(const View& view, const VolumeOptions& options) {
  const auto layout = fat_layout(view);
  if (!layout) return nullptr;
  return std::make_unique<FatVolume>(view, *layout, options);
}

}  // namespace

extern const Format fat12_format;
extern const Format fat16_format;
extern const Format fat32_format;
const Format fat12_format = {.id = "fat12",
                             .title = "FAT12 filesystem",
                             .stage = Stage::filesystem,
                             .claims = claims<12>,
                             .open = open};
const Format fat16_format = {.id = "fat16",
                             .title = "FAT16 filesystem",
                             .stage = Stage::filesystem,
                             .claims = claims<16>,
                             .open = open};
const Format fat32_format = {.id = "fat32",
                             .title = "FAT32 filesystem",
                             .stage = Stage::filesystem,
                             .claims = claims<32>,
                             .open = open};

}  // namespace platter::filesystem
