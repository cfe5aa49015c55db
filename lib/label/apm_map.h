// The entries of one APM map, read at one distance from another.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "core/record.h"
#include "core/view.h"
#include "label/apm_label.h"

namespace platter::label {

/// Maps of more entries are cut (libblkid reads at most as many).
inline constexpr std::uint64_t kApmMostEntries = 256;

enum class ApmKind : std::uint8_t { other, map, free, driver, unix_svr2 };

struct ApmMap {
  std::uint64_t block_bytes = 0;  ///< distance of the entries and unit of what they say
  std::uint64_t stated = 0;       ///< entries that the first one promises
  std::vector<Record<kApmEntry>> entries;

  [[nodiscard]] bool complete() const noexcept {
    return !entries.empty() && entries.size() == stated;
  }
};

/// The entries from block 1 on, as long as their signatures stand there.
[[nodiscard]] ApmMap read_apm_map(const View& view, std::uint64_t block_bytes);

/// What a type says, judged by what follows the vendor's six bytes, in any case of letters.
[[nodiscard]] ApmKind apm_kind(const std::string& type);

}  // namespace platter::label
