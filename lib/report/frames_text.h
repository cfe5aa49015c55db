// What `platter frames` has to say, in words.
#pragma once

#include <string>

#include "job/frames_report.h"
#include "report/text.h"

namespace platter {

/// Counts, blocks that are not good and what they belong to, corrections, findings.
[[nodiscard]] std::string frames_text(const FramesReport& report, const TextStyle& style);

}  // namespace platter
