// Things a person should know.
#pragma once

#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

namespace platter {

/// note: good to know. caution: may matter. fault: something is wrong; the exit status says so.
enum class Severity : std::uint8_t { note, caution, fault };

enum class FindingCode : std::uint8_t {
#define FINDING(identifier, code, meaning, advice) identifier,
#include "core/finding_codes.def"
#undef FINDING
};

/// What stands behind a code; the strings live for ever.
struct FindingKind {
  std::string_view code;     ///< as in JSON, e.g. "image-short"
  std::string_view meaning;  ///< one sentence
  std::string_view advice;   ///< what to do about it
};
[[nodiscard]] const FindingKind& finding_kind(FindingCode code) noexcept;
[[nodiscard]] std::size_t finding_kind_count() noexcept;
[[nodiscard]] std::string_view severity_name(Severity severity) noexcept;

struct Finding {
  Severity severity = Severity::note;
  FindingCode code = FindingCode::image_short;
  std::string layer;        ///< id of the layer it is about; filled in by the survey
  std::uint64_t start = 0;  ///< place in image bytes
  std::uint64_t bytes = 0;
  std::string message;  ///< starts lower-case, ends without a stop, gives found and expected
};

[[nodiscard]] bool any_fault(const std::vector<Finding>& findings) noexcept;

}  // namespace platter
