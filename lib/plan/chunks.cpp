#include "plan/chunks.h"

#include <algorithm>
#include <atomic>
#include <exception>
#include <mutex>
#include <thread>
#include <vector>

namespace platter::plan {
namespace {

class ChunkRun {
 public:
  ChunkRun(std::uint64_t total, std::uint64_t chunk_bytes, Progress::Stage stage,
           const OnProgress& on_progress,
           const std::function<void(unsigned, std::uint64_t, std::size_t)>& work)
      : total_(total),
        chunk_bytes_(chunk_bytes),
        stage_(stage),
        on_progress_(on_progress),
        work_(work) {}

  bool run(unsigned workers) {
    std::vector<std::jthread> threads;
    for (unsigned worker = 1; worker < workers; ++worker) {
      threads.emplace_back([this, worker] { take_chunks(worker); });
    }
    take_chunks(0);
    threads.clear();  // joins
    if (failure_) std::rethrow_exception(failure_);
    return !stopped_by_caller_;
  }

 private:
  void take_chunks(unsigned worker) {
    std::uint64_t offset = 0;
    try {
      while (!stop_.load(std::memory_order_relaxed)) {
        offset = next_.fetch_add(chunk_bytes_);
        if (offset >= total_) break;
        const std::uint64_t bytes = std::min(chunk_bytes_, total_ - offset);
        work_(worker, offset, static_cast<std::size_t>(bytes));
        done_ += bytes;
        if (worker == 0 && on_progress_ && !on_progress_({stage_, done_, total_})) {
          stopped_by_caller_ = true;
          stop_ = true;
        }
      }
    } catch (...) {
      stop_ = true;
      // Several may fail at once. A chunk that was taken is worked on to its end, so the first one
      // that can fail is among them: that one is reported, whoever comes here first.
      const std::lock_guard lock(mutex_);
      if (failure_ && failed_at_ < offset) return;
      failure_ = std::current_exception();
      failed_at_ = offset;
    }
  }

  const std::uint64_t total_;
  const std::uint64_t chunk_bytes_;
  const Progress::Stage stage_;
  const OnProgress& on_progress_;
  const std::function<void(unsigned, std::uint64_t, std::size_t)>& work_;
  std::atomic<std::uint64_t> next_{0};
  std::atomic<std::uint64_t> done_{0};
  std::atomic<bool> stop_{false};
  bool stopped_by_caller_ = false;
  std::mutex mutex_;
  std::exception_ptr failure_;
  std::uint64_t failed_at_ = 0;  // chunk of failure_
};

}  // namespace

bool over_chunks(std::uint64_t total, std::uint64_t chunk_bytes, unsigned workers,
                 Progress::Stage stage, const OnProgress& on_progress,
                 const std::function<void(unsigned, std::uint64_t, std::size_t)>& work) {
  if (total <= chunk_bytes) workers = 1;
  return ChunkRun(total, chunk_bytes, stage, on_progress, work).run(std::max(workers, 1U));
}

}  // namespace platter::plan
