#include "label/bsd_scattered.h"

#include <algorithm>

#include <fmt/format.h>

#include "label/sysv68_label.h"

namespace platter::label {
namespace {

using Rear = Record<kScatteredRear>;

constexpr std::uint64_t kRawSlot = 2;  // c

// The fields of the front half that both ports have.
struct Front {
  RecordData record;
  std::uint64_t slices = 0;
  std::uint64_t slices_place = 0;
  std::uint64_t drive_type = 0;
  std::string type_name;
  std::string pack_name;
  std::string_view port;
};

template <const Structure& S>
std::optional<Front> front_of(const View& view, std::string_view port) {
  const auto front = view.record<S>(0, ByteOrder::big);
  if (!front.complete() || front.template get<"magic">() != kBsdMagic) return std::nullopt;
  return Front{front.keep(),
               front.template get<"slices">(),
               front.template place_of<"slices">(),
               front.template get<"drive_type">(),
               front.template text<"type_name">(),
               front.template text<"pack_name">(),
               port};
}

std::optional<Front> front_of(const View& view) {
  if (auto front = front_of<kScatteredFront68>(view, "m68k")) return front;
  return front_of<kScatteredFront88>(view, "m88k");
}

Rear rear_of(const View& view) {
  return view.record<kScatteredRear>(kScatteredFront68.bytes, ByteOrder::big);
}

bool has_maker(const Rear& rear) {
  return std::ranges::equal(rear.raw<"maker">(), kSysv68Magic,
                            [](std::byte byte, std::uint8_t letter) {
                              return std::to_integer<unsigned>(byte) == letter;
                            });
}

FieldReader<kBsdEntry> entry_of(const Rear& rear, std::uint64_t index) {
  constexpr std::uint64_t kLow = Rear::count_of<"entry_low">();
  return index < kLow ? rear.sub<"entry_low">(index) : rear.sub<"entry_high">(index - kLow);
}

std::uint64_t place_of_entry(const Rear& rear, std::uint64_t index) {
  constexpr std::uint64_t kLow = Rear::count_of<"entry_low">();
  const auto at = static_cast<std::uint32_t>(index < kLow ? index : index - kLow);
  return index < kLow ? rear.place_of<"entry_low">(at) : rear.place_of<"entry_high">(at);
}

void add_slice(Claim& claim, const Rear& rear, std::uint64_t index, std::uint64_t sector_bytes) {
  const auto entry = entry_of(rear, index);
  if (entry.get<"sectors">() == 0) return;
  const std::uint64_t type = entry.get<"type">();
  const std::uint64_t unit = rear.get<"sectors_per_unit">();
  Slice slice;
  slice.id = std::string(1, static_cast<char>('a' + index));
  slice.start = saturating_add(claim.start, saturating_mul(entry.get<"first">(), sector_bytes));
  slice.bytes = saturating_mul(entry.get<"sectors">(), sector_bytes);
  const bool spans = entry.get<"first">() == 0 && entry.get<"sectors">() >= unit;
  if (index == kRawSlot && (type == kBsdUnused || spans)) {
    slice.role = SliceRole::whole_disk;
  } else if (type == kBsdUnused) {
    slice.role = SliceRole::unused;
  } else if (type == kBsdSwap) {
    slice.role = SliceRole::swap;
  }
  slice.type = type;
  slice.facts.set("name", slice.id)
      .set("type", type)
      .set("type_name", name_of(kBsdTypes, type, "unknown"));
  claim.slices.push_back(std::move(slice));
  const std::uint64_t end = entry.get<"first">() + entry.get<"sectors">();
  if (end > unit) {
    claim.find(
        Severity::caution, FindingCode::label_field, place_of_entry(rear, index), kBsdEntry.bytes,
        fmt::format("slice {} of the BSD label ends at sector {}, the label gives the unit {} "
                    "sectors",
                    static_cast<char>('a' + index), end, unit));
  }
}

}  // namespace

bool is_scattered_bsd(const View& view) {
  const Rear rear = rear_of(view);
  return rear.complete() && has_maker(rear) && rear.get<"magic2">() == kBsdMagic &&
         front_of(view).has_value();
}

std::optional<Claim> scattered_bsd_claim(const View& view) {
  const Rear rear = rear_of(view);
  if (!rear.complete() || !has_maker(rear) || rear.get<"magic2">() != kBsdMagic)
    return std::nullopt;
  const std::optional<Front> front = front_of(view);
  if (!front) return std::nullopt;
  const std::uint64_t stated = rear.get<"sector_bytes">();
  const std::uint64_t sector_bytes = is_power_of_two_in(stated, 256, 65536) ? stated : 512;

  Claim claim;
  claim.strength = Strength::sane;
  claim.start = view.start();
  claim.bytes = saturating_mul(rear.get<"sectors_per_unit">(), sector_bytes);
  claim.title = "4.4BSD disk label, scattered";
  claim.facts.set("byte_order", "big")
      .set("checksum", "none")
      .set_text("name", front->pack_name.empty() ? front->type_name : front->pack_name)
      .set("cylinders", rear.get<"cylinders">())
      .set("heads", rear.get<"tracks">())
      .set("sectors_per_track", rear.get<"sectors_per_track">())
      .set("sector_bytes", stated)
      .set("sectors_per_unit", rear.get<"sectors_per_unit">())
      .set("rpm", rear.get<"rpm">())
      .set_text("drive_name", front->type_name)
      .set("label_start", view.start())
      .set("scattered", true)
      .set("port", front->port);
  const std::string_view kind = name_of(kBsdDriveTypes, front->drive_type);
  if (!kind.empty()) claim.facts.set("drive_type", kind);
  claim.records.push_back(front->record);
  claim.records.push_back(rear.keep());
  if (stated != sector_bytes) {
    claim.find(Severity::caution, FindingCode::label_field, rear.place_of<"sector_bytes">(), 2,
               fmt::format("the BSD label gives {} bytes per sector, which is no power of two from "
                           "256 to 65536; 512 is used",
                           stated));
  }
  if (front->slices > kScatteredMostSlices) {
    claim.find(Severity::caution, FindingCode::label_field, front->slices_place, 2,
               fmt::format("the BSD label claims {} slices, it has room for {}", front->slices,
                           kScatteredMostSlices));
  }
  for (std::uint64_t i = 0; i < std::min(front->slices, kScatteredMostSlices); ++i) {
    add_slice(claim, rear, i, sector_bytes);
  }
  return claim;
}

}  // namespace platter::label
