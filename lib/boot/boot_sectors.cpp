#include "boot/boot_sectors.h"

namespace platter::boot {
namespace {

// Addresses that the processor maps to memory without a table: kseg0 and kseg1.
constexpr std::uint64_t kUnmappedStart = 0x80000000;
constexpr std::uint64_t kUnmappedEnd = 0xC0000000;

Extent extent_of(const View& image, std::uint64_t first, std::uint64_t blocks) {
  return {saturating_add(image.start(), saturating_mul(first, kBootBlock)),
          saturating_mul(blocks, kBootBlock)};
}

bool is_inside(const View& image, std::uint64_t first, std::uint64_t blocks) {
  return first > 0 && blocks > 0 &&
         fits_within(saturating_mul(first, kBootBlock), saturating_mul(blocks, kBootBlock),
                     image.bytes());
}

void read_pmax_map(PmaxSector& sector, const View& image) {
  const auto& record = sector.record;
  const std::uint32_t most = record.get<"mode">() == 0 ? 1 : record.count_of<"extent">();
  sector.map_ends = record.get<"mode">() == 0;
  bool lengths_hold = true;
  bool places_hold = true;
  for (std::uint32_t i = 0; i < most && lengths_hold; ++i) {
    const auto piece = record.sub<"extent">(i);
    if (piece.get<"blocks">() == 0) {
      sector.map_ends = true;
      break;
    }
    lengths_hold = piece.get<"blocks">() > 0;
    if (!lengths_hold) break;
    const auto blocks = static_cast<std::uint64_t>(piece.get<"blocks">());
    const bool placed = piece.get<"first">() > 0;
    const auto first = placed ? static_cast<std::uint64_t>(piece.get<"first">()) : 0;
    places_hold = places_hold && placed && is_inside(image, first, blocks);
    sector.pieces.push_back(extent_of(image, first, blocks));
    sector.bytes += blocks * kBootBlock;
  }
  sector.map_holds = lengths_hold && !sector.pieces.empty();
  sector.place_fits = sector.map_holds && places_hold;
}

}  // namespace

AlphaSector read_alpha_sector(const View& image) {
  AlphaSector sector;
  sector.record = image.record<kAlphaSector>(0, ByteOrder::little);
  const auto& record = sector.record;
  constexpr std::size_t kWords = kAlphaSector.bytes / 8 - 1;
  for (std::size_t i = 0; i < kWords; ++i) {
    sector.computed += decode_unsigned(record.all().subspan(i * 8, 8), ByteOrder::little);
  }
  const std::uint64_t blocks = record.get<"blocks">();
  const std::uint64_t first = record.get<"first">();
  sector.sum_holds = record.complete() && sector.computed == record.get<"checksum">() &&
                     !all_zero(image, 0, kBootBlock);
  sector.place_is_given =
      blocks > 0 && first > 0 && saturating_mul(first, kBootBlock) < image.bytes();
  sector.place_fits = sector.place_is_given && is_inside(image, first, blocks);
  sector.program = extent_of(image, first, blocks);
  return sector;
}

VaxSector read_vax_sector(const View& image) {
  VaxSector sector;
  sector.head = image.record<kVaxHead>(0, ByteOrder::little);
  const auto& head = sector.head;
  const std::uint64_t id_at = head.get<"id_at">() * 2;
  sector.id_inside =
      head.complete() && id_at >= kVaxHead.bytes && fits_within(id_at, kVaxId.bytes, kBootBlock);
  sector.one_holds = head.get<"one">() == 1;
  if (!sector.id_inside) return sector;
  sector.id = image.record<kVaxId>(id_at, ByteOrder::little);
  const auto& id = sector.id;
  const std::uint64_t three = id.get<"magic">() + id.get<"zero_1">() + id.get<"any">();
  const std::uint64_t volume = id.get<"volume">();
  sector.id_holds = id.complete() && id.get<"magic">() == kVaxIdMagic && id.get<"zero_1">() == 0 &&
                    id.get<"zero_2">() == 0 && id.get<"complement">() == (~three & 0xFF) &&
                    (volume == 0 || volume == 1 || volume == 0x81);
  const std::uint64_t blocks = id.get<"blocks">();
  const std::uint64_t sum = (blocks + id.get<"load">() + id.get<"entry">()) & 0xFFFFFFFF;
  sector.sum_holds = sum == id.get<"sum">() && blocks > 0;
  sector.entry_inside = blocks > 0 && id.get<"entry">() < blocks * kBootBlock;
  const std::uint64_t first = head.get<"first_high">() << 16U | head.get<"first_low">();
  sector.place_fits = is_inside(image, first, blocks);
  sector.program = extent_of(image, first, blocks);
  return sector;
}

PmaxSector read_pmax_sector(const View& image) {
  PmaxSector sector;
  sector.record = image.record<kPmaxSector>(0, ByteOrder::little);
  const auto& record = sector.record;
  const std::uint64_t load = record.get<"load">();
  const std::uint64_t entry = record.get<"entry">();
  sector.magic_holds = record.complete() && record.get<"magic">() == kPmaxMagic;
  sector.mode_holds = record.get<"mode">() <= 1;
  read_pmax_map(sector, image);
  sector.address_holds = load >= kUnmappedStart && load < kUnmappedEnd;
  sector.entry_inside = entry >= load && entry - load < sector.bytes && entry % 4 == 0;
  return sector;
}

}  // namespace platter::boot
