// The boot script of CHRP machines, \ppc\bootinfo.txt of an optical volume.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

#include "core/view.h"

namespace platter::boot {

inline constexpr std::string_view kChrpElement = "<chrp-boot>";
inline constexpr std::string_view kChrpScript = "<boot-script>";

struct BootScript {
  std::uint64_t start = 0;    ///< image bytes
  std::uint64_t bytes = 0;    ///< as its directory record says
  std::string name = {};      ///< as recorded, e.g. "BOOTINFO.TXT;1"
  std::uint64_t record = 0;   ///< image byte of the directory record
  bool begins_right = false;  ///< the first bytes are <chrp-boot>, in any case of letters
  bool has_script = false;    ///< a <boot-script> element is in it
  std::string command = {};   ///< what stands in that element, at most 256 bytes, one line
};

/// Looks for the file in the plain directory tree of the ISO 9660 volume at the view's start. Names
/// are compared without version and in any case of letters.
[[nodiscard]] std::optional<BootScript> find_boot_script(const View& volume);

}  // namespace platter::boot
