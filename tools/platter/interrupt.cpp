#include "interrupt.h"

#include <signal.h>

#include <array>
#include <atomic>
#include <cstddef>

namespace platter::tool {
namespace {

std::atomic<bool> interruption{false};
constexpr std::array kWatched = {SIGINT, SIGTERM, SIGHUP};
std::array<struct sigaction, kWatched.size()> before_watch;

extern "C" void note_interruption(int) {
  interruption.store(true);
}

}  // namespace

InterruptWatch::InterruptWatch() noexcept {
  interruption = false;
  struct sigaction action {};
  action.sa_handler = note_interruption;
  action.sa_flags = SA_RESTART;
  sigemptyset(&action.sa_mask);
  for (std::size_t i = 0; i < kWatched.size(); ++i) {
    sigaction(kWatched[i], &action, &before_watch[i]);
    // Whoever started the process told it to ignore this one.
    if (before_watch[i].sa_handler == SIG_IGN) sigaction(kWatched[i], &before_watch[i], nullptr);
  }
}

InterruptWatch::~InterruptWatch() {
  for (std::size_t i = 0; i < kWatched.size(); ++i) {
    sigaction(kWatched[i], &before_watch[i], nullptr);
  }
}

bool InterruptWatch::interrupted() noexcept {
  return interruption.load();
}

}  // namespace platter::tool
