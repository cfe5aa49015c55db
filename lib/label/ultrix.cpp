// Ultrix disk label: the last 72 bytes of the first 16 KiB, little-endian, no checksum.
#include <algorithm>
#include <vector>

#include <fmt/format.h>

#include "core/claim.h"
#include "label/ultrix_label.h"

namespace platter::label {
namespace {

constexpr std::uint64_t kBlock = 512;
constexpr std::size_t kSlots = 8;
constexpr std::size_t kWholeSlot = 2;  // c
constexpr std::size_t kSwapSlot = 1;   // b

using Label = Record<kUltrixLabel>;

// Without a checksum the entries must vouch for the magic: a label that says it is valid has one
// slice or more; one that does not must be free of nonsense.
bool is_label(const Label& label) {
  if (!label.complete() || label.get<"magic">() != kUltrixMagic) return false;
  const std::int64_t valid = label.get<"valid">();
  if (valid != 0 && valid != 1) return false;
  bool any = false;
  bool sound = true;
  for (std::size_t i = 0; i < kSlots; ++i) {
    const auto entry = label.sub<"entry">(i);
    any = any || entry.get<"blocks">() > 0;
    sound = sound && entry.get<"blocks">() >= 0;
  }
  return any && (valid == 1 || sound);
}

// c spans the disk and b is for swapping, by custom; the label has no types.
SliceRole role_of(const Label& label, std::size_t slot) {
  if (slot == kSwapSlot) return SliceRole::swap;
  const auto entry = label.sub<"entry">(slot);
  return slot == kWholeSlot && entry.get<"first">() == 0 ? SliceRole::whole_disk : SliceRole::data;
}

void add_slices(Claim& claim, const Label& label, const View& view) {
  for (std::uint32_t i = 0; i < kSlots; ++i) {
    const auto entry = label.sub<"entry">(i);
    const char letter = static_cast<char>('a' + i);
    if (entry.get<"blocks">() == 0) continue;
    if (entry.get<"blocks">() < 0) {
      claim.find(
          Severity::fault, FindingCode::label_field, label.place_of<"entry">(i), 4,
          fmt::format("slice {} of the Ultrix label has {} blocks", letter, entry.get<"blocks">()));
      continue;
    }
    Slice slice;
    slice.id = std::string(1, letter);
    slice.start = saturating_add(view.start(), entry.get<"first">() * kBlock);
    slice.bytes = static_cast<std::uint64_t>(entry.get<"blocks">()) * kBlock;
    slice.role = role_of(label, i);
    slice.facts.set("name", slice.id);
    if (slice.role == SliceRole::whole_disk) slice.facts.set("type_name", "whole disk");
    claim.slices.push_back(std::move(slice));
  }
}

std::vector<Claim> claims(const View& view, const Context& context) {
  (void)context;
  const auto label = view.record<kUltrixLabel>(kUltrixPlace, ByteOrder::little);
  if (!is_label(label)) return {};
  std::vector<Claim> result(1);
  Claim& claim = result.front();
  claim.strength = label.get<"valid">() == 1 ? Strength::sane : Strength::magic;
  claim.start = view.start();
  claim.title = "Ultrix disk label";
  claim.facts.set("byte_order", "little")
      .set("checksum", "none")
      .set("sector_bytes", kBlock)
      .set("label_start", label.start());
  claim.records.push_back(label.keep());
  if (label.get<"valid">() != 1) {
    claim.find(Severity::caution, FindingCode::label_field, label.place_of<"valid">(), 4,
               "the Ultrix label is marked as not in force; the driver's built-in table counts");
  }
  add_slices(claim, label, view);
  for (const Slice& slice : claim.slices) {
    if (slice.role == SliceRole::whole_disk) claim.bytes = slice.bytes;
  }
  return result;
}

}  // namespace

extern const Format ultrix_format;
const Format ultrix_format = {
    .id = "ultrix", .title = "Ultrix disk label", .stage = Stage::label, .claims = claims};

}  // namespace platter::label
