// 4.4BSD disk label: two magics, either byte order, at places that differ from port to port.
#include <algorithm>
#include <array>
#include <cstring>
#include <optional>
#include <vector>

#include <fmt/format.h>

#include "core/checksum.h"
#include "core/claim.h"
#include "label/bsd_label.h"
#include "label/bsd_scattered.h"
#include "label/mbr_label.h"

namespace platter::label {
namespace {

constexpr std::uint64_t kBlock = 512;
// Where the ports put it (NetBSD sys/arch/*/include/disklabel.h, LABELSECTOR and LABELOFFSET).
constexpr std::array<std::uint64_t, 5> kUsualPlaces = {0, 64, 128, 512, 1024};
// Kernels that find nothing there search; so do we, in the boot area.
constexpr std::uint64_t kScanBytes = 8192;
constexpr std::size_t kMostClaims = 8;
constexpr std::uint64_t kRawSlot = 2;  // c
// libblkid and some writers sum this many entries whatever the header says.
constexpr std::uint64_t kFixedEntries = 16;

using Header = Record<kBsdHeader>;
using Entry = FieldReader<kBsdEntry>;

struct Label {
  Header header;
  std::uint64_t place = 0;       // byte offset in the view
  std::uint64_t slices = 0;      // entries that are read
  std::vector<std::byte> bytes;  // header and entries, as many as are there
  std::uint16_t left_over = 0;   // exclusive-or over header and entries; 0 when good
  bool fixed_extent = false;     // good only when summed over 16 entries

  [[nodiscard]] bool good() const noexcept { return left_over == 0; }
  [[nodiscard]] std::uint64_t entry_place(std::uint64_t index) const noexcept {
    return header.start() + kBsdHeader.bytes + index * kBsdEntry.bytes;
  }
  [[nodiscard]] std::uint64_t sector_bytes() const noexcept {
    const std::uint64_t stated = header.get<"sector_bytes">();
    return is_power_of_two_in(stated, 256, 65536) ? stated : kBlock;
  }
  [[nodiscard]] std::uint64_t whole_slices() const noexcept {
    const std::uint64_t there =
        bytes.size() < kBsdHeader.bytes ? 0 : (bytes.size() - kBsdHeader.bytes) / kBsdEntry.bytes;
    return std::min(slices, there);
  }
  [[nodiscard]] Entry entry(std::uint64_t index) const noexcept {
    return {bytes.data() + kBsdHeader.bytes + index * kBsdEntry.bytes, header.order()};
  }
};

ByteOrder order_of_magic(std::span<const std::byte> data, std::size_t at) {
  const auto word = data.subspan(at, 4);
  if (decode_unsigned(word, ByteOrder::little) == kBsdMagic) return ByteOrder::little;
  if (decode_unsigned(word, ByteOrder::big) == kBsdMagic) return ByteOrder::big;
  return ByteOrder::inherit;
}

// The byte order of a label at `at`, judged by both magics; inherit when there is none.
ByteOrder order_of_label(std::span<const std::byte> data, std::size_t at) {
  constexpr std::size_t kSecond = FieldReader<kBsdHeader>::offset_of<"magic2">();
  const ByteOrder order = order_of_magic(data, at);
  if (order == ByteOrder::inherit || order_of_magic(data, at + kSecond) != order) {
    return ByteOrder::inherit;
  }
  return order;
}

std::uint16_t left_over_of(const View& view, std::uint64_t place, std::uint64_t entries) {
  const std::uint64_t length = kBsdHeader.bytes + entries * kBsdEntry.bytes;
  return xor_of_words(view.read_vector(place, length), ByteOrder::big);
}

Label read_label(const View& view, std::uint64_t place, ByteOrder order) {
  Label label;
  label.header = view.record<kBsdHeader>(place, order);
  label.place = place;
  label.slices = std::min(label.header.get<"slices">(), kBsdMostSlices);
  const std::uint64_t length = kBsdHeader.bytes + label.slices * kBsdEntry.bytes;
  label.bytes = view.read_vector(place, length);
  label.left_over = xor_of_words(label.bytes, order);
  if (label.header.get<"slices">() > kBsdMostSlices || label.bytes.size() < length) {
    label.left_over = static_cast<std::uint16_t>(label.left_over | 1U);  // cannot be right
  } else if (!label.good() && left_over_of(view, place, kFixedEntries) == 0) {
    label.left_over = 0;
    label.fixed_extent = true;
  }
  return label;
}

// Two magics at the right distance are a strong sign; without the checksum the rest must look sane.
bool is_plausible(const Label& label) {
  const Header& header = label.header;
  if (!header.complete()) return false;
  if (label.good()) return true;
  const std::uint64_t stated = header.get<"sector_bytes">();
  if (stated != 0 && !is_power_of_two_in(stated, 256, 65536)) return false;
  return header.get<"slices">() >= 1 && header.get<"slices">() <= 64;
}

bool is_mbr(const Record<kMbr>& mbr) {
  if (!mbr.complete() || mbr.get<"signature">() != kMbrSignature) return false;
  for (std::size_t i = 0; i < mbr.count_of<"entry">(); ++i) {
    if ((mbr.sub<"entry">(i).get<"flag">() & 0x7FU) != 0) return false;
  }
  return true;
}

// A label that an MBR slice starting in the boot area holds belongs to that slice.
bool belongs_to_mbr_slice(const View& view, std::uint64_t place) {
  const auto mbr = view.record<kMbr>(0, ByteOrder::little);
  if (!is_mbr(mbr)) return false;
  for (std::size_t i = 0; i < mbr.count_of<"entry">(); ++i) {
    const auto entry = mbr.sub<"entry">(i);
    const std::uint64_t start = entry.get<"first">() * kBlock;
    if (entry.get<"type">() == 0 || entry.get<"sectors">() == 0 || start == 0) continue;
    if (start <= place && place - start < entry.get<"sectors">() * kBlock) return true;
  }
  return false;
}

std::vector<Label> find_labels(const View& view, const Context& context,
                               std::span<const std::byte> data) {
  std::vector<Label> found;
  constexpr std::size_t kReach = FieldReader<kBsdHeader>::offset_of<"checksum">();
  bool any_usual = false;
  for (std::size_t at = 0; at < kScanBytes && found.size() < kMostClaims; at += 4) {
    if (at + kReach > data.size()) break;
    const ByteOrder order = order_of_label(data, at);
    if (order == ByteOrder::inherit) continue;
    if (context.slice == nullptr && belongs_to_mbr_slice(view, at)) continue;
    Label label = read_label(view, at, order);
    if (!is_plausible(label)) continue;
    any_usual = any_usual || std::ranges::find(kUsualPlaces, at) != kUsualPlaces.end();
    found.push_back(std::move(label));
  }
  // A spoiled label at an odd place says nothing beside one that stands where it should.
  const bool any_good = std::ranges::any_of(found, &Label::good);
  std::erase_if(found, [&](const Label& label) {
    const bool usual = std::ranges::find(kUsualPlaces, label.place) != kUsualPlaces.end();
    return !label.good() && !usual && (any_good || any_usual);
  });
  return found;
}

// FreeBSD changed from positions on the disk to positions in its slice; entry c tells which
// (Linux block/partitions/msdos.c and libblkid use the same test).
bool is_relative(const Label& label, const Context& context) {
  constexpr std::uint64_t kFreebsd = 0xA5;
  return context.slice != nullptr && context.label_format == "mbr" &&
         context.slice->type == kFreebsd && label.whole_slices() > kRawSlot &&
         label.entry(kRawSlot).get<"sectors">() != 0 && label.entry(kRawSlot).get<"first">() == 0;
}

bool spans_the_unit(const Label& label, const Entry& entry) {
  const std::uint64_t unit = label.header.get<"sectors_per_unit">();
  return entry.get<"first">() == 0 && unit != 0 && entry.get<"sectors">() >= unit;
}

bool spans_the_slice(const Slice& slice, const Context& context) {
  return context.slice != nullptr && slice.start == context.slice->start &&
         slice.bytes >= context.slice->bytes;
}

// The raw slot is c; ports that live inside an MBR have it at d and use c for their own part of
// the disk. Any slot without a type that spans the unit serves the same end.
SliceRole role_of(const Label& label, std::uint64_t index, const Slice& slice,
                  const Context& context) {
  const Entry entry = label.entry(index);
  const std::uint64_t type = entry.get<"type">();
  if (type == kBsdSwap) return SliceRole::swap;
  const bool spans = spans_the_unit(label, entry) || spans_the_slice(slice, context);
  if (index == kRawSlot && (type == kBsdUnused || spans)) return SliceRole::whole_disk;
  if (type == kBsdUnused && (spans || index == 3)) {
    return spans ? SliceRole::whole_disk : SliceRole::unused;
  }
  return type == kBsdUnused ? SliceRole::unused : SliceRole::data;
}

void set_slice_facts(Slice& slice, const Entry& entry) {
  const std::uint64_t type = entry.get<"type">();
  slice.type = type;
  slice.facts.set("name", slice.id)
      .set("type", type)
      .set("type_name", name_of(kBsdTypes, type, "unknown"));
  const std::uint64_t fragment = entry.get<"fragment_bytes">();
  if (type == kBsdFfs && fragment != 0) {
    slice.facts.set("fragment_bytes", fragment)
        .set("block_bytes", saturating_mul(fragment, entry.get<"fragments">()))
        .set("cylinders_per_group", entry.get<"cylinders_per_group">());
  }
}

// The end that entries should respect. Systems that count from the start of the disk but give the
// unit the size of their slice show it by where c starts.
std::uint64_t unit_end(const Label& label) {
  const std::uint64_t unit = label.header.get<"sectors_per_unit">();
  return unit + (label.whole_slices() > kRawSlot ? label.entry(kRawSlot).get<"first">() : 0);
}

void check_entry(Claim& claim, const Label& label, std::uint64_t index) {
  const Entry entry = label.entry(index);
  const std::uint64_t unit = label.header.get<"sectors_per_unit">();
  const std::uint64_t end = entry.get<"first">() + entry.get<"sectors">();
  if (unit == 0 || end <= unit_end(label)) return;
  claim.find(Severity::caution, FindingCode::label_field, label.entry_place(index), kBsdEntry.bytes,
             fmt::format("slice {} of the BSD label ends at sector {}, the label gives the unit {} "
                         "sectors",
                         static_cast<char>('a' + index), end, unit));
}

void add_slices(Claim& claim, const Label& label, const View& view, const Context& context) {
  const std::uint64_t base = is_relative(label, context) ? view.start() : context.image.start();
  for (std::uint64_t i = 0; i < label.whole_slices(); ++i) {
    const Entry entry = label.entry(i);
    if (entry.get<"sectors">() == 0) continue;
    Slice slice;
    slice.id = std::string(1, static_cast<char>('a' + i));
    slice.start = saturating_add(base, saturating_mul(entry.get<"first">(), label.sector_bytes()));
    slice.bytes = saturating_mul(entry.get<"sectors">(), label.sector_bytes());
    slice.role = role_of(label, i, slice, context);
    set_slice_facts(slice, entry);
    claim.slices.push_back(std::move(slice));
    check_entry(claim, label, i);
  }
}

void check_header(Claim& claim, const Label& label) {
  const Header& header = label.header;
  if (header.get<"sector_bytes">() != label.sector_bytes()) {
    claim.find(Severity::caution, FindingCode::label_field, header.place_of<"sector_bytes">(), 4,
               fmt::format("the BSD label gives {} bytes per sector, which is no power of two from "
                           "256 to 65536; 512 is used",
                           header.get<"sector_bytes">()));
  }
  if (header.get<"slices">() > kBsdMostSlices) {
    claim.find(Severity::caution, FindingCode::label_field, header.place_of<"slices">(), 2,
               fmt::format("the BSD label claims {} slices, at most {} fit behind it",
                           header.get<"slices">(), kBsdMostSlices));
  } else if (label.whole_slices() < label.slices) {
    claim.find(Severity::caution, FindingCode::label_field, header.place_of<"slices">(), 2,
               fmt::format("the BSD label claims {} slices, only {} are there before the end",
                           label.slices, label.whole_slices()));
  }
}

void report_checksum(Claim& claim, const Label& label) {
  if (label.good()) return;
  const std::uint64_t stored = label.header.get<"checksum">();
  const std::uint64_t computed = stored ^ xor_of_words(label.bytes, label.header.order());
  claim.find(Severity::fault, FindingCode::label_checksum, label.header.place_of<"checksum">(), 2,
             fmt::format("the BSD label stores checksum 0x{:04X}, its content gives 0x{:04X}",
                         stored, computed));
}

void set_facts(Claim& claim, const Label& label) {
  const Header& header = label.header;
  const std::string pack = header.text<"pack_name">();
  const std::string drive = header.text<"type_name">();
  claim.facts.set("byte_order", byte_order_name(header.order()))
      .set("checksum", label.good() ? "good" : "bad")
      .set_text("name", pack.empty() ? drive : pack)
      .set("cylinders", header.get<"cylinders">())
      .set("heads", header.get<"tracks">())
      .set("sectors_per_track", header.get<"sectors_per_track">())
      .set("sector_bytes", header.get<"sector_bytes">())
      .set("sectors_per_unit", header.get<"sectors_per_unit">())
      .set("rpm", header.get<"rpm">())
      .set_text("drive_name", drive)
      .set("label_start", header.start());
  const std::string_view kind = name_of(kBsdDriveTypes, header.get<"drive_type">());
  if (!kind.empty()) claim.facts.set("drive_type", kind);
  if (label.fixed_extent) claim.facts.set("checksum_extent", "16 entries");
}

void keep_records(Claim& claim, const Label& label) {
  claim.records.push_back(label.header.keep());
  for (std::uint64_t i = 0; i < label.whole_slices(); ++i) {
    const auto all = label.entry(i).all();
    claim.records.push_back({&kBsdEntry,
                             label.header.order(),
                             label.entry_place(i),
                             kBsdEntry.bytes,
                             {all.begin(), all.end()},
                             fmt::format("slice {}", static_cast<char>('a' + i))});
  }
}

Claim claim_from(const Label& label, const View& view, const Context& context) {
  Claim claim;
  claim.strength = label.good() ? Strength::proven : Strength::sane;
  claim.start = view.start();
  claim.title = "4.4BSD disk label";
  // Inside a slice the label may count the whole disk; then it does not tell how much is its own.
  const std::uint64_t unit_bytes =
      saturating_mul(label.header.get<"sectors_per_unit">(), label.sector_bytes());
  const bool own = context.slice == nullptr ||
                   (is_relative(label, context) && unit_bytes <= context.slice->bytes);
  if (own) claim.bytes = unit_bytes;
  set_facts(claim, label);
  if (context.slice != nullptr) claim.facts.set("relative", is_relative(label, context));
  keep_records(claim, label);
  report_checksum(claim, label);
  check_header(claim, label);
  add_slices(claim, label, view, context);
  return claim;
}

// Labels that say different things about one disk are told apart by where they stand; the end of
// what they describe stays the same.
void start_at_label(Claim& claim, const Label& label) {
  claim.start += label.place;
  claim.bytes -= std::min(claim.bytes, label.place);
}

bool same_content(const Label& a, const Label& b) {
  return a.bytes == b.bytes;
}

// What was already looked at from outside: a slice at the very start of the image, and the slices
// of a BSD label, which often start where the label itself stands.
bool seen_from_outside(const View& view, const Context& context) {
  return context.slice != nullptr &&
         (view.start() == context.image.start() || context.label_format == "bsd");
}

std::vector<Claim> claims(const View& view, const Context& context) {
  if (seen_from_outside(view, context)) return {};
  if (context.slice == nullptr) {
    if (std::optional<Claim> scattered = scattered_bsd_claim(view)) return {std::move(*scattered)};
  }
  std::array<std::byte, kScanBytes + kBsdHeader.bytes> area;
  const std::size_t present = view.read(0, area);
  const auto labels = find_labels(view, context, std::span(area).first(present));
  std::vector<Claim> result;
  for (std::size_t i = 0; i < labels.size(); ++i) {
    const auto earlier = std::span(labels).first(i);
    const auto twin = std::ranges::find_if(
        earlier, [&](const Label& label) { return same_content(label, labels[i]); });
    if (twin != earlier.end()) continue;  // the same label again says nothing new
    result.push_back(claim_from(labels[i], view, context));
    if (result.size() > 1) start_at_label(result.back(), labels[i]);
  }
  return result;
}

}  // namespace

extern const Format bsd_format;
const Format bsd_format = {.id = "bsd",
                           .title = "4.4BSD disk label",
                           .stage = Stage::label,
                           .inside_slices = true,
                           .claims = claims};

}  // namespace platter::label
