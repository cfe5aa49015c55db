// System V/386 label: sector 29 of an MBR slice, little-endian, slices counted from the disk's
// start.
#include <algorithm>
#include <vector>

#include <fmt/format.h>

#include "core/claim.h"
#include "label/svr4_label.h"

namespace platter::label {
namespace {

constexpr std::uint64_t kBlock = 512;
constexpr std::uint64_t kMbrType = 0x63;
constexpr std::uint64_t kWholeTag = 5;

using Label = Record<kSvr4Label>;
using Entry = FieldReader<kSvr4Entry>;

bool is_label(const Label& label) {
  if (!label.complete() || label.get<"vtoc_magic">() != kSvr4VtocMagic) return false;
  return label.get<"magic">() == kSvr4Magic || label.get<"magic">() == kSvr4OtherMagic;
}

// The other forms of type 0x63 have nothing at this place that looks like this.
bool may_be_here(const Context& context) {
  return context.slice == nullptr ||
         (context.label_format == "mbr" && context.slice->type == kMbrType);
}

// Slices count from the start of the disk. An image of the MBR slice alone begins later; the label
// says where.
std::uint64_t missing_sectors(const Label& label, const Context& context) {
  return context.slice == nullptr ? label.get<"slice_first">() : 0;
}

SliceRole role_of(const Entry& entry) {
  switch (entry.get<"tag">()) {
    case kWholeTag:
      return SliceRole::whole_disk;
    case 3:
      return SliceRole::swap;
    case 6:
    case 8:
    case 13:
      return SliceRole::metadata;  // what replaces bad sectors
    default:
      return SliceRole::data;
  }
}

void check_entry(Claim& claim, const Label& label, std::uint32_t index, const Context& context) {
  const auto entry = label.sub<"slice">(index);
  const std::uint64_t place = label.place_of<"slice">(index);
  if ((entry.get<"flags">() & kSvr4ValidFlag) == 0) {
    claim.find(Severity::note, FindingCode::label_field, place + Entry::offset_of<"flags">(), 2,
               fmt::format("slice {} of the SVR4 label has flags 0x{:04X}, without the valid one",
                           index, entry.get<"flags">()));
  }
  if (context.slice == nullptr) return;
  const std::uint64_t start = context.image.start() + entry.get<"first">() * kBlock;
  if (start >= context.slice->start &&
      fits_within(start - context.slice->start, entry.get<"sectors">() * kBlock,
                  context.slice->bytes)) {
    return;
  }
  claim.find(
      Severity::caution, FindingCode::label_field, place + Entry::offset_of<"first">(), 8,
      fmt::format("slice {} of the SVR4 label covers sectors {} to {}, outside its MBR slice",
                  index, entry.get<"first">(), entry.get<"first">() + entry.get<"sectors">() - 1));
}

void add_slice(Claim& claim, const Label& label, std::uint32_t index, const Context& context) {
  const auto entry = label.sub<"slice">(index);
  if (entry.get<"tag">() == 0 || entry.get<"sectors">() == 0) return;
  const std::uint64_t missing = missing_sectors(label, context);
  if (entry.get<"first">() < missing) {
    claim.find(
        Severity::caution, FindingCode::label_field,
        label.place_of<"slice">(index) + Entry::offset_of<"first">(), 4,
        fmt::format("slice {} of the SVR4 label starts at sector {}, before the MBR slice at "
                    "sector {} that the image begins with",
                    index, entry.get<"first">(), missing));
    return;
  }
  Slice slice;
  slice.id = std::to_string(index);
  slice.start = saturating_add(context.image.start(), (entry.get<"first">() - missing) * kBlock);
  slice.bytes = entry.get<"sectors">() * kBlock;
  slice.role = role_of(entry);
  slice.type = entry.get<"tag">();
  slice.facts.set("name", slice.id)
      .set("type", *slice.type)
      .set("type_name", name_of(kSvr4Tags, *slice.type, "unknown"))
      .set("flags", entry.get<"flags">());
  claim.slices.push_back(std::move(slice));
  check_entry(claim, label, index, context);
}

void check_fields(Claim& claim, const Label& label, const Context& context) {
  if (label.get<"magic">() != kSvr4Magic) {
    claim.find(Severity::note, FindingCode::label_field, label.place_of<"magic">(), 4,
               fmt::format("the SVR4 label has magic 0x{:08X}, expected 0x{:08X}",
                           label.get<"magic">(), kSvr4Magic));
  }
  if (label.get<"slices">() > kSvr4Slots) {
    claim.find(Severity::caution, FindingCode::label_field, label.place_of<"slices">(), 2,
               fmt::format("the SVR4 label claims {} slices, at most {} fit", label.get<"slices">(),
                           kSvr4Slots));
  }
  const std::uint64_t sector_bytes = label.get<"sector_bytes">();
  if (sector_bytes != kBlock && sector_bytes != 0) {
    claim.find(Severity::caution, FindingCode::label_field, label.place_of<"sector_bytes">(), 4,
               fmt::format("the SVR4 label gives {} bytes per sector; its numbers are read as "
                           "512-byte sectors all the same",
                           sector_bytes));
  }
  if (context.slice == nullptr && label.get<"slice_first">() != 0) {
    claim.find(Severity::note, FindingCode::label_field, label.place_of<"slice_first">(), 4,
               fmt::format("the SVR4 label belongs to an MBR slice at sector {}; the image begins "
                           "with it, so its slices are counted from there",
                           label.get<"slice_first">()));
  }
}

std::vector<Claim> claims(const View& view, const Context& context) {
  if (!may_be_here(context)) return {};
  const auto label = view.record<kSvr4Label>(kSvr4Place, ByteOrder::little);
  if (!is_label(label)) return {};
  std::vector<Claim> result(1);
  Claim& claim = result.front();
  claim.strength = Strength::sane;
  claim.start = view.start();
  claim.title = "SVR4 label";
  claim.facts.set("byte_order", "little")
      .set("checksum", "none")
      .set_text("name", label.text<"serial">())
      .set_text("volume_name", label.text<"volume_name">())
      .set("cylinders", label.get<"cylinders">())
      .set("heads", label.get<"tracks">())
      .set("sectors_per_track", label.get<"sectors_per_track">())
      .set("sector_bytes", label.get<"sector_bytes">())
      .set("label_start", label.start());
  claim.records.push_back(label.keep());
  check_fields(claim, label, context);
  // Readers take the table's sixteen slots whatever the count says; unused ones have tag 0.
  for (std::uint32_t i = 0; i < kSvr4Slots; ++i)
    add_slice(claim, label, i, context);
  for (const Slice& slice : claim.slices) {
    if (slice.role == SliceRole::whole_disk) claim.bytes = slice.bytes;
  }
  return result;
}

}  // namespace

extern const Format svr4_format;
const Format svr4_format = {.id = "svr4",
                            .title = "SVR4 label",
                            .stage = Stage::label,
                            .inside_slices = true,
                            .claims = claims};

}  // namespace platter::label
