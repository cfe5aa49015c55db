#include "framing/workers.h"

#include <algorithm>
#include <atomic>
#include <exception>
#include <mutex>
#include <thread>
#include <vector>

namespace platter::framing {
namespace {

// Below this a thread takes longer to start than it saves.
constexpr std::uint64_t kWorthAThread = std::uint64_t{8} << 20U;

class Sharing {
 public:
  Sharing(std::uint64_t pieces, const KeepGoing& keep_going,
          const std::function<void(unsigned, std::uint64_t)>& work)
      : pieces_(pieces), keep_going_(keep_going), work_(work) {}

  bool run(unsigned workers) {
    std::vector<std::jthread> threads;
    for (unsigned worker = 1; worker < workers; ++worker) {
      threads.emplace_back([this, worker] { take_pieces(worker); });
    }
    take_pieces(0);
    threads.clear();  // joins
    if (failure_) std::rethrow_exception(failure_);
    return !ended_early_;
  }

 private:
  void take_pieces(unsigned worker) {
    try {
      while (!stop_.load(std::memory_order_relaxed)) {
        if (keep_going_ && !keep_going_()) {
          ended_early_ = true;
          stop_ = true;
          break;
        }
        const std::uint64_t piece = next_.fetch_add(1);
        if (piece >= pieces_) break;
        work_(worker, piece);
      }
    } catch (...) {
      stop_ = true;
      const std::lock_guard lock(mutex_);
      if (!failure_) failure_ = std::current_exception();
    }
  }

  const std::uint64_t pieces_;
  const KeepGoing& keep_going_;
  const std::function<void(unsigned, std::uint64_t)>& work_;
  std::atomic<std::uint64_t> next_{0};
  std::atomic<bool> stop_{false};
  std::atomic<bool> ended_early_{false};
  std::mutex mutex_;
  std::exception_ptr failure_;
};

}  // namespace

unsigned suitable_jobs(std::uint64_t bytes, unsigned jobs) noexcept {
  const std::uint64_t useful = std::max<std::uint64_t>(bytes / kWorthAThread, 1);
  const unsigned cores = std::max(std::thread::hardware_concurrency(), 1U);
  const unsigned most = jobs == 0 ? cores : std::min(jobs, 64U);
  return static_cast<unsigned>(std::min<std::uint64_t>(useful, most));
}

bool share_out(std::uint64_t pieces, unsigned workers, const KeepGoing& keep_going,
               const std::function<void(unsigned, std::uint64_t)>& work) {
  return Sharing(pieces, keep_going, work).run(std::max(workers, 1U));
}

}  // namespace platter::framing
