// Boot block of a slice of a Sun label: its sectors 1 to 15.
#pragma once

#include <cstdint>
#include <string_view>

#include "boot/program.h"

namespace platter::boot {

inline constexpr std::uint64_t kSunBootAt = 512;
inline constexpr std::uint64_t kSunBootBytes = 7680;

struct SunBootBlock {
  Program program = {};               ///< by the header in sector 1; none when all 15 are zero
  std::string_view raw_machine = {};  ///< code without a header: whose, or ""
};
/// \param slice the slice, from its sector 0 on
[[nodiscard]] SunBootBlock read_sun_boot_block(const View& slice);

}  // namespace platter::boot
