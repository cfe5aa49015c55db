// Work on a run of bytes, chunk by chunk, by one or several threads.
#pragma once

#include <cstddef>
#include <cstdint>
#include <functional>

#include "plan/size.h"

namespace platter::plan {

/// What is being done, for the person who waits.
struct Progress {
  enum class Stage : std::uint8_t { comparing, writing, verifying };
  Stage stage = Stage::writing;
  std::uint64_t done = 0;   ///< bytes
  std::uint64_t total = 0;  ///< bytes
};
/// Called after chunks, always on the thread that started the work; false stops it.
using OnProgress = std::function<bool(const Progress&)>;

/// Calls work(worker, offset, bytes) for each chunk of [0, total), of chunk_bytes each but the
/// last, in ascending order as far as several threads allow. The calling thread is worker 0. What a
/// worker throws ends the work and is thrown again here. False when on_progress stopped it.
[[nodiscard]] bool over_chunks(
    std::uint64_t total, std::uint64_t chunk_bytes, unsigned workers, Progress::Stage stage,
    const OnProgress& on_progress,
    const std::function<void(unsigned worker, std::uint64_t offset, std::size_t bytes)>& work);

}  // namespace platter::plan
