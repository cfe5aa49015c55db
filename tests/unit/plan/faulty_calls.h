// A card that fails on cue, and children that can be killed.
#pragma once

#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#include <algorithm>
#include <atomic>
#include <cerrno>
#include <csignal>
#include <cstdint>

#include "plan/card.h"

namespace platter::test {

/// Passes calls on to the system until the byte that is to fail; safe from several threads.
class FaultyCalls final : public plan::CardCalls {
 public:
  std::uint64_t fail_reads_from = ~std::uint64_t{0};   ///< byte of the card
  std::uint64_t fail_writes_from = ~std::uint64_t{0};  ///< byte of the card
  bool fail_sync = false;
  int error = EIO;
  std::size_t most_per_call = ~std::size_t{0};
  unsigned interrupt_every = 0;  ///< every n-th call ends with EINTR; 0 = none
  std::uint64_t lie_at =
      ~std::uint64_t{0};  ///< this byte is not written, though success is claimed
  std::atomic<std::uint64_t> lowest{~std::uint64_t{0}};  ///< what was written, all in all
  std::atomic<std::uint64_t> highest{0};

  ssize_t read_at(int descriptor, void* to, std::size_t count, off_t offset) override {
    return limited(fail_reads_from, count, offset, [&](std::size_t allowed) {
      return CardCalls::read_at(descriptor, to, allowed, offset);
    });
  }

  ssize_t write_at(int descriptor, const void* from, std::size_t count, off_t offset) override {
    return limited(fail_writes_from, count, offset, [&](std::size_t allowed) {
      const auto start = static_cast<std::uint64_t>(offset);
      if (lie_at >= start && lie_at < start + allowed) {
        if (lie_at == start) return ssize_t{1};  // claims one byte, writes none
        allowed = static_cast<std::size_t>(lie_at - start);
      }
      const ssize_t put = CardCalls::write_at(descriptor, from, allowed, offset);
      if (put > 0) note(start, start + static_cast<std::uint64_t>(put));
      return put;
    });
  }

  int sync(int descriptor) override {
    if (!fail_sync) return CardCalls::sync(descriptor);
    errno = error;
    return -1;
  }

 private:
  void note(std::uint64_t start, std::uint64_t end) {
    for (auto low = lowest.load(); start < low && !lowest.compare_exchange_weak(low, start);) {
    }
    for (auto high = highest.load(); end > high && !highest.compare_exchange_weak(high, end);) {
    }
  }

  template <typename Call>
  ssize_t limited(std::uint64_t fail_from, std::size_t count, off_t offset, Call call) {
    if (interrupt_every != 0 && ++calls_ % interrupt_every == 0) {
      errno = EINTR;
      return -1;
    }
    const auto start = static_cast<std::uint64_t>(offset);
    if (start >= fail_from) {
      errno = error;
      return -1;
    }
    const auto room = static_cast<std::size_t>(
        std::min<std::uint64_t>(fail_from - start, std::min(count, most_per_call)));
    return call(room);
  }

  std::atomic<unsigned> calls_{0};
};

/// Files may grow to so many bytes; more is EFBIG.
inline void limit_file_size(std::uint64_t bytes) {
  std::signal(SIGXFSZ, SIG_IGN);
  const rlimit limit{bytes, bytes};
  setrlimit(RLIMIT_FSIZE, &limit);
}

/// Runs work() in a child; its exit status, or -1.
template <typename Work>
int run_in_child(Work work) {
  const pid_t child = fork();
  if (child == 0) _exit(work());
  int status = 0;
  if (child < 0 || waitpid(child, &status, 0) != child || !WIFEXITED(status)) return -1;
  return WEXITSTATUS(status);
}

/// Runs work() in a child and kills it after so many microseconds, unless it ended by then; whether
/// it was killed.
template <typename Work>
bool run_and_kill(unsigned microseconds, Work work) {
  const pid_t child = fork();
  if (child == 0) _exit(work());
  usleep(microseconds);
  kill(child, SIGKILL);
  int status = 0;
  waitpid(child, &status, 0);
  return WIFSIGNALED(status);
}

}  // namespace platter::test
