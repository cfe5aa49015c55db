#include "files/sink.h"

#include <fmt/format.h>

namespace platter {

Finding missing_finding(std::string_view path, std::uint64_t bytes,
                        const std::vector<Extent>& missing, bool left_out) {
  constexpr std::size_t kShown = 4;
  std::string runs;
  for (std::size_t i = 0; i < missing.size() && i < kShown; ++i) {
    runs += fmt::format("{}{} to {}", i == 0 ? "" : ", ", missing[i].offset,
                        saturating_add(missing[i].offset, missing[i].bytes - 1));
  }
  if (missing.size() > kShown) runs += fmt::format(" and {} more runs", missing.size() - kShown);
  return {Severity::fault,
          FindingCode::content_missing,
          {},
          missing.front().start,
          missing.front().bytes,
          fmt::format("{}: the image does not hold bytes {} of {}; {}", printable(path), runs,
                      bytes, left_out ? "the file was left out" : "they read as zeros")};
}

}  // namespace platter
