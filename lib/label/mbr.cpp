// Master boot record: four entries in sector 0, and the chain of extended ones.
#include <algorithm>
#include <array>
#include <string>
#include <vector>

#include <fmt/format.h>

#include "core/claim.h"
#include "label/mbr_geometry.h"
#include "label/mbr_label.h"

namespace platter::label {
namespace {

constexpr std::uint64_t kBlock = 512;
constexpr std::size_t kEntries = 4;
constexpr std::uint64_t kMostSectors = std::uint64_t{1} << 32U;
// The chain is cut after so many records, or after so many in a row without a slice (libblkid).
constexpr std::size_t kMostLinks = 512;
constexpr std::size_t kMostEmptyLinks = 100;
constexpr std::size_t kMostPairs = 64;
constexpr std::uint64_t kGptProtective = 0xEE;

using Mbr = Record<kMbr>;
using Entry = FieldReader<kMbrEntry>;

bool is_extended(const Entry& entry) {
  const std::uint64_t type = entry.get<"type">();
  return type == 0x05 || type == 0x0F || type == 0x85;
}

bool is_active(const Entry& entry) {
  return entry.get<"flag">() == 0x80;
}

// An optical volume made to start from a disk as well has slices that begin at sector 0 or have no
// type; nothing else should.
bool holds_iso9660(const View& view) {
  return view.holds(32769, "CD001");
}

bool may_start_at_zero(std::uint64_t type) {
  // 0x41: Linux arch/ppc/boot/utils/mkprep.c makes floppies with it.
  constexpr std::array<std::uint64_t, 6> kTypes = {0x41, 0x96, 0xA5, 0xA6, 0xA9, kGptProtective};
  return std::ranges::find(kTypes, type) != kTypes.end();
}

bool is_sensible(const Entry& entry, bool optical) {
  if (entry.get<"sectors">() == 0 || entry.get<"first">() + entry.get<"sectors">() > kMostSectors) {
    return false;
  }
  if (optical) return true;
  return entry.get<"type">() != 0 &&
         (entry.get<"first">() != 0 || may_start_at_zero(entry.get<"type">()));
}

// FAT, NTFS and their kin end their boot sector with the same two bytes.
bool is_boot_sector(const View& view) {
  const auto sector = view.record<kBootSector>(0, ByteOrder::little);
  const auto jump = sector.raw<"jump">();
  const bool jumps =
      (jump[0] == std::byte{0xEB} && jump[2] == std::byte{0x90}) || jump[0] == std::byte{0xE9};
  if (!jumps) return false;
  const std::string system = sector.text<"system">();
  if (system == "NTFS" || system == "EXFAT") return true;
  const std::uint64_t media = sector.get<"media">();
  return is_power_of_two_in(sector.get<"sector_bytes">(), 128, 4096) &&
         is_power_of_two_in(sector.get<"cluster_sectors">(), 1, 128) &&
         sector.get<"reserved_sectors">() != 0 && sector.get<"tables">() != 0 &&
         sector.get<"tables">() <= 4 && (media == 0xF0 || media >= 0xF8);
}

// Beside a parameter block only a table without a flaw is believed: boot loaders copy the block
// into true MBRs, while a boot sector has code or messages where the table would be.
bool is_flawless(const Mbr& mbr, const View& view) {
  const std::uint64_t sectors = view.bytes() / kBlock;
  std::uint64_t end_before = 1;
  bool any = false;
  for (std::size_t i = 0; i < kEntries; ++i) {
    const auto entry = mbr.sub<"entry">(i);
    if (entry.get<"type">() == 0 && entry.get<"sectors">() == 0) continue;
    const std::uint64_t first = entry.get<"first">();
    const bool known = !name_of(kMbrTypes, entry.get<"type">()).empty();
    if (!known || !is_sensible(entry, false) || first < end_before ||
        !fits_within(first, entry.get<"sectors">(), sectors)) {
      return false;
    }
    end_before = first + entry.get<"sectors">();
    any = true;
  }
  return any;
}

bool is_table(const Mbr& mbr, const View& view) {
  constexpr std::uint64_t kAixVolume = 0xC9C2D4C1;  // "IBMA" in EBCDIC: an AIX physical volume
  if (!mbr.complete() || mbr.get<"signature">() != kMbrSignature ||
      decode_unsigned(mbr.all().first(4), ByteOrder::big) == kAixVolume) {
    return false;
  }
  for (std::size_t i = 0; i < kEntries; ++i) {
    if ((mbr.sub<"entry">(i).get<"flag">() & 0x7FU) != 0) return false;
  }
  if (is_boot_sector(view) && !is_flawless(mbr, view)) return false;
  const bool optical = holds_iso9660(view);
  for (std::size_t i = 0; i < kEntries; ++i) {
    if (is_sensible(mbr.sub<"entry">(i), optical)) return true;
  }
  return false;
}

/// What is gathered on the way through the tables.
struct Walk {
  const View& view;
  Claim& claim;
  std::vector<ChsPair> pairs = {};
  unsigned next_logical = 5;

  [[nodiscard]] std::uint64_t place(std::uint64_t sector) const noexcept {
    return saturating_add(view.start(), sector * kBlock);
  }
};

// Cylinder 1023 stands for "too far to say", sector 0 for "not filled in".
void add_pair(Walk& walk, const Entry& entry, std::uint64_t entry_place, std::uint64_t first) {
  const auto add = [&](std::uint64_t head, std::uint64_t packed, std::uint64_t cylinder_low,
                       std::uint64_t lba, bool is_end, std::uint64_t at) {
    const std::uint64_t cylinder = cylinder_low | (packed & 0xC0U) << 2U;
    const std::uint64_t sector = packed & 0x3FU;
    if (cylinder >= 1023 || sector == 0 || walk.pairs.size() >= kMostPairs) return;
    walk.pairs.push_back({cylinder, head, sector, lba, is_end, at});
  };
  add(entry.get<"start_head">(), entry.get<"start_sector">(), entry.get<"start_cylinder">(), first,
      false, entry_place + Entry::offset_of<"start_head">());
  add(entry.get<"end_head">(), entry.get<"end_sector">(), entry.get<"end_cylinder">(),
      first + entry.get<"sectors">() - 1, true, entry_place + Entry::offset_of<"end_head">());
}

SliceRole role_of(const Entry& entry) {
  if (is_extended(entry)) return SliceRole::container;
  switch (entry.get<"type">()) {
    case kGptProtective:
      return SliceRole::metadata;
    case 0xB8:
      return SliceRole::swap;
    default:
      return SliceRole::data;
  }
}

void add_slice(Walk& walk, const Entry& entry, std::uint64_t first, unsigned number) {
  Slice slice;
  slice.id = std::to_string(number);
  slice.start = walk.place(first);
  slice.bytes = entry.get<"sectors">() * kBlock;
  slice.role = role_of(entry);
  slice.type = entry.get<"type">();
  slice.facts.set("name", slice.id)
      .set("type", *slice.type)
      .set("type_name", name_of(kMbrTypes, *slice.type, "unknown"))
      .set("active", is_active(entry));
  walk.claim.slices.push_back(std::move(slice));
}

void check_place(Walk& walk, const Entry& entry, std::uint64_t entry_place, std::uint64_t first,
                 std::string_view id) {
  if (first == 0 && !holds_iso9660(walk.view) && !may_start_at_zero(entry.get<"type">())) {
    walk.claim.find(Severity::caution, FindingCode::label_field,
                    entry_place + Entry::offset_of<"first">(), 4,
                    fmt::format("slice {} starts at sector 0, on the MBR itself", id));
  }
  if (first + entry.get<"sectors">() <= kMostSectors) return;
  walk.claim.find(Severity::caution, FindingCode::label_field,
                  entry_place + Entry::offset_of<"first">(), 8,
                  fmt::format("slice {} starts at sector {} and has {} sectors, together more than "
                              "the 32-bit sector numbers of an MBR reach",
                              id, first, entry.get<"sectors">()));
}

void cut_chain(Walk& walk, Severity severity, std::uint64_t at, std::uint64_t length,
               std::string message) {
  walk.claim.find(severity, FindingCode::slice_order, at, length, std::move(message));
}

struct Link {
  std::uint64_t sector = 0;   // of the record looked at
  std::uint64_t sectors = 0;  // that its link gave it
};

// Data entries count from their own record. Linux and libblkid believe the third and fourth entry
// only when they stay inside; OS/2 used all four.
bool add_logicals(Walk& walk, const Mbr& record, const Link& link, const Link& outermost) {
  bool any = false;
  for (std::uint32_t i = 0; i < kEntries; ++i) {
    const auto entry = record.sub<"entry">(i);
    const std::uint64_t sectors = entry.get<"sectors">();
    if (sectors == 0 || is_extended(entry)) continue;
    const std::uint64_t first = link.sector + entry.get<"first">();
    const std::uint64_t offset = first - outermost.sector;
    const bool inside = fits_within(offset, sectors, outermost.sectors);
    if (i >= 2 && (!inside || !fits_within(entry.get<"first">(), sectors, link.sectors))) continue;
    const unsigned number = walk.next_logical++;
    if (!inside) {
      walk.claim.find(
          Severity::caution, FindingCode::label_field, record.place_of<"entry">(i), kMbrEntry.bytes,
          fmt::format("logical slice {} covers sectors {} to {}, its extended slice ends before {}",
                      number, first, first + sectors - 1, outermost.sector + outermost.sectors));
    }
    add_pair(walk, entry, record.place_of<"entry">(i), first);
    add_slice(walk, entry, first, number);
    any = true;
  }
  return any;
}

// The first extended entry with a size leads on; DR-DOS puts it before the data entry at times.
std::size_t link_of(const Mbr& record) {
  for (std::size_t i = 0; i < kEntries; ++i) {
    const auto entry = record.sub<"entry">(i);
    if (entry.get<"sectors">() != 0 && is_extended(entry)) return i;
  }
  return kEntries;
}

bool is_record(Walk& walk, const Mbr& record, const Link& link) {
  if (!record.complete()) {
    cut_chain(
        walk, Severity::caution, record.start(), kBlock,
        fmt::format("the chain of logical slices goes on at sector {}, the image ends before it",
                    link.sector));
    return false;
  }
  if (record.get<"signature">() == kMbrSignature) return true;
  cut_chain(
      walk, Severity::fault, record.place_of<"signature">(), 2,
      fmt::format("the extended boot record at sector {} ends in 0x{:04X} instead of 0x{:04X}",
                  link.sector, record.get<"signature">(), kMbrSignature));
  return false;
}

// Links count from the outermost extended slice, must lead forward and stay inside it. Leading
// forward also rules out loops.
bool follow(Walk& walk, const Mbr& record, std::size_t index, Link& link, const Link& outermost) {
  const auto entry = record.sub<"entry">(index);
  const std::uint64_t offset = entry.get<"first">();
  const std::uint64_t next = outermost.sector + offset;
  const std::uint64_t at = record.place_of<"entry">(static_cast<std::uint32_t>(index));
  if (next <= link.sector) {
    cut_chain(walk, Severity::fault, at, kMbrEntry.bytes,
              fmt::format("the extended boot record at sector {} leads back to sector {}",
                          link.sector, next));
    return false;
  }
  if (offset >= outermost.sectors) {
    cut_chain(walk, Severity::fault, at, kMbrEntry.bytes,
              fmt::format("the extended boot record at sector {} leads to sector {}, outside the "
                          "extended slice that ends before sector {}",
                          link.sector, next, outermost.sector + outermost.sectors));
    return false;
  }
  link = {next, entry.get<"sectors">()};
  return true;
}

void walk_chain(Walk& walk, const Link& outermost) {
  Link link = outermost;
  std::size_t empty = 0;
  for (std::size_t links = 0; links < kMostLinks && empty < kMostEmptyLinks; ++links) {
    const auto record =
        walk.view.record<kMbr>(saturating_mul(link.sector, kBlock), ByteOrder::little);
    if (!is_record(walk, record, link)) return;
    walk.claim.records.push_back(record.keep("extended boot record"));
    empty = add_logicals(walk, record, link, outermost) ? 0 : empty + 1;
    const std::size_t index = link_of(record);
    if (index == kEntries || !follow(walk, record, index, link, outermost)) return;
  }
  cut_chain(walk, Severity::fault, walk.place(link.sector), kBlock,
            fmt::format("the chain of logical slices has more than {} records, or {} without a "
                        "slice; it is cut at sector {}",
                        kMostLinks, kMostEmptyLinks, link.sector));
}

void add_primaries(Walk& walk, const Mbr& mbr) {
  for (std::uint32_t i = 0; i < kEntries; ++i) {
    const auto entry = mbr.sub<"entry">(i);
    if (entry.get<"sectors">() == 0) continue;
    const std::uint64_t first = entry.get<"first">();
    check_place(walk, entry, mbr.place_of<"entry">(i), first, std::to_string(i + 1));
    add_pair(walk, entry, mbr.place_of<"entry">(i), first);
    add_slice(walk, entry, first, i + 1);
  }
  for (std::size_t i = 0; i < kEntries; ++i) {
    const auto entry = mbr.sub<"entry">(i);
    if (entry.get<"sectors">() == 0 || !is_extended(entry)) continue;
    if (entry.get<"first">() != 0) walk_chain(walk, {entry.get<"first">(), entry.get<"sectors">()});
  }
}

// The record has no geometry field. What its cylinder-head-sector fields were computed with can
// often be told from them; where they disagree with the sector numbers, those count.
void infer(Walk& walk) {
  const auto geometry = infer_geometry(walk.pairs);
  const ChsPair* odd = nullptr;
  if (geometry) {
    const std::uint64_t track = geometry->sectors_per_track;
    std::uint64_t last = 0;
    for (const ChsPair& pair : walk.pairs) {
      if (agrees(pair, geometry->heads, track)) {
        last = std::max(last, pair.cylinder);
      } else if (odd == nullptr) {
        odd = &pair;
      }
    }
    const std::uint64_t whole = walk.view.bytes() / (geometry->heads * track * kBlock);
    walk.claim.facts.set("cylinders", std::max(whole, last + 1))
        .set("heads", geometry->heads)
        .set("sectors_per_track", track)
        .set("geometry_evidence",
             fmt::format("inferred; {} of {} places agree", geometry->agreeing, walk.pairs.size()));
  } else {
    const auto beyond = [](const ChsPair& pair) { return pair.cylinder > 0; };
    const auto first = std::ranges::find_if(walk.pairs, beyond);
    if (walk.pairs.size() > 1 && first != walk.pairs.end()) odd = &*first;
  }
  if (odd == nullptr) return;
  walk.claim.find(
      Severity::note, FindingCode::geometry_differs, odd->at, 3,
      geometry
          ? fmt::format("cylinder {}, head {}, sector {} is not sector {} with {} heads and {} "
                        "sectors per track; the sector number counts",
                        odd->cylinder, odd->head, odd->sector, odd->lba, geometry->heads,
                        geometry->sectors_per_track)
          : fmt::format("no geometry makes the cylinder, head and sector fields agree with the "
                        "sector numbers, for example {}/{}/{} with sector {}",
                        odd->cylinder, odd->head, odd->sector, odd->lba));
}

// Without a checksum the entries must vouch for one another.
bool entries_agree(const Claim& claim, const View& view) {
  std::uint64_t end = view.start();
  std::vector<const Slice*> primaries;
  for (const Slice& slice : claim.slices) {
    if (slice.id.size() == 1 && slice.id[0] <= '4') primaries.push_back(&slice);
  }
  std::ranges::sort(primaries, {}, &Slice::start);
  for (const Slice* slice : primaries) {
    if (slice->start < end) return false;
    end = saturating_add(slice->start, slice->bytes);
  }
  return true;
}

void check_active(Claim& claim, const Mbr& mbr) {
  std::size_t active = 0;
  for (std::size_t i = 0; i < kEntries; ++i)
    active += is_active(mbr.sub<"entry">(i)) ? 1 : 0;
  if (active < 2) return;
  claim.find(
      Severity::caution, FindingCode::label_field, mbr.place_of<"entry">(),
      kEntries * kMbrEntry.bytes,
      fmt::format("{} entries of the MBR are marked active, start-up code expects one", active));
}

std::vector<Claim> claims(const View& view, const Context& context) {
  // Of slices only an emulated hard disk has a table of its own; the images of a boot catalog come
  // as slices.
  if (context.slice != nullptr && context.label_format != "el-torito") return {};
  const auto mbr = view.record<kMbr>(0, ByteOrder::little);
  if (!is_table(mbr, view)) return {};
  std::vector<Claim> result(1);
  Claim& claim = result.front();
  claim.start = view.start();
  claim.title = "Master boot record";
  claim.facts.set("byte_order", "little").set("checksum", "none").set("sector_bytes", kBlock);
  if (mbr.get<"disk_id">() != 0) {
    claim.facts.set("disk_id", fmt::format("0x{:08x}", mbr.get<"disk_id">()));
  }
  claim.records.push_back(mbr.keep());
  Walk walk{view, claim};
  add_primaries(walk, mbr);
  check_active(claim, mbr);
  infer(walk);
  claim.strength = entries_agree(claim, view) ? Strength::sane : Strength::magic;
  return result;
}

}  // namespace

extern const Format mbr_format;
const Format mbr_format = {.id = "mbr",
                           .title = "Master boot record",
                           .stage = Stage::label,
                           .inside_slices = true,
                           .claims = claims};

}  // namespace platter::label
