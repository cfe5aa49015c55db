// The rows of a survey's boot list that a person asked about.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "survey/survey.h"

namespace platter {

struct BootRequest {
  std::vector<std::string> machines;  ///< empty: all
  std::optional<BootAs> as;           ///< absent: both
};

struct BootReport {
  ImageFacts image;
  std::vector<BootVerdict> rows;
  /// For every machine that was asked for by name and would not start: what is missing, as faults;
  /// customary conditions that do not hold, as cautions.
  std::vector<Finding> findings;
  bool everything_asked_is_ready = true;
};

/// \throws std::invalid_argument for a machine that is not known; the message lists those that are
[[nodiscard]] BootReport boot_report(const Survey& survey, const BootRequest& request);

/// The code of the finding that a condition which does not hold becomes.
[[nodiscard]] FindingCode finding_code_of(const Evidence& evidence) noexcept;

}  // namespace platter
