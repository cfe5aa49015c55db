// What the three families that start from a Sun label have in common.
#pragma once

#include <optional>
#include <string>
#include <string_view>

#include "boot/sun_boot.h"
#include "label/sun_label.h"
#include "machine/judging.h"

namespace platter::machine {

/// Which boot block one family wants, and where it looks for it.
struct SunFamily {
  std::string_view id;              ///< released name of the machine
  std::string_view optical_slices;  ///< letters that the firmware takes on a disc, first first
  std::string_view optical_who;     ///< whose default they are, for the detail
  Condition format;                 ///< the condition on the boot block's header
  bool (*accepts)(const boot::SunBootBlock& block) = nullptr;
  std::string_view remedy;  ///< when it does not accept
};

/// The slice that was judged.
struct SunChoice {
  std::string slice;        ///< its letter; "" when none can be used
  std::uint64_t start = 0;  ///< image bytes of the slice
  boot::SunBootBlock block = {};
  bool accepted = false;
};

/// Judges the label, the slice that the firmware takes, and its boot block, in this order.
SunChoice judge_sun_label(Judging& judging, const SunFamily& family, const View& image, BootAs as);

/// The whole verdict of a family whose boot block needs nothing more than its format.
[[nodiscard]] BootVerdict judge_sun_family(const SunFamily& family, const BootSubject& subject,
                                           BootAs as);

/// Customary: what the header announces lies in the 15 sectors that are loaded.
void judge_sun_size(Judging& judging, const SunChoice& choice);

}  // namespace platter::machine
