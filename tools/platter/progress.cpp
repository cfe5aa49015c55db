#include "progress.h"

#include <unistd.h>

#include <chrono>

namespace platter::tool {
namespace {

double seconds_now() {
  using namespace std::chrono;
  return duration<double>(steady_clock::now().time_since_epoch()).count();
}

}  // namespace

StatusLine::StatusLine(Streams& streams)
    : streams_(streams), terminal_(isatty(STDERR_FILENO) != 0) {
  begin_step();
}

StatusLine::~StatusLine() {
  if (shown_ && terminal_) streams_.err << '\n';
}

void StatusLine::begin_step() {
  began_ = seconds_now();
  next_ = began_ + 0.2;
}

bool StatusLine::due() {
  if (!terminal_) return false;
  const double now = seconds_now();
  if (now < next_) return false;
  next_ = now + 0.2;
  return true;
}

void StatusLine::show(const std::string& words) {
  if (!terminal_) return;
  streams_.err << "\r\x1B[K" << words << std::flush;
  shown_ = true;
}

double StatusLine::seconds_of_step() const {
  return seconds_now() - began_;
}

}  // namespace platter::tool
