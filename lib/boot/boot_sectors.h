// The boot sectors of alpha, vax and pmax machines: read, with each rule judged by itself.
//
// Boot formats ask for all rules together before they claim anything; machines say which rule is
// broken. Both ask here.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "boot/sector_layouts.h"
#include "core/record.h"
#include "core/view.h"

namespace platter::boot {

/// Where a program lies, image bytes.
struct Extent {
  std::uint64_t start = 0;
  std::uint64_t bytes = 0;
};

struct AlphaSector {
  Record<kAlphaSector> record;
  std::uint64_t computed = 0;   ///< what the checksum should be
  bool sum_holds = false;       ///< and the sector is not all zeros
  bool place_is_given = false;  ///< both numbers above 0, the start inside the image
  bool place_fits = false;      ///< the end inside the image as well
  Extent program = {};
};
[[nodiscard]] AlphaSector read_alpha_sector(const View& image);

struct VaxSector {
  Record<kVaxHead> head;
  Record<kVaxId> id;       ///< at the place that the head names
  bool id_inside = false;  ///< that place leaves room in the sector
  bool one_holds = false;
  bool id_holds = false;      ///< magic, zeros and complement
  bool sum_holds = false;     ///< sum of the three numbers, which are not all 0
  bool entry_inside = false;  ///< the program is entered inside its own blocks
  bool place_fits = false;    ///< it starts behind the sector and ends inside the image
  Extent program = {};
};
[[nodiscard]] VaxSector read_vax_sector(const View& image);

struct PmaxSector {
  Record<kPmaxSector> record;
  bool magic_holds = false;
  bool mode_holds = false;     ///< 0 or 1
  bool address_holds = false;  ///< loaded to unmapped kernel addresses
  bool entry_inside = false;   ///< entered inside what is loaded
  bool map_holds = false;      ///< at least one piece, all of them with a length
  bool map_ends = false;       ///< several pieces: one of no blocks ends the list
  bool place_fits = false;     ///< every piece behind the sector and inside the image
  std::uint64_t bytes = 0;     ///< of all pieces
  std::vector<Extent> pieces = {};
};
[[nodiscard]] PmaxSector read_pmax_sector(const View& image);

}  // namespace platter::boot
