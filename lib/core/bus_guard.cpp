#include "core/bus_guard.h"

#include <csetjmp>
#include <csignal>
#include <mutex>

namespace platter {
namespace {

// Volatile: only a signal handler looks at it between the two stores around the work, so a compiler
// would otherwise leave the first one out.
thread_local sigjmp_buf* volatile guard = nullptr;
struct sigaction previous_action {};

void on_bus_error(int signal, siginfo_t* info, void* context) {
  if (guard != nullptr) siglongjmp(*guard, 1);
  if ((previous_action.sa_flags & SA_SIGINFO) != 0 && previous_action.sa_sigaction != nullptr) {
    previous_action.sa_sigaction(signal, info, context);
  } else if (previous_action.sa_handler != SIG_DFL && previous_action.sa_handler != SIG_IGN) {
    previous_action.sa_handler(signal);
  } else {
    std::signal(signal, SIG_DFL);  // the faulting instruction runs again and ends the process
  }
}

void install_handler() {
  static std::once_flag once;
  std::call_once(once, [] {
    struct sigaction action {};
    action.sa_sigaction = on_bus_error;
    // SA_NODEFER: siglongjmp leaves the handler without unblocking, and the mask is not saved.
    action.sa_flags = SA_SIGINFO | SA_NODEFER;
    sigemptyset(&action.sa_mask);
    sigaction(SIGBUS, &action, &previous_action);
  });
}

}  // namespace

bool survives_bus_error(void (*work)(void* context) noexcept, void* context) {
  install_handler();
  // No object with a destructor may live in this frame: siglongjmp skips destructors.
  sigjmp_buf here;
  if (sigsetjmp(here, 0) != 0) {
    guard = nullptr;
    return false;
  }
  guard = &here;
  work(context);
  guard = nullptr;
  return true;
}

}  // namespace platter
