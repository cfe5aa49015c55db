// Verdicts of bytes in memory, and questions about them.
#pragma once

#include <algorithm>
#include <cstddef>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "machine/machine.h"
#include "support/survey.h"

namespace platter::test {

using Bytes = std::vector<std::byte>;

inline BootVerdict judged(Bytes bytes, std::string_view machine, BootAs as) {
  return verdict_row(survey_bytes(std::move(bytes)), machine, as);
}

inline const Evidence* evidence_in(const BootVerdict& verdict, std::string_view check) {
  const auto found = std::ranges::find(verdict.evidence, check, &Evidence::check);
  return found == verdict.evidence.end() ? nullptr : &*found;
}

/// Ids of the customary conditions that do not hold, separated by blanks.
inline std::string unusual(const BootVerdict& verdict) {
  std::string all;
  for (const Evidence& item : verdict.evidence) {
    if (item.demanded || item.holds) continue;
    all += (all.empty() ? "" : " ") + std::string(item.check);
  }
  return all;
}

}  // namespace platter::test
