// JSON renderings. Keys are released vocabulary (docs/json.md): never renamed, only added to.
#pragma once

#include <string>
#include <vector>

#include "job/fit.h"
#include "survey/survey.h"

namespace platter {

/// A survey document (schema platter.survey/1), indented for reading, ending in a newline.
[[nodiscard]] std::string survey_json(const Survey& survey);
/// Several surveys as one array.
[[nodiscard]] std::string surveys_json(const std::vector<Survey>& surveys);
/// A fit document (schema platter.fit/1).
[[nodiscard]] std::string fit_json(const Fit& fit);

}  // namespace platter
