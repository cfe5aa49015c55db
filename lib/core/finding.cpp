#include "core/finding.h"

#include <algorithm>
#include <array>

namespace platter {
namespace {

constexpr auto kKinds = std::to_array<FindingKind>({
#define FINDING(identifier, code, meaning, advice) {code, meaning, advice},
#include "core/finding_codes.def"
#undef FINDING
});

}  // namespace

const FindingKind& finding_kind(FindingCode code) noexcept {
  return kKinds.at(static_cast<std::size_t>(code));
}

std::size_t finding_kind_count() noexcept {
  return kKinds.size();
}

std::string_view severity_name(Severity severity) noexcept {
  switch (severity) {
    case Severity::note:
      return "note";
    case Severity::caution:
      return "caution";
    case Severity::fault:
      return "fault";
  }
  return "";
}

bool any_fault(const std::vector<Finding>& findings) noexcept {
  return std::ranges::any_of(
      findings, [](const Finding& finding) { return finding.severity == Severity::fault; });
}

}  // namespace platter
