// Words for a person.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "job/fit.h"
#include "survey/survey.h"

namespace platter {

struct TextStyle {
  bool colour = false;       ///< terminal attributes; off for pipes and under NO_COLOR
  std::size_t columns = 80;  ///< lines are broken to this width where words allow it
};

/// The survey in words: what it is, how large, what each slice holds, what is wrong and what to do.
[[nodiscard]] std::string survey_text(const Survey& survey, const TextStyle& style);

/// Whether an image fits its region, in words.
[[nodiscard]] std::string fit_text(const Survey& survey, const Fit& fit, const TextStyle& style);

/// The findings, worst first, each with its place and what to do about it.
[[nodiscard]] std::string findings_text(const std::vector<Finding>& findings,
                                        const TextStyle& style);

}  // namespace platter
