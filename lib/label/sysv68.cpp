// sysv68 label: two 256-byte blocks in sector 0, a slice table elsewhere, big-endian, no checksum.
#include <algorithm>
#include <vector>

#include <fmt/format.h>

#include "core/claim.h"
#include "label/bsd_scattered.h"
#include "label/sysv68_label.h"

namespace platter::label {
namespace {

constexpr std::uint64_t kBlock = 512;
// A table further out than this, or one that is not there, is believed only when the count is sane.
constexpr std::uint64_t kFarthestTable = 65536;

using Label = Record<kSysv68Label>;
using Entry = Record<kSysv68Entry>;

bool has_magic(const Label& label) {
  if (!label.complete()) return false;
  return std::ranges::equal(label.raw<"magic">(), kSysv68Magic,
                            [](std::byte byte, std::uint8_t letter) {
                              return std::to_integer<unsigned>(byte) == letter;
                            });
}

std::uint64_t listed_slices(const Label& label) {
  return std::min(label.get<"slices">(), kSysv68MostSlices);
}

Entry entry_of(const Label& label, const View& view, std::uint64_t index) {
  return view.record<kSysv68Entry>(label.get<"table">() * kBlock + index * kSysv68Entry.bytes,
                                   ByteOrder::big);
}

// The last slice is the whole disk; every other one must lie in it.
bool table_agrees(const Label& label, const View& view) {
  const std::uint64_t count = label.get<"slices">();
  if (count == 0 || count > kSysv68MostSlices) return false;
  const Entry whole = entry_of(label, view, count - 1);
  return whole.complete() && whole.get<"first">() == 0 && whole.get<"blocks">() != 0;
}

// The letters may stand in a file by chance; the numbers must be those of a table.
bool is_plausible(const Label& label, const View& view) {
  if (label.get<"table">() == 0) return false;
  if (table_agrees(label, view)) return true;
  return label.get<"table">() < kFarthestTable && label.get<"slices">() <= kSysv68MostSlices;
}

void add_slice(Claim& claim, const Entry& entry, const View& view, std::uint64_t index, bool last) {
  claim.records.push_back(entry.keep(fmt::format("slice {}", index)));
  if (entry.get<"blocks">() == 0) return;
  Slice slice;
  slice.id = std::to_string(index);
  slice.start = saturating_add(view.start(), entry.get<"first">() * kBlock);
  slice.bytes = entry.get<"blocks">() * kBlock;
  if (last) slice.role = SliceRole::whole_disk;
  slice.facts.set("name", slice.id);
  if (last) {
    slice.facts.set("type_name", "whole disk");
    if (entry.get<"first">() == 0) claim.bytes = slice.bytes;
  }
  claim.slices.push_back(std::move(slice));
}

void add_slices(Claim& claim, const Label& label, const View& view) {
  const std::uint64_t count = listed_slices(label);
  for (std::uint64_t i = 0; i < count; ++i) {
    const Entry entry = entry_of(label, view, i);
    if (!entry.complete()) {
      claim.find(Severity::caution, FindingCode::label_field, label.place_of<"table">(), 4,
                 fmt::format("the slice table at sector {} has {} slices, the image ends before "
                             "number {}",
                             label.get<"table">(), label.get<"slices">(), i));
      return;
    }
    add_slice(claim, entry, view, i, i + 1 == label.get<"slices">());
  }
}

void check_places(Claim& claim) {
  if (claim.bytes == 0) return;
  for (const RecordData& record : claim.records) {
    if (record.structure != &kSysv68Entry) continue;
    const FieldReader<kSysv68Entry> entry(record.bytes.data(), ByteOrder::big);
    const std::uint64_t end = entry.get<"first">() + entry.get<"blocks">();
    if (entry.get<"blocks">() == 0 || end * kBlock <= claim.bytes) continue;
    claim.find(Severity::caution, FindingCode::label_field, record.start, kSysv68Entry.bytes,
               fmt::format("a slice of the sysv68 label ends at block {}, the whole disk has {}",
                           end, claim.bytes / kBlock));
  }
}

std::vector<Claim> claims(const View& view, const Context& context) {
  (void)context;
  const auto label = view.record<kSysv68Label>(0, ByteOrder::big);
  if (!has_magic(label) || is_scattered_bsd(view) || !is_plausible(label, view)) return {};
  std::vector<Claim> result(1);
  Claim& claim = result.front();
  claim.strength = table_agrees(label, view) ? Strength::sane : Strength::magic;
  claim.start = view.start();
  claim.title = "sysv68 label";
  claim.facts.set("byte_order", "big")
      .set("checksum", "none")
      .set("sector_bytes", kBlock)
      .set("table_start", saturating_add(view.start(), label.get<"table">() * kBlock));
  claim.records.push_back(label.keep());
  if (label.get<"slices">() == 0 || label.get<"slices">() > kSysv68MostSlices) {
    claim.find(Severity::caution, FindingCode::label_field, label.place_of<"slices">(), 2,
               fmt::format("the sysv68 label claims {} slices, expected 1 to {}",
                           label.get<"slices">(), kSysv68MostSlices));
  }
  add_slices(claim, label, view);
  check_places(claim);
  return result;
}

}  // namespace

extern const Format sysv68_format;
const Format sysv68_format = {
    .id = "sysv68", .title = "sysv68 label", .stage = Stage::label, .claims = claims};

}  // namespace platter::label
