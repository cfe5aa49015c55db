// Minix subpartitions: a second table of the MBR's form in the first sector of an MBR slice of a
// Minix type, with starts counted from the disk's start.
#include <algorithm>
#include <vector>

#include <fmt/format.h>

#include "core/claim.h"
#include "label/mbr_label.h"

namespace platter::label {
namespace {

constexpr std::uint64_t kBlock = 512;
constexpr std::uint64_t kOldMinix = 0x80;
constexpr std::uint64_t kMinix = 0x81;
constexpr std::size_t kEntries = 4;

using Table = Record<kMbr>;
using Entry = FieldReader<kMbrEntry>;

bool is_minix(std::uint64_t type) {
  return type == kMinix || type == kOldMinix;
}

// The sector may as well be a plain boot sector: Linux takes it for a table when its first entry is
// of the Minix type, and so do we.
bool is_table(const Table& table) {
  if (!table.complete() || table.get<"signature">() != kMbrSignature) return false;
  for (std::size_t i = 0; i < kEntries; ++i) {
    if ((table.sub<"entry">(i).get<"flag">() & 0x7FU) != 0) return false;
  }
  const auto first = table.sub<"entry">(0);
  return is_minix(first.get<"type">()) && first.get<"sectors">() != 0;
}

void add_slice(Claim& claim, const Table& table, std::uint32_t index, const Context& context) {
  const auto entry = table.sub<"entry">(index);
  const std::uint64_t sectors = entry.get<"sectors">();
  if (entry.get<"type">() == 0 || sectors == 0) return;
  Slice slice;
  slice.id = fmt::format("s{}", index);
  slice.start = saturating_add(context.image.start(), entry.get<"first">() * kBlock);
  slice.bytes = sectors * kBlock;
  slice.type = entry.get<"type">();
  slice.facts.set("name", slice.id)
      .set("type", *slice.type)
      .set("type_name", name_of(kMbrTypes, *slice.type, "unknown"))
      .set("active", entry.get<"flag">() == 0x80);
  const Slice& parent = *context.slice;
  if (slice.start < parent.start ||
      !fits_within(slice.start - parent.start, slice.bytes, parent.bytes)) {
    claim.find(Severity::caution, FindingCode::label_field,
               table.place_of<"entry">(index) + Entry::offset_of<"first">(), 8,
               fmt::format("subpartition {} covers sectors {} to {}, outside its slice; Minix cuts "
                           "it to what is inside",
                           slice.id, entry.get<"first">(), entry.get<"first">() + sectors - 1));
  }
  claim.slices.push_back(std::move(slice));
}

std::vector<Claim> claims(const View& view, const Context& context) {
  if (context.slice == nullptr || context.label_format != "mbr") return {};
  if (!context.slice->type || !is_minix(*context.slice->type)) return {};
  const auto table = view.record<kMbr>(0, ByteOrder::little);
  if (!is_table(table)) return {};
  std::vector<Claim> result(1);
  Claim& claim = result.front();
  claim.strength = Strength::sane;
  claim.start = view.start();
  claim.bytes = context.slice->bytes;
  claim.title = "Minix subpartitions";
  claim.facts.set("byte_order", "little").set("checksum", "none").set("sector_bytes", kBlock);
  claim.records.push_back(table.keep());
  for (std::uint32_t i = 0; i < kEntries; ++i)
    add_slice(claim, table, i, context);
  return result;
}

}  // namespace

extern const Format minix_sub_format;
const Format minix_sub_format = {.id = "minix-sub",
                                 .title = "Minix subpartitions",
                                 .stage = Stage::label,
                                 .inside_slices = true,
                                 .claims = claims};

}  // namespace platter::label
