// The copy as a line for a POSIX shell.
#pragma once

#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

#include "plan/plan.h"

namespace platter::plan {

/// Block size for a copy to a position: the largest power of two that divides it, 4 MiB at most.
[[nodiscard]] std::uint64_t copy_block_bytes(std::uint64_t start) noexcept;

/// A line, or the reason why there is none (starts lower-case, no stop).
struct CopyCommand {
  std::string line;
  std::string reason;
};

/// The line that copies an image to byte `start` of a card and touches nothing else: POSIX.1-2017
/// `dd`, behind decompressors when the image is compressed. It is one line of printable characters
/// and does the same in every POSIX shell, whatever bytes the paths hold.
/// \param container  outermost first, as core/image.h names them; archives have no portable line
[[nodiscard]] CopyCommand copy_command(std::string_view image_path,
                                       const std::vector<std::string>& container,
                                       std::string_view card_path, std::uint64_t start);

/// The same for a region of a plan; paths are seen from where the plan file lies. A region without
/// image, a plan without card path and a framed image give a reason.
[[nodiscard]] CopyCommand copy_command(const Plan& plan, const Region& region,
                                       std::string_view plan_path);

}  // namespace platter::plan
