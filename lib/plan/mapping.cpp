#include "plan/mapping.h"

#include <sys/mman.h>

#include <csetjmp>
#include <csignal>
#include <mutex>

namespace platter::plan {
namespace {

// At least a page: a multiple of every page size in use is as good.
constexpr std::uint64_t kPage = 65536;

thread_local sigjmp_buf* guard = nullptr;
struct sigaction previous_action {};

// SIGBUS that is not ours goes on to whoever was there before.
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

Mapping::Mapping(int descriptor, std::uint64_t bytes) noexcept {
  if (descriptor < 0 || bytes == 0) return;
  void* memory = mmap(nullptr, bytes, PROT_READ, MAP_SHARED, descriptor, 0);
  if (memory == MAP_FAILED) return;
  madvise(memory, bytes, MADV_SEQUENTIAL);
  memory_ = static_cast<const std::byte*>(memory);
  bytes_ = bytes;
}

Mapping::~Mapping() {
  if (memory_ != nullptr) munmap(const_cast<std::byte*>(memory_), bytes_);
}

void Mapping::expect(std::uint64_t offset, std::size_t bytes) const noexcept {
#ifdef MADV_POPULATE_READ
  // Advice only: older systems do not know it, and what cannot be read is found when it is touched.
  const std::uint64_t page_start = offset / kPage * kPage;
  madvise(const_cast<std::byte*>(memory_) + page_start, offset + bytes - page_start,
          MADV_POPULATE_READ);
#else
  (void)offset;
  (void)bytes;
#endif
}

void Mapping::let_go(std::uint64_t offset) const noexcept {
  madvise(const_cast<std::byte*>(memory_), offset / kPage * kPage, MADV_DONTNEED);
}

bool survives_bus_error(void (*work)(void* context) noexcept, void* context) {
  install_handler();
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

}  // namespace platter::plan
