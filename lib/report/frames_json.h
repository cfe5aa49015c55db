// A frames document for scripts.
#pragma once

#include <string>

#include "job/frames_report.h"

namespace platter {

/// Schema platter.frames/1 (docs/optical-frames.md), indented, ending in a newline.
[[nodiscard]] std::string frames_json(const FramesReport& report);

}  // namespace platter
