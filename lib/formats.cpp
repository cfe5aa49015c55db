#include "formats.h"

#include <algorithm>
#include <array>

namespace platter {

// Explicit rows rather than objects that register themselves: a linker drops those from a static
// library, and their order would be luck.
#define FORMAT(stage, name)          \
  namespace stage {                  \
  extern const Format name##_format; \
  }
#include "formats.def"
#undef FORMAT

std::span<const Format* const> all_formats() noexcept {
  static constexpr auto kFormats = std::to_array<const Format*>({
#define FORMAT(stage, name) &stage::name##_format,
#include "formats.def"
#undef FORMAT
  });
  return kFormats;
}

const Format* find_format(std::string_view id) noexcept {
  const auto formats = all_formats();
  const auto found = std::ranges::find(formats, id, &Format::id);
  return found == formats.end() ? nullptr : *found;
}

}  // namespace platter
