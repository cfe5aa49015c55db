// What the commands that take a plan file share.
#pragma once

#include <string>
#include <vector>

#include "command.h"
#include "job/place_job.h"

namespace platter::tool {

/// Complains about every line of a plan that makes no sense; true when there is one.
bool complained(const CardJob& job, Streams& streams);

/// Progress for a person: one line that is rewritten on a terminal, plain lines now and then
/// elsewhere. Stops the work after an interrupt.
class ProgressLine {
 public:
  explicit ProgressLine(Streams& streams);
  ProgressLine(const ProgressLine&) = delete;
  ProgressLine& operator=(const ProgressLine&) = delete;
  ~ProgressLine();
  /// False when the person wants to stop.
  bool operator()(const std::string& region, const plan::Progress& progress);

 private:
  Streams& streams_;
  bool terminal_;
  bool shown_ = false;
  std::string step_;
  double began_ = 0;
  double next_ = 0;
};

}  // namespace platter::tool
