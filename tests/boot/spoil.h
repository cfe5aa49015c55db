// Short ways to a field of an image, for what is spoiled.
#pragma once

#include "boot/images.h"
#include "boot/prep_boot.h"
#include "boot/program_headers.h"
#include "boot/sector_layouts.h"
#include "core/record.h"
#include "filesystem/iso9660_structures.h"
#include "label/apm_label.h"
#include "label/lif_label.h"
#include "label/mbr_label.h"
#include "label/sgi_label.h"
#include "label/sun_label.h"

namespace platter::test {

template <const Structure& S>
FieldWriter<S> little(Bytes& image, std::size_t at = 0) {
  return FieldWriter<S>(image.data() + at, ByteOrder::little);
}
template <const Structure& S>
FieldWriter<S> big(Bytes& image, std::size_t at = 0) {
  return FieldWriter<S>(image.data() + at, ByteOrder::big);
}

inline auto mbr(Bytes& image) {
  return little<label::kMbr>(image);
}
inline auto sun(Bytes& image) {
  return big<label::kSunLabel>(image);
}
inline auto sgi(Bytes& image) {
  return big<label::kSgiHeader>(image);
}
inline auto lif(Bytes& image) {
  return big<label::kLifVolume>(image);
}
inline auto torito_record(Bytes& disc) {
  return little<filesystem::iso9660::kElToritoRecord>(disc, kElToritoRecordAt);
}
inline auto validation_entry(Bytes& disc) {
  return little<filesystem::iso9660::kCatalogValidation>(disc, catalog_of(disc));
}
inline auto default_entry(Bytes& disc) {
  return little<filesystem::iso9660::kCatalogEntry>(
      disc, catalog_of(disc) + filesystem::iso9660::kCatalogEntryBytes);
}
inline auto apm_entry(Bytes& image, std::size_t index) {
  return big<label::kApmEntry>(image, (index + 1) * kBlock);
}
inline auto fcode(Bytes& image) {
  return big<boot::kFcode>(image, (kSunSliceFirst + 1) * kBlock);
}
inline auto aout(Bytes& image) {
  return big<boot::kAout>(image, (kSunSliceFirst + 1) * kBlock);
}
inline auto prep(Bytes& image) {
  return little<boot::kPrepHeader>(image, (kPrepFirst + 1) * kBlock);
}
inline auto pmax(Bytes& image) {
  return little<boot::kPmaxSector>(image);
}

/// Moves a run of bytes; what it leaves is zero.
inline void move(Bytes& image, std::size_t from, std::size_t to, std::size_t bytes) {
  const auto first = image.begin() + static_cast<std::ptrdiff_t>(from);
  const Bytes part(first, first + static_cast<std::ptrdiff_t>(bytes));
  wipe(image, from, bytes);
  put(image, to, part);
}

}  // namespace platter::test
