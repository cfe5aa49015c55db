// Solaris label of i386 machines: sector 1 of an MBR slice, little-endian, exclusive-or checksum.
#include <algorithm>
#include <optional>
#include <vector>

#include <fmt/format.h>

#include "core/checksum.h"
#include "core/claim.h"
#include "label/solaris_x86_label.h"

namespace platter::label {
namespace {

constexpr std::uint64_t kBlock = 512;
constexpr std::uint64_t kWholeTag = 5;

using Label = Record<kSolarisX86Label>;
using Entry = FieldReader<kSolarisX86Entry>;

bool has_magic(const Label& label) {
  return label.complete() && label.get<"sanity">() == kVtocSanity;
}

bool checksum_holds(const Label& label) {
  return label.get<"magic">() == kSunMagic && xor_of_words(label.all(), ByteOrder::little) == 0;
}

// Type 0x82 is shared with Linux swap, which has nothing in its sector 1 that looks like this.
bool may_be_here(const Context& context) {
  if (context.slice == nullptr) return true;
  const auto type = context.slice->type;
  return context.label_format == "mbr" && (type == 0x82 || type == 0xBE || type == 0xBF);
}

std::uint64_t cylinder_sectors(const Label& label) {
  return label.get<"nhead">() * label.get<"nsect">();
}

// The same rule as for the Sun label, counted from the MBR slice
// (illumos usr/src/uts/common/io/cmlb.c).
std::optional<Label> valid_backup(const Label& label, const View& view) {
  const std::uint64_t sectors = label.get<"nsect">();
  const std::uint64_t cylinder = cylinder_sectors(label);
  const std::uint64_t cylinders = label.get<"ncyl">() + label.get<"acyl">();
  if (cylinder <= label.get<"apc">() || cylinders == 0) return std::nullopt;
  const std::uint64_t track =
      saturating_add(saturating_mul(cylinders - 1, cylinder - label.get<"apc">()),
                     (label.get<"nhead">() - 1) * sectors);
  for (std::uint64_t sector = 1; sector <= 9 && sector < sectors; sector += 2) {
    const std::uint64_t place = saturating_mul(saturating_add(track, sector), kBlock);
    const auto backup = view.record<kSolarisX86Label>(place, ByteOrder::little);
    if (has_magic(backup) && checksum_holds(backup)) return backup;
  }
  return std::nullopt;
}

// Linux reads sixteen slices when there are more than eight, else eight.
std::uint64_t slots_of(const Label& label) {
  return label.get<"slices">() > 8 ? kSolarisX86Slots : 8;
}

SliceRole role_of(const Entry& entry) {
  switch (entry.get<"tag">()) {
    case kWholeTag:
      return SliceRole::whole_disk;
    case 3:
    case 0x82:
      return SliceRole::swap;
    case 9:
      return SliceRole::metadata;  // sectors that replace bad ones
    default:
      return SliceRole::data;
  }
}

void check_entry(Claim& claim, const Label& label, std::uint32_t index, const Context& context) {
  const auto entry = label.sub<"slice">(index);
  const std::uint64_t end = entry.get<"first">() + entry.get<"sectors">();
  if (context.slice == nullptr || end * kBlock <= context.slice->bytes) return;
  claim.find(Severity::caution, FindingCode::label_field,
             label.place_of<"slice">(index) + Entry::offset_of<"first">(), 8,
             fmt::format("slice {} of the Solaris label ends at sector {}, the MBR slice has only "
                         "{} sectors",
                         index, end, context.slice->bytes / kBlock));
}

void add_slices(Claim& claim, const Label& label, const View& view, const Context& context) {
  for (std::uint32_t i = 0; i < slots_of(label); ++i) {
    const auto entry = label.sub<"slice">(i);
    if (entry.get<"sectors">() == 0) continue;
    Slice slice;
    slice.id = std::to_string(i);
    slice.start = saturating_add(view.start(), entry.get<"first">() * kBlock);
    slice.bytes = entry.get<"sectors">() * kBlock;
    slice.role = role_of(entry);
    slice.type = entry.get<"tag">();
    slice.facts.set("name", slice.id)
        .set("type", *slice.type)
        .set("type_name", name_of(kSunTags, *slice.type, "unknown"))
        .set("flag", entry.get<"flag">());
    claim.slices.push_back(std::move(slice));
    check_entry(claim, label, i, context);
  }
}

void check_fields(Claim& claim, const Label& label) {
  if (label.get<"version">() != 1) {
    claim.find(Severity::caution, FindingCode::label_field, label.place_of<"version">(), 4,
               fmt::format("the Solaris label has version {}, expected 1", label.get<"version">()));
  }
  if (label.get<"slices">() > kSolarisX86Slots) {
    claim.find(Severity::caution, FindingCode::label_field, label.place_of<"slices">(), 2,
               fmt::format("the Solaris label claims {} slices, at most {} fit",
                           label.get<"slices">(), kSolarisX86Slots));
  }
  const std::uint64_t sector_bytes = label.get<"sector_bytes">();
  if (sector_bytes != kBlock && sector_bytes != 0) {
    claim.find(Severity::caution, FindingCode::label_field, label.place_of<"sector_bytes">(), 2,
               fmt::format("the Solaris label gives {} bytes per sector; its numbers are read as "
                           "512-byte sectors all the same",
                           sector_bytes));
  }
}

void report_checksum(Claim& claim, const Label& label) {
  if (label.get<"magic">() != kSunMagic) {
    claim.find(Severity::fault, FindingCode::label_field, label.place_of<"magic">(), 2,
               fmt::format("the Solaris label ends in magic 0x{:04X} instead of 0x{:04X}",
                           label.get<"magic">(), kSunMagic));
    return;
  }
  const std::uint64_t stored = label.get<"checksum">();
  const std::uint64_t computed = stored ^ xor_of_words(label.all(), ByteOrder::little);
  claim.find(Severity::fault, FindingCode::label_checksum, label.place_of<"checksum">(), 2,
             fmt::format("the Solaris label stores checksum 0x{:04X}, its content gives 0x{:04X}",
                         stored, computed));
}

Claim claim_from(const Label& label, const View& view, const Context& context, bool good) {
  Claim claim;
  claim.strength = good ? Strength::proven : Strength::sane;
  claim.start = view.start();
  claim.title = "Solaris label (i386)";
  claim.facts.set("byte_order", "little")
      .set("checksum", good ? "good" : "bad")
      .set_text("name", label.text<"ascii_label">())
      .set_text("volume_name", label.text<"volume_name">())
      .set("cylinders", label.get<"ncyl">())
      .set("alternate_cylinders", label.get<"acyl">())
      .set("heads", label.get<"nhead">())
      .set("sectors_per_track", label.get<"nsect">())
      .set("sector_bytes", label.get<"sector_bytes">())
      .set("rpm", label.get<"rpm">());
  claim.records.push_back(label.keep());
  check_fields(claim, label);
  add_slices(claim, label, view, context);
  for (const Slice& slice : claim.slices) {
    if (slice.role == SliceRole::whole_disk) claim.bytes = slice.bytes;
  }
  return claim;
}

// Sanity word, version and slices within reason; used when no checksum speaks for the label.
bool is_plausible(const Label& label) {
  return label.get<"version">() <= 1 && label.get<"slices">() <= 64 &&
         (label.get<"magic">() == kSunMagic || label.get<"sector_bytes">() == kBlock);
}

std::vector<Claim> claims(const View& view, const Context& context) {
  if (!may_be_here(context)) return {};
  const auto label = view.record<kSolarisX86Label>(kSolarisX86Place, ByteOrder::little);
  if (!has_magic(label)) return {};
  std::vector<Claim> result;
  if (checksum_holds(label)) {
    result.push_back(claim_from(label, view, context, true));
  } else if (const auto backup = valid_backup(label, view)) {
    result.push_back(claim_from(*backup, view, context, false));
    Claim& claim = result.front();
    report_checksum(claim, label);
    claim.find(Severity::caution, FindingCode::label_backup_differs, backup->start(), kBlock,
               fmt::format("the Solaris label is spoiled; its valid backup at byte {} is used",
                           backup->start()));
    claim.records.front().role = "backup";
    claim.records.push_back(label.keep("spoiled"));
  } else if (is_plausible(label)) {
    result.push_back(claim_from(label, view, context, false));
    report_checksum(result.front(), label);
  }
  return result;
}

}  // namespace

extern const Format solaris_x86_format;
const Format solaris_x86_format = {.id = "solaris-x86",
                                   .title = "Solaris label (i386)",
                                   .stage = Stage::label,
                                   .inside_slices = true,
                                   .claims = claims};

}  // namespace platter::label
