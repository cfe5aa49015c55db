// Pieces of work shared out to a few threads.
#pragma once

#include <cstdint>
#include <functional>

namespace platter::framing {

/// Asked now and then while work goes on, from any thread; false ends it early.
using KeepGoing = std::function<bool()>;

/// How many threads suit so many bytes: one for little, else one for each processor core, and at
/// most `jobs` when that is not 0.
[[nodiscard]] unsigned suitable_jobs(std::uint64_t bytes, unsigned jobs) noexcept;

/// Calls work(worker, piece) for each piece of [0, pieces), each once, in ascending order as far as
/// several threads allow. The calling thread is worker 0. What a worker throws ends the work and is
/// thrown again here. False when keep_going ended it.
[[nodiscard]] bool share_out(std::uint64_t pieces, unsigned workers, const KeepGoing& keep_going,
                             const std::function<void(unsigned worker, std::uint64_t piece)>& work);

}  // namespace platter::framing
