// Sun disk label: sector 0, big-endian, exclusive-or checksum, with or without a VTOC.
#include <algorithm>
#include <optional>
#include <vector>

#include <fmt/format.h>

#include "core/checksum.h"
#include "core/claim.h"
#include "label/bsd_label.h"
#include "label/sun_label.h"

namespace platter::label {
namespace {

constexpr std::uint64_t kBlock = 512;
constexpr std::size_t kSlots = 8;
using Label = Record<kSunLabel>;
using MoreSlices = FieldReader<kSunMoreSlices>;

bool checksum_holds(const Label& label) {
  return xor_of_words(label.all(), ByteOrder::big) == 0;
}

bool has_geometry(const Label& label) {
  return label.get<"nhead">() != 0 && label.get<"nsect">() != 0 && label.get<"ncyl">() != 0;
}

bool has_magic(const Label& label) {
  return label.complete() && label.get<"magic">() == kSunMagic && has_geometry(label);
}

// The magic alone is two bytes: without its checksum, or a backup that speaks for it, a label is
// believed only when everything else is plausible.
bool is_plausible(const Label& label) {
  if (label.get<"nhead">() > 255 || label.get<"nsect">() > 4096) return false;
  bool any = false;
  for (std::size_t i = 0; i < kSlots; ++i) {
    const auto entry = label.sub<"map">(i);
    if (entry.get<"blocks">() == 0) continue;
    // Starts in cylinders fit 16 bits; starts in blocks go with rpm 0.
    if (entry.get<"start">() > 0xFFFF && label.get<"rpm">() != 0) return false;
    any = true;
  }
  return any;
}

bool vtoc_in_use(const Label& label) {
  return label.get<"vtoc_sanity">() == kVtocSanity && label.get<"vtoc_version">() == 1 &&
         label.get<"vtoc_slices">() <= kSlots;
}

// Tags also count when the three words that should announce them are all zero: early Linux writers
// left them so (Linux block/partitions/sun.c; libblkid does the same).
bool tags_in_use(const Label& label) {
  if (vtoc_in_use(label)) return true;
  if (label.get<"vtoc_sanity">() != 0 || label.get<"vtoc_version">() != 0 ||
      label.get<"vtoc_slices">() != 0) {
    return false;
  }
  for (std::size_t i = 0; i < kSlots; ++i) {
    if (label.sub<"vtoc">(i).get<"tag">() != 0) return true;
  }
  return false;
}

std::uint64_t cylinder_blocks(const Label& label) {
  return label.get<"nhead">() * label.get<"nsect">();
}

std::uint64_t disk_blocks(const Label& label) {
  return (label.get<"ncyl">() + label.get<"acyl">()) * cylinder_blocks(label);
}

bool map_fits(const Label& label, std::uint64_t start_unit) {
  for (std::size_t i = 0; i < kSlots; ++i) {
    const auto entry = label.sub<"map">(i);
    const std::uint64_t start = saturating_mul(entry.get<"start">(), start_unit);
    if (entry.get<"blocks">() != 0 &&
        !fits_within(start, entry.get<"blocks">(), disk_blocks(label))) {
      return false;
    }
  }
  return true;
}

// rpm 0 marks the variant whose starts are blocks (OpenBSD sys/arch/luna88k/luna88k/disksubr.c).
// Nothing keeps a writer of the usual form from leaving the speed out, so what fits has a say.
bool starts_in_blocks(const Label& label) {
  if (label.get<"rpm">() != 0) return false;
  const FieldReader<kSunBlockLabel> other(label.all().data(), ByteOrder::big);
  const bool blocks_fit = map_fits(label, 1);
  const bool cylinders_fit = map_fits(label, cylinder_blocks(label));
  if (other.get<"total_blocks">() != 0) return blocks_fit || !cylinders_fit;
  return blocks_fit && !cylinders_fit;
}

// Five copies stand on the last alternate cylinder's last head, odd sectors 1 to 9
// (illumos usr/src/uts/common/io/cmlb.c; common practice on SCSI disks).
std::vector<std::uint64_t> backup_places(const Label& label) {
  std::vector<std::uint64_t> places;
  const std::uint64_t heads = label.get<"nhead">();
  const std::uint64_t sectors = label.get<"nsect">();
  if (label.get<"apc">() >= cylinder_blocks(label) || label.get<"acyl">() == 0) return places;
  const std::uint64_t last = label.get<"ncyl">() + label.get<"acyl">() - 1;
  const std::uint64_t track =
      last * (cylinder_blocks(label) - label.get<"apc">()) + (heads - 1) * sectors;
  for (std::uint64_t sector = 1; sector <= 9 && sector < sectors; sector += 2) {
    places.push_back((track + sector) * kBlock);
  }
  return places;
}

bool is_valid_backup(const Label& backup) {
  return has_magic(backup) && checksum_holds(backup);
}

std::optional<Label> valid_backup(const Label& label, const View& view) {
  for (const std::uint64_t place : backup_places(label)) {
    const auto backup = view.record<kSunLabel>(place, ByteOrder::big);
    if (is_valid_backup(backup)) return backup;
  }
  return std::nullopt;
}

SliceRole role_of(std::size_t slot, std::optional<std::uint64_t> tag, std::uint64_t start) {
  if (tag == 5) return SliceRole::whole_disk;
  if (tag == 3 || tag == 0x82) return SliceRole::swap;
  // By custom c spans the disk and b is for swapping; a c that starts elsewhere is in use.
  if (slot == 2 && tag.value_or(0) == 0 && start == 0) return SliceRole::whole_disk;
  if (slot == 1 && !tag) return SliceRole::swap;
  return SliceRole::data;
}

void add_slices(Claim& claim, const Label& label, const View& view) {
  const bool tagged = tags_in_use(label);
  const std::uint64_t start_unit = starts_in_blocks(label) ? 1 : cylinder_blocks(label);
  for (std::size_t i = 0; i < kSlots; ++i) {
    const auto entry = label.sub<"map">(i);
    if (entry.get<"blocks">() == 0) continue;
    Slice slice;
    slice.id = std::string(kSunSlots[i].text);
    slice.start =
        saturating_add(view.start(), saturating_mul(entry.get<"start">(), start_unit, kBlock));
    slice.bytes = saturating_mul(entry.get<"blocks">(), kBlock);
    if (tagged) slice.type = label.sub<"vtoc">(i).get<"tag">();
    slice.role = role_of(i, slice.type, entry.get<"start">());
    slice.facts.set("name", slice.id);
    if (tagged) {
      slice.facts.set("type", *slice.type)
          .set("type_name", name_of(kSunTags, *slice.type, "unknown"))
          .set("flag", label.sub<"vtoc">(i).get<"flag">());
    } else if (slice.role == SliceRole::whole_disk) {
      slice.facts.set("type_name", "whole disk");  // by custom; the map has no types
    }
    claim.slices.push_back(std::move(slice));
  }
}

// OpenBSD sums the words up to the end of the fields in use; for the typed form either the disk
// identifier is inside the sum or it is not.
bool more_slices_hold(const MoreSlices& more) {
  const auto sum_to = [&](std::size_t end) {
    return sum_of_words32(more.all().subspan(4, end - 4), ByteOrder::big) == more.get<"sum">();
  };
  if (more.get<"magic">() == kSunMoreMagic) return sum_to(MoreSlices::offset_of<"type">());
  return more.get<"magic">() == kSunMoreTypedMagic &&
         (sum_to(MoreSlices::offset_of<"disk_id">()) || sum_to(kSunMoreSlices.bytes));
}

void add_more_slices(Claim& claim, const Label& label, const View& view) {
  const MoreSlices more(label.all().data() + kSunMoreSlicesAt, ByteOrder::big);
  if (!more_slices_hold(more)) return;
  const bool typed = more.get<"magic">() == kSunMoreTypedMagic;
  for (std::size_t i = 0; i < kSlots; ++i) {
    const auto entry = more.sub<"map">(i);
    if (entry.get<"blocks">() == 0) continue;
    Slice slice;
    slice.id = std::string(1, static_cast<char>('i' + i));
    slice.start = saturating_add(
        view.start(), saturating_mul(entry.get<"start">(), cylinder_blocks(label), kBlock));
    slice.bytes = saturating_mul(entry.get<"blocks">(), kBlock);
    slice.facts.set("name", slice.id);
    if (typed) {
      slice.type = more.get<"type">(kSlots + i);
      slice.role = slice.type == kBsdSwap ? SliceRole::swap : SliceRole::data;
      slice.facts.set("type", *slice.type)
          .set("type_name", name_of(kBsdTypes, *slice.type, "unknown"));
    }
    claim.slices.push_back(std::move(slice));
  }
  RecordData record{&kSunMoreSlices,
                    ByteOrder::big,
                    label.start() + kSunMoreSlicesAt,
                    kSunMoreSlices.bytes,
                    {more.all().begin(), more.all().end()},
                    {}};
  claim.records.push_back(std::move(record));
}

void set_facts(Claim& claim, const Label& label, bool good) {
  const bool vtoc = vtoc_in_use(label);
  claim.facts.set("byte_order", "big")
      .set("checksum", good ? "good" : "bad")
      .set_text("name", label.text<"ascii_label">())
      .set("cylinders", label.get<"ncyl">())
      .set("alternate_cylinders", label.get<"acyl">())
      .set("heads", label.get<"nhead">())
      .set("sectors_per_track", label.get<"nsect">())
      .set("sector_bytes", kBlock)
      .set("rpm", label.get<"rpm">())
      .set("vtoc", vtoc);
  if (vtoc) claim.facts.set_text("volume_name", label.text<"volume_name">());
  if (label.get<"rpm">() == 0) {
    claim.facts.set("start_unit", starts_in_blocks(label) ? "blocks" : "cylinders");
  }
}

void report_checksum(Claim& claim, const Label& label) {
  const std::uint64_t stored = label.get<"checksum">();
  const std::uint64_t computed = stored ^ xor_of_words(label.all(), ByteOrder::big);
  claim.find(Severity::fault, FindingCode::label_checksum, label.place_of<"checksum">(), 2,
             fmt::format("the Sun label stores checksum 0x{:04X}, its content gives 0x{:04X}",
                         stored, computed));
}

Claim claim_from(const Label& label, const View& view, bool good) {
  Claim claim;
  claim.strength = good ? Strength::proven : Strength::sane;
  claim.start = view.start();
  claim.bytes = disk_blocks(label) * kBlock;
  claim.title = vtoc_in_use(label) ? "Sun disk label with VTOC" : "Sun disk label";
  set_facts(claim, label, good);
  if (starts_in_blocks(label)) {
    claim.title = "Sun disk label, starts in blocks";
    RecordData record = label.keep();
    record.structure = &kSunBlockLabel;
    claim.records.push_back(std::move(record));
    claim.find(Severity::note, FindingCode::label_field, label.place_of<"rpm">(), 2,
               "the rotation speed is 0, as in labels that count the starts of slices in blocks "
               "instead of cylinders; they are read as blocks");
  } else {
    claim.records.push_back(label.keep());
  }
  add_slices(claim, label, view);
  add_more_slices(claim, label, view);
  return claim;
}

// A backup that is there, whole and different from the label in use deserves a word. Most images
// end before the alternate cylinders, and most writers leave no backups: both are usual.
void compare_backups(Claim& claim, const Label& label, const View& view) {
  for (const std::uint64_t place : backup_places(label)) {
    const auto backup = view.record<kSunLabel>(place, ByteOrder::big);
    if (!is_valid_backup(backup) || std::ranges::equal(backup.all(), label.all())) continue;
    claim.find(
        Severity::caution, FindingCode::label_backup_differs, backup.start(), kBlock,
        fmt::format("a valid backup of the Sun label at byte {} differs from the label in use",
                    backup.start()));
    claim.records.push_back(backup.keep("backup"));
    return;
  }
}

// The label in sector 0 is spoiled but its geometry still leads to a valid copy: that one counts.
Claim claim_from_backup(const Label& spoiled, const Label& backup, const View& view) {
  Claim claim = claim_from(backup, view, false);
  report_checksum(claim, spoiled);
  claim.find(
      Severity::caution, FindingCode::label_backup_differs, backup.start(), kBlock,
      fmt::format("the Sun label in sector 0 is spoiled; its valid backup at byte {} is used",
                  backup.start()));
  claim.facts.set("label_start", backup.start());
  claim.records.front().role = "backup";
  claim.records.push_back(spoiled.keep("spoiled"));
  return claim;
}

std::vector<Claim> claims(const View& view, const Context& context) {
  (void)context;
  const auto label = view.record<kSunLabel>(0, ByteOrder::big);
  if (!has_magic(label)) return {};
  std::vector<Claim> result;
  if (checksum_holds(label)) {
    result.push_back(claim_from(label, view, true));
    compare_backups(result.front(), label, view);
  } else if (const auto backup = valid_backup(label, view)) {
    result.push_back(claim_from_backup(label, *backup, view));
  } else if (is_plausible(label)) {
    result.push_back(claim_from(label, view, false));
    report_checksum(result.front(), label);
  }
  return result;
}

}  // namespace

extern const Format sun_format;
const Format sun_format = {
    .id = "sun", .title = "Sun disk label", .stage = Stage::label, .claims = claims};

}  // namespace platter::label
