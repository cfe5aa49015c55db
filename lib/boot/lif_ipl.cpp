#include "boot/lif_ipl.h"

#include "boot/sector_layouts.h"
#include "core/checksum.h"

namespace platter::boot {

LifIpl read_lif_ipl(const View& volume) {
  LifIpl ipl;
  ipl.volume = volume.record<label::kLifVolume>(0, ByteOrder::big);
  const std::uint64_t start = ipl.volume.get<"ipl_start">();
  const std::uint64_t bytes = ipl.volume.get<"ipl_bytes">();
  const std::uint64_t entry = ipl.volume.get<"ipl_entry">();
  ipl.is_given = start != 0 || bytes != 0 || entry != 0;
  ipl.start_holds = start != 0 && start % kIplUnit == 0;
  ipl.size_holds = bytes != 0 && bytes % kIplUnit == 0;
  ipl.limit_holds = bytes <= kMostIplBytes;
  ipl.entry_holds = entry % 4 == 0 && entry < bytes;
  ipl.is_present = fits_within(start, bytes, volume.bytes());
  if (!ipl.limit_holds || bytes == 0) return ipl;
  ipl.is_empty = all_zero(volume, start, bytes);
  if (ipl.is_present) {
    ipl.sum = sum_of_words32(volume.read_vector(start, bytes), ByteOrder::big);
  }
  const auto load = volume.record<kLifLoad>(start, ByteOrder::big);
  ipl.has_load_header = load.complete() && entry >= kLifLoad.bytes && load.get<"length">() != 0 &&
                        load.get<"length">() <= bytes - kLifLoad.bytes &&
                        load.get<"length">() + 2 * kIplUnit > bytes;
  return ipl;
}

}  // namespace platter::boot
