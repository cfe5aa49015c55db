// One line on standard error that says how far long work is.
#pragma once

#include <string>

#include "command.h"
#include "interrupt.h"

namespace platter::tool {

/// Shown and rewritten on a terminal only. While one lives, interruptions are watched for.
class StatusLine {
 public:
  explicit StatusLine(Streams& streams);
  StatusLine(const StatusLine&) = delete;
  StatusLine& operator=(const StatusLine&) = delete;
  ~StatusLine();

  /// Starts a new step: the clock begins again.
  void begin_step();
  /// Whether it is time to show something. Cheap.
  [[nodiscard]] bool due();
  void show(const std::string& words);
  [[nodiscard]] double seconds_of_step() const;
  [[nodiscard]] static bool interrupted() noexcept { return InterruptWatch::interrupted(); }

 private:
  Streams& streams_;
  InterruptWatch watch_;
  bool terminal_;
  bool shown_ = false;
  double began_ = 0;
  double next_ = 0;
};

}  // namespace platter::tool
