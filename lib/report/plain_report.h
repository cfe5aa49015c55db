// What `platter plain` has to say.
#pragma once

#include <string>
#include <vector>

#include "core/finding.h"
#include "job/frames_report.h"
#include "report/text.h"

namespace platter {

struct PlainReport {
  ImageFacts image;
  std::vector<const Layer*> undone;  ///< framings, outermost first; of the caller's survey
  WrittenFile plain;
  std::vector<Finding> findings;
};

[[nodiscard]] std::string plain_text(const PlainReport& report, const TextStyle& style);
/// Schema platter.plain/1 (docs/optical-frames.md).
[[nodiscard]] std::string plain_json(const PlainReport& report);

}  // namespace platter
