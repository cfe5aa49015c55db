// What the commands that take a plan file share.
#pragma once

#include <string>
#include <vector>

#include "command.h"
#include "job/place_job.h"
#include "progress.h"

namespace platter::tool {

/// Complains about every line of a plan that makes no sense; true when there is one.
bool complained(const CardJob& job, Streams& streams);

/// Progress of a placement for a person. Stops the work after an interrupt.
class ProgressLine {
 public:
  explicit ProgressLine(Streams& streams) : status_(streams) {}
  /// False when the person wants to stop.
  bool operator()(const std::string& region, const plan::Progress& progress);

 private:
  StatusLine status_;
  std::string step_;
};

}  // namespace platter::tool
