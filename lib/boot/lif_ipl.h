// The initial program (IPL) of a LIF volume for hppa, with each of the firmware's rules judged.
#pragma once

#include <cstdint>

#include "core/record.h"
#include "core/view.h"
#include "label/lif_label.h"

namespace platter::boot {

inline constexpr std::uint64_t kIplUnit = 2048;
inline constexpr std::uint64_t kMostIplBytes = std::uint64_t{256} * 1024;

struct LifIpl {
  Record<label::kLifVolume> volume;
  bool is_given = false;     ///< any of the three numbers is not 0
  bool start_holds = false;  ///< above 0, a multiple of 2048
  bool size_holds = false;   ///< above 0, a multiple of 2048
  bool limit_holds = false;  ///< at most 256 KiB
  bool entry_holds = false;  ///< a multiple of 4 below the size
  bool is_present = false;   ///< all of it is in the image
  bool is_empty = true;      ///< nothing but zeros
  std::uint32_t sum = 1;     ///< of its 32-bit words; worked out when the size is within the limit
  bool has_load_header =
      false;  ///< starts with an address and a length that fit the size and entry
};
/// \param volume the volume, from its header on
[[nodiscard]] LifIpl read_lif_ipl(const View& volume);

}  // namespace platter::boot
