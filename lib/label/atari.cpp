// Atari root sector (AHDI): four entries in sector 0, chains of further root sectors (XGM), eight
// more entries of ICD drivers. It has no magic, so that its fields must speak for it.
#include <algorithm>
#include <array>
#include <optional>
#include <string>
#include <vector>

#include <fmt/format.h>

#include "core/checksum.h"
#include "core/claim.h"
#include "label/atari_label.h"
#include "label/mbr_label.h"

namespace platter::label {
namespace {

constexpr std::uint64_t kBlock = 512;
constexpr std::size_t kPrimaries = 4;
constexpr std::size_t kIcdEntries = 8;
constexpr std::size_t kMostLinks = 100;
constexpr std::array<std::string_view, 7> kKnownIds = {"GEM", "BGM", "RAW", "LNX",
                                                       "SWP", "MIX", "UNX"};
constexpr std::string_view kExtended = "XGM";

using Root = Record<kAtariRoot>;
using Entry = FieldReader<kAtariEntry>;

std::string id_of(const Entry& entry) {
  std::string id;
  for (const std::byte byte : entry.raw<"id">())
    id += static_cast<char>(byte);
  return id;
}

bool is_known(const std::string& id) {
  return id == kExtended || std::ranges::find(kKnownIds, id) != kKnownIds.end();
}

bool is_alphanumeric(const std::string& id) {
  return std::ranges::all_of(id, [](char c) {
    return (c >= '0' && c <= '9') || (c >= 'A' && c <= 'Z') || (c >= 'a' && c <= 'z');
  });
}

// Only two of the eight bits have a meaning; text and code in this place set others too.
bool is_active(const Entry& entry) {
  return entry.get<"flags">() == 0x01 || entry.get<"flags">() == 0x81;
}

bool is_valid(const Entry& entry, std::uint64_t disk_blocks) {
  return is_active(entry) && is_alphanumeric(id_of(entry)) && entry.get<"first">() != 0 &&
         entry.get<"blocks">() != 0 &&
         fits_within(entry.get<"first">(), entry.get<"blocks">(), disk_blocks);
}

// The table of an MBR and the parameter block of a FAT lie in the same bytes; both have the last
// word.
bool belongs_to_another(const Root& root, const View& view) {
  if (root.raw<"checksum">()[0] == std::byte{0x55} &&
      root.raw<"checksum">()[1] == std::byte{0xAA}) {
    return true;
  }
  const auto sector = view.record<kBootSector>(0, ByteOrder::little);
  return is_power_of_two_in(sector.get<"sector_bytes">(), 128, 4096) &&
         is_power_of_two_in(sector.get<"cluster_sectors">(), 1, 128) &&
         sector.get<"reserved_sectors">() != 0 && sector.get<"tables">() != 0 &&
         sector.get<"tables">() <= 4 && sector.get<"media">() >= 0xF0;
}

bool can_be_started(const Root& root) {
  return (sum_of_words16(root.all(), ByteOrder::big) & 0xFFFFU) == kAtariBootSum;
}

// The disk's length as stated, or the image's when that cannot be.
std::uint64_t disk_blocks_of(const Root& root, const View& view) {
  return root.get<"disk_blocks">() >= 2 ? root.get<"disk_blocks">() : view.bytes() / kBlock;
}

bool is_root(const Root& root, const View& view) {
  if (!root.complete() || belongs_to_another(root, view)) return false;
  const std::uint64_t disk_blocks = disk_blocks_of(root, view);
  std::size_t known = 0;
  std::size_t valid = 0;
  for (std::size_t i = 0; i < kPrimaries; ++i) {
    const auto entry = root.sub<"entry">(i);
    if (!is_valid(entry, disk_blocks)) continue;
    ++valid;
    // The letters alone are little; a slice in use begins in the part of the disk that is there.
    const bool begins = entry.get<"first">() < view.bytes() / kBlock;
    known += begins && is_known(id_of(entry)) ? 1 : 0;
  }
  if (known != 0) return true;
  // Letters that nobody knows are believed only with more evidence.
  return valid != 0 && disk_blocks <= view.bytes() / kBlock && (can_be_started(root) || valid > 1);
}

/// What is gathered on the way through the tables.
struct Walk {
  const View& view;
  Claim& claim;
  std::uint64_t disk_blocks = 0;
  unsigned number = 1;  // counted as Linux does: each primary slot takes one
};

void add_slice(Walk& walk, const Entry& entry, std::uint64_t entry_place, std::uint64_t base,
               std::string id, SliceRole role) {
  const std::uint64_t first = base + entry.get<"first">();
  const std::uint64_t blocks = entry.get<"blocks">();
  if (blocks == 0) {
    walk.claim.find(Severity::caution, FindingCode::label_field,
                    entry_place + Entry::offset_of<"blocks">(), 4,
                    fmt::format("slice {} of the Atari label is in use and has no sectors", id));
    return;
  }
  if (first == 0 || !fits_within(first, blocks, walk.disk_blocks)) {
    walk.claim.find(
        Severity::caution, FindingCode::label_field, entry_place + Entry::offset_of<"first">(), 8,
        fmt::format("slice {} of the Atari label covers sectors {} to {}, the disk has {} with the "
                    "label in sector 0",
                    id, first, first + blocks - 1, walk.disk_blocks));
  }
  Slice slice;
  slice.id = std::move(id);
  slice.start = saturating_add(walk.view.start(), first * kBlock);
  slice.bytes = blocks * kBlock;
  slice.role = role;
  slice.facts.set("name", slice.id)
      .set_text("type_name", id_of(entry))
      .set("bootable", (entry.get<"flags">() & 0x80U) != 0);
  walk.claim.slices.push_back(std::move(slice));
}

SliceRole role_of(const std::string& id) {
  return id == "SWP" ? SliceRole::swap : SliceRole::data;
}

void cut(Walk& walk, Severity severity, std::uint64_t at, std::uint64_t bytes,
         std::string message) {
  walk.claim.find(severity, FindingCode::slice_order, at, bytes, std::move(message));
}

// The data entry of a further root sector: normally the first, at times behind empty ones
// (libblkid takes the first one in use of the first three).
std::optional<std::uint32_t> data_entry(const Root& root) {
  for (std::uint32_t i = 0; i + 1 < kPrimaries; ++i) {
    if ((root.sub<"entry">(i).get<"flags">() & 1U) != 0) return i;
  }
  return std::nullopt;
}

/// The sector of the next root sector; nothing at the end of the chain.
std::optional<std::uint64_t> add_link(Walk& walk, const Root& root, std::uint64_t sector,
                                      std::uint64_t outermost, std::string& id) {
  const auto index = data_entry(root);
  if (!index || id_of(root.sub<"entry">(*index)) == kExtended) {
    cut(walk, Severity::fault, root.place_of<"entry">(), kAtariEntry.bytes,
        fmt::format("the XGM root sector at {} has no data slice", sector));
    return std::nullopt;
  }
  const auto entry = root.sub<"entry">(*index);
  add_slice(walk, entry, root.place_of<"entry">(*index), sector, id, role_of(id_of(entry)));
  const auto link = root.sub<"entry">(*index + 1);
  if ((link.get<"flags">() & 1U) == 0) return std::nullopt;
  const std::uint64_t place = root.place_of<"entry">(*index + 1);
  const std::uint64_t next = outermost + link.get<"first">();
  if (id_of(link) != kExtended) {
    cut(walk, Severity::fault, place, kAtariEntry.bytes,
        fmt::format("the XGM root sector at {} links with an entry that is not XGM", sector));
  } else if (next <= sector) {
    cut(walk, Severity::fault, place, kAtariEntry.bytes,
        fmt::format("the XGM root sector at {} leads back to sector {}", sector, next));
  } else {
    id = std::to_string(++walk.number);
    return next;
  }
  return std::nullopt;
}

void walk_chain(Walk& walk, std::uint64_t outermost) {
  std::string id = std::to_string(walk.number);
  std::uint64_t sector = outermost;
  for (std::size_t links = 0; links < kMostLinks; ++links) {
    const auto root = walk.view.record<kAtariRoot>(sector * kBlock, ByteOrder::big);
    if (!root.complete()) {
      return cut(walk, Severity::caution, root.start(), kBlock,
                 fmt::format("the chain of XGM root sectors goes on at sector {}, the image ends "
                             "before it",
                             sector));
    }
    walk.claim.records.push_back(root.keep("XGM root sector"));
    const auto next = add_link(walk, root, sector, outermost, id);
    if (!next) return;
    sector = *next;
  }
  cut(walk, Severity::fault, saturating_add(walk.view.start(), sector * kBlock), kBlock,
      fmt::format("the chain of XGM root sectors has more than {}", kMostLinks));
}

bool add_primaries(Walk& walk, const Root& root) {
  bool extended = false;
  for (std::uint32_t i = 0; i < kPrimaries; ++i, ++walk.number) {
    const auto entry = root.sub<"entry">(i);
    if ((entry.get<"flags">() & 1U) == 0) continue;
    const std::uint64_t place = root.place_of<"entry">(i);
    if (id_of(entry) != kExtended) {
      add_slice(walk, entry, place, 0, std::to_string(walk.number), role_of(id_of(entry)));
      continue;
    }
    add_slice(walk, entry, place, 0, fmt::format("xgm-{}", i + 1), SliceRole::container);
    if (entry.get<"first">() != 0) walk_chain(walk, entry.get<"first">());
    extended = true;
  }
  return extended;
}

// ICD and Supra drivers use the end of the boot code for more entries when there is no chain.
void add_icd(Walk& walk, const Root& root) {
  const std::string first = id_of(root.sub<"icd_entry">(0));
  if (first == kExtended || !is_known(first)) return;
  walk.claim.facts.set("icd", true);
  for (std::uint32_t i = 0; i < kIcdEntries; ++i, ++walk.number) {
    const auto entry = root.sub<"icd_entry">(i);
    const std::string id = id_of(entry);
    if ((entry.get<"flags">() & 1U) == 0 || id == kExtended || !is_known(id)) continue;
    add_slice(walk, entry, root.place_of<"icd_entry">(i), 0, std::to_string(walk.number),
              role_of(id));
  }
}

void check_fields(Walk& walk, const Root& root) {
  if (root.get<"disk_blocks">() < 2) {
    walk.claim.find(Severity::caution, FindingCode::label_field, root.place_of<"disk_blocks">(), 4,
                    fmt::format("the Atari label gives the disk {} sectors; the image's length is "
                                "used",
                                root.get<"disk_blocks">()));
  }
  const std::uint64_t bad = root.get<"bad_blocks">();
  if (bad == 0 || fits_within(root.get<"bad_first">(), bad, walk.disk_blocks)) return;
  walk.claim.find(
      Severity::caution, FindingCode::label_field, root.place_of<"bad_first">(), 8,
      fmt::format("the list of bad sectors covers sectors {} to {}, the disk has {}",
                  root.get<"bad_first">(), root.get<"bad_first">() + bad - 1, walk.disk_blocks));
}

std::vector<Claim> claims(const View& view, const Context& context) {
  (void)context;
  const auto root = view.record<kAtariRoot>(0, ByteOrder::big);
  if (!is_root(root, view)) return {};
  std::vector<Claim> result(1);
  Claim& claim = result.front();
  claim.strength = can_be_started(root) ? Strength::proven : Strength::sane;
  claim.start = view.start();
  claim.bytes = root.get<"disk_blocks">() >= 2 ? root.get<"disk_blocks">() * kBlock : 0;
  claim.title = "Atari root sector (AHDI)";
  claim.facts.set("byte_order", "big")
      .set("checksum", "none")
      .set("sector_bytes", kBlock)
      .set("bootable", can_be_started(root));
  if (root.get<"bad_blocks">() != 0) {
    claim.facts
        .set("bad_list_start", saturating_add(view.start(), root.get<"bad_first">() * kBlock))
        .set("bad_list_bytes", root.get<"bad_blocks">() * kBlock);
  }
  claim.records.push_back(root.keep());
  Walk walk{view, claim, disk_blocks_of(root, view)};
  check_fields(walk, root);
  if (!add_primaries(walk, root)) add_icd(walk, root);
  return result;
}

}  // namespace

extern const Format atari_format;
const Format atari_format = {
    .id = "atari", .title = "Atari root sector (AHDI)", .stage = Stage::label, .claims = claims};

}  // namespace platter::label
