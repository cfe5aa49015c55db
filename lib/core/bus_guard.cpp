#include "core/bus_guard.h"

#include <sys/mman.h>
#include <unistd.h>

#include <array>
#include <cerrno>
#include <csetjmp>
#include <csignal>
#include <cstdint>
#include <mutex>

namespace platter {
namespace {

// Volatile: only a signal handler looks at it between the two stores around the work, so a compiler
// would otherwise leave the first one out.
thread_local sigjmp_buf* volatile guard = nullptr;
struct sigaction previous_action {};

// A mapping that is watched over. A signal handler may look at it at any time: `any` is set last
// and cleared first.
struct Watched {
  std::atomic<std::uintptr_t> first = 0;
  std::atomic<std::uintptr_t> end = 0;
  std::atomic<std::atomic<bool>*> any = nullptr;
};
static_assert(std::atomic<std::uintptr_t>::is_always_lock_free);

std::array<Watched, 64> watched;
std::mutex watched_change;
std::uintptr_t page_bytes = 0;

// Only what a signal handler may do: mmap is a system call and touches nothing of the library.
bool put_zeros_at(const void* address) noexcept {
  const auto at = reinterpret_cast<std::uintptr_t>(address);
  for (Watched& mapping : watched) {
    std::atomic<bool>* any = mapping.any;
    if (any == nullptr || at < mapping.first || at >= mapping.end) continue;
    const int error = errno;
    void* page = reinterpret_cast<void*>(at / page_bytes * page_bytes);
    const void* zeros =
        mmap(page, page_bytes, PROT_READ, MAP_PRIVATE | MAP_ANONYMOUS | MAP_FIXED, -1, 0);
    errno = error;
    if (zeros == MAP_FAILED) return false;
    any->store(true);
    return true;
  }
  return false;
}

void on_bus_error(int signal, siginfo_t* info, void* context) {
  if (guard != nullptr) siglongjmp(*guard, 1);
  if (put_zeros_at(info->si_addr)) return;
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
    page_bytes = static_cast<std::uintptr_t>(sysconf(_SC_PAGESIZE));
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

LostPages::LostPages(const void* first, std::size_t bytes) noexcept {
  install_handler();
  const std::lock_guard lock(watched_change);
  for (std::size_t slot = 0; slot < watched.size(); ++slot) {
    Watched& mapping = watched[slot];
    if (mapping.any != nullptr) continue;
    mapping.first = reinterpret_cast<std::uintptr_t>(first);
    mapping.end = reinterpret_cast<std::uintptr_t>(first) + bytes;
    mapping.any = &any_;
    slot_ = slot;
    return;
  }
}

LostPages::~LostPages() {
  if (slot_ == kNone) return;
  const std::lock_guard lock(watched_change);
  watched[slot_].any = nullptr;
}

}  // namespace platter
