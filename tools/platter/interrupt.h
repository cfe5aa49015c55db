// Being asked to end.
#pragma once

namespace platter::tool {

/// While one lives, SIGINT, SIGTERM and SIGHUP do not end the process but make interrupted() true.
class InterruptWatch {
 public:
  InterruptWatch() noexcept;
  InterruptWatch(const InterruptWatch&) = delete;
  InterruptWatch& operator=(const InterruptWatch&) = delete;
  ~InterruptWatch();

  [[nodiscard]] static bool interrupted() noexcept;
};

}  // namespace platter::tool
