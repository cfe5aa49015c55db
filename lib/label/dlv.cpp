// dlV label: big-endian on every machine, four copies near the start, positions counted from the
// end of a front porch.
#include <algorithm>
#include <optional>
#include <string>
#include <vector>

#include <fmt/format.h>

#include "core/claim.h"
#include "label/dlv_copy.h"
#include "label/dlv_label.h"
#include "label/mbr_label.h"

namespace platter::label {
namespace {

constexpr std::size_t kSlots = 8;
constexpr std::uint64_t kUsualSectorBytes = 512;
using Head = FieldReader<kDlvHead>;
using Entry = FieldReader<kDlvEntry>;

bool is_sector_size(std::int64_t bytes) {
  return bytes > 0 && is_power_of_two_in(static_cast<std::uint64_t>(bytes), 512, 8192);
}

std::uint64_t sector_bytes(const Head& head) {
  const std::int64_t stated = head.get<"sector_bytes">();
  return is_sector_size(stated) ? static_cast<std::uint64_t>(stated) : kUsualSectorBytes;
}

// Without its checksum a copy needs more than four letters: a sector size and a porch that make
// sense.
bool is_plausible(const DlvCopy& copy) {
  const Head head = copy.head();
  return copy.present >= kDlvHead.bytes &&
         (copy.good ||
          (is_sector_size(head.get<"sector_bytes">()) && head.get<"front_porch">() >= 0));
}

// Every place where a copy can stand, whatever the device's block size.
std::vector<DlvCopy> find_copies(const View& view) {
  std::vector<DlvCopy> copies;
  for (std::uint64_t number = 0; number < kDlvCopies; ++number) {
    std::uint64_t before = kLargest;
    for (const std::uint64_t block : kDlvDeviceBlocks) {
      const std::uint64_t at = dlv_copy_at(number, block);
      if (at == before) continue;  // block sizes share places
      before = at;
      auto copy = read_dlv_copy(view, at);
      if (copy && is_plausible(*copy)) copies.push_back(std::move(*copy));
      if (number == 0) break;
    }
  }
  std::ranges::sort(copies, {}, &DlvCopy::start);
  return copies;
}

// The device's block size by which a copy states its own place, or 0 when no size fits.
std::uint64_t device_block_of(const DlvCopy& copy, const Context& context) {
  const std::int64_t block = copy.head().get<"block">();
  if (block < 0) return 0;
  for (const std::uint64_t size : kDlvDeviceBlocks) {
    if (static_cast<std::uint64_t>(block) * size == copy.start - context.image.start()) return size;
  }
  return 0;
}

SliceRole role_of(const Entry& entry) {
  return entry.text<"type">() == "swap" ? SliceRole::swap : SliceRole::data;
}

std::uint64_t entry_place(const DlvCopy& copy, std::uint32_t index) {
  return copy.start + Head::offset_of<"entry">(index);
}

void set_number(Facts& facts, std::string_view name, std::int64_t value) {
  if (value >= 0) facts.set(name, static_cast<std::uint64_t>(value));
}

void set_slice_facts(Slice& slice, const Entry& entry) {
  slice.facts.set("name", slice.id).set_text("type_name", entry.text<"type">());
  set_number(slice.facts, "block_bytes", entry.get<"block_bytes">());
  set_number(slice.facts, "fragment_bytes", entry.get<"fragment_bytes">());
  const std::string mount_point = entry.text<"mount_point">();
  if (!mount_point.empty()) slice.facts.set_text("mount_point", mount_point);
}

// Positions are absolute even when the label stands in a slice of another label; one before that
// slice is worth a word.
void check_slice(Claim& claim, const DlvCopy& copy, std::uint32_t index, const Slice& slice,
                 const Context& context) {
  const Entry entry = copy.head().sub<"entry">(index);
  if (entry.get<"base">() < 0) {
    claim.find(Severity::caution, FindingCode::label_field, entry_place(copy, index), 4,
               fmt::format("slice {} of the dlV label starts at sector {}, before the end of the "
                           "front porch",
                           slice.id, entry.get<"base">()));
  } else if (context.slice != nullptr && slice.start < context.slice->start) {
    claim.find(Severity::caution, FindingCode::label_field, entry_place(copy, index), 4,
               fmt::format("slice {} of the dlV label starts at byte {}, before the slice that the "
                           "label stands in ({})",
                           slice.id, slice.start, context.slice->start));
  }
}

void add_slices(Claim& claim, const DlvCopy& copy, const Context& context) {
  const Head head = copy.head();
  const std::uint64_t unit = sector_bytes(head);
  const auto porch =
      static_cast<std::uint64_t>(std::max<std::int64_t>(head.get<"front_porch">(), 0));
  for (std::uint32_t i = 0; i < kSlots; ++i) {
    const Entry entry = head.sub<"entry">(i);
    if (entry.get<"sectors">() <= 0 || entry.get<"base">() == -1) continue;
    const auto base = static_cast<std::uint64_t>(std::max<std::int64_t>(entry.get<"base">(), 0));
    Slice slice;
    slice.id = std::string(1, static_cast<char>('a' + i));
    slice.start = saturating_add(context.image.start(), (porch + base) * unit);
    slice.bytes = static_cast<std::uint64_t>(entry.get<"sectors">()) * unit;
    slice.role = role_of(entry);
    set_slice_facts(slice, entry);
    check_slice(claim, copy, i, slice, context);
    claim.slices.push_back(std::move(slice));
  }
}

std::string letter_of(std::string text) {
  return text.size() == 1 && text[0] >= 'a' && text[0] <= 'h' ? text : std::string();
}

void set_facts(Claim& claim, const DlvCopy& copy) {
  const Head head = copy.head();
  claim.facts.set("byte_order", "big")
      .set("checksum", copy.good ? "good" : "bad")
      .set_text("name", head.text<"label">());
  set_number(claim.facts, "cylinders", head.get<"cylinders">());
  set_number(claim.facts, "heads", head.get<"tracks">());
  set_number(claim.facts, "sectors_per_track", head.get<"sectors_per_track">());
  set_number(claim.facts, "sector_bytes", head.get<"sector_bytes">());
  set_number(claim.facts, "rpm", head.get<"rpm">());
  claim.facts.set("version", name_of(kDlvVersions, head.get<"version">()))
      .set_text("drive_name", head.text<"drive_name">())
      .set_text("drive_type", head.text<"drive_type">())
      .set_text("bootfile", head.text<"bootfile">())
      .set_text("host_name", head.text<"host_name">());
  const std::string root = letter_of(head.text<"root_slice">());
  const std::string writable = letter_of(head.text<"rw_slice">());
  if (!root.empty()) claim.facts.set("root_slice", root);
  if (!writable.empty()) claim.facts.set("rw_slice", writable);
  if (copy.good && !copy.variant.empty()) claim.facts.set("checksum_variant", copy.variant);
}

// The machine loads its boot program from the first of these places that works; both lie in the
// front porch.
void add_boot_blocks(Claim& claim, const DlvCopy& copy, const Context& context) {
  const Head head = copy.head();
  const std::uint64_t unit = sector_bytes(head);
  const std::int64_t porch = head.get<"front_porch">();
  set_number(claim.facts, "front_porch_bytes", porch * static_cast<std::int64_t>(unit));
  std::string blocks;
  for (std::uint32_t i = 0; i < Head::count_of<"boot_block">(); ++i) {
    const std::int64_t block = head.get<"boot_block">(i);
    if (block == -1) continue;
    blocks += fmt::format("{}{}", blocks.empty() ? "" : " ", block);
    if (block > 0) {
      claim.facts.set(
          fmt::format("boot_start_{}", i + 1),
          saturating_add(context.image.start(), static_cast<std::uint64_t>(block) * unit));
    }
    if (block > 0 && block < porch) continue;
    claim.find(
        Severity::caution, FindingCode::label_field, copy.start + Head::offset_of<"boot_block">(i),
        4,
        fmt::format("boot program {} is said to start at sector {}, outside the front porch of "
                    "{} sectors",
                    i + 1, block, porch));
  }
  claim.facts.set("boot_blocks", blocks.empty() ? std::string("none") : blocks);
}

void check_head(Claim& claim, const DlvCopy& copy, const Context& context) {
  const Head head = copy.head();
  if (!is_sector_size(head.get<"sector_bytes">())) {
    claim.find(Severity::caution, FindingCode::label_field,
               copy.start + Head::offset_of<"sector_bytes">(), 4,
               fmt::format("the dlV label gives {} bytes per sector, which is no power of two from "
                           "512 to 8192; 512 is used",
                           head.get<"sector_bytes">()));
  }
  if (head.get<"front_porch">() < 0) {
    claim.find(Severity::caution, FindingCode::label_field,
               copy.start + Head::offset_of<"front_porch">(), 2,
               fmt::format("the front porch of the dlV label has {} sectors; 0 is used",
                           head.get<"front_porch">()));
  }
  if (device_block_of(copy, context) == 0) {
    claim.find(Severity::caution, FindingCode::label_field, copy.start + Head::offset_of<"block">(),
               4,
               fmt::format("the dlV label says that it stands on block {}; it stands at byte {}, "
                           "which is no such block of 512, 1024 or 2048 bytes",
                           head.get<"block">(), copy.start));
  }
  if ((head.get<"flags">() & kDlvNotInitialised) != 0) {
    claim.find(Severity::note, FindingCode::label_field, copy.start + Head::offset_of<"flags">(), 4,
               "the dlV label is marked as not initialised");
  }
}

void report_checksum(Claim& claim, const DlvCopy& copy) {
  claim.find(
      Severity::fault, FindingCode::label_checksum, copy.checksum_place(), 2,
      copy.present < copy.bytes.size()
          ? fmt::format("the dlV label at byte {} is cut short: {} of {} bytes", copy.start,
                        copy.present, copy.bytes.size())
          : fmt::format("the dlV label at byte {} stores checksum 0x{:04X}, its content gives "
                        "0x{:04X}",
                        copy.start, copy.stored, copy.computed));
}

// What the other copies have to say about the one in use.
void compare_copies(Claim& claim, const std::vector<DlvCopy>& copies, const DlvCopy& used) {
  bool differs = false;
  for (const DlvCopy& copy : copies) {
    if (&copy == &used) continue;
    if (!copy.good) {
      report_checksum(claim, copy);
      claim.records.push_back(copy.keep(copy.start < used.start ? "spoiled" : "spoiled backup"));
    } else if (!differs && !copy.says_the_same(used)) {
      differs = true;
      claim.find(Severity::caution, FindingCode::label_backup_differs, copy.start,
                 copy.bytes.size(),
                 fmt::format("the copy of the dlV label at byte {} differs from the one in use at "
                             "byte {}",
                             copy.start, used.start));
      claim.records.push_back(copy.keep("backup"));
    }
  }
}

// i386 systems keep start-up code in block 0 and begin with the second copy; anywhere else the
// first copy is missed.
void check_first_copy(Claim& claim, const View& view, const DlvCopy& used) {
  if (used.start == view.start()) return;
  const bool start_up_code = view.number(FieldReader<kMbr>::offset_of<"signature">(), 2,
                                         ByteOrder::little) == kMbrSignature;
  if (start_up_code) return;
  claim.find(
      Severity::caution, FindingCode::label_backup_differs, used.start, used.bytes.size(),
      fmt::format("the first copy of the dlV label is missing or spoiled; the one at byte {} "
                  "is used",
                  used.start));
}

// The size field is 0 on many disks; the geometry then tells it. Inside a slice the figures may
// mean the whole disk.
std::uint64_t disk_bytes(const Head& head, const Context& context) {
  if (context.slice != nullptr) return 0;
  const auto positive = [](std::int64_t value) {
    return static_cast<std::uint64_t>(std::max<std::int64_t>(value, 0));
  };
  const std::uint64_t stated = positive(head.get<"sectors">());
  const std::uint64_t sectors =
      stated != 0
          ? stated
          : saturating_mul(positive(head.get<"cylinders">()), positive(head.get<"tracks">()),
                           positive(head.get<"sectors_per_track">()));
  return saturating_mul(sectors, sector_bytes(head));
}

Claim claim_from(const std::vector<DlvCopy>& copies, const DlvCopy& used, const View& view,
                 const Context& context) {
  Claim claim;
  claim.strength = used.good ? Strength::proven : Strength::sane;
  claim.start = view.start();
  claim.bytes = disk_bytes(used.head(), context);
  claim.title = fmt::format("dlV label, {}", name_of(kDlvVersions, used.head().get<"version">()));
  set_facts(claim, used);
  add_boot_blocks(claim, used, context);
  const auto good_copies = std::ranges::count_if(copies, &DlvCopy::good);
  claim.facts.set("label_start", used.start);
  set_number(claim.facts, "good_copies", good_copies);
  if (const std::uint64_t block = device_block_of(used, context); block != 0 && used.start != 0) {
    claim.facts.set("device_block_bytes", block);
  }
  claim.records.push_back(used.keep({}));
  if (!used.good) report_checksum(claim, used);
  check_head(claim, used, context);
  check_first_copy(claim, view, used);
  compare_copies(claim, copies, used);
  add_slices(claim, used, context);
  return claim;
}

std::vector<Claim> claims(const View& view, const Context& context) {
  // A slice at the very start of the image was looked at from outside; the slices of a dlV label
  // start behind its copies.
  if (context.slice != nullptr &&
      (view.start() == context.image.start() || context.label_format == "dlv")) {
    return {};
  }
  std::vector<DlvCopy> copies = find_copies(view);
  if (copies.empty()) return {};
  // Beside a good copy, a bad one that does not even know its place is a remnant of something else.
  if (std::ranges::any_of(copies, &DlvCopy::good)) {
    std::erase_if(copies, [&](const DlvCopy& copy) {
      return !copy.good && device_block_of(copy, context) == 0;
    });
  }
  const auto good = std::ranges::find_if(copies, &DlvCopy::good);
  const DlvCopy& used = good == copies.end() ? copies.front() : *good;
  std::vector<Claim> result;
  result.push_back(claim_from(copies, used, view, context));
  return result;
}

}  // namespace

extern const Format dlv_format;
const Format dlv_format = {.id = "dlv",
                           .title = "dlV label",
                           .stage = Stage::label,
                           .inside_slices = true,
                           .claims = claims};

}  // namespace platter::label
