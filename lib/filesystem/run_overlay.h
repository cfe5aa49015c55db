// A volume's map of its blocks with what is known of some of them laid over it.
#pragma once

#include <algorithm>
#include <cstddef>
#include <utility>
#include <vector>

#include "core/volume.h"

namespace platter::filesystem {

/// Hands out runs by rising place, joined. Where a run of `own` lies, its use is what counts.
class RunOverlay {
 public:
  /// \param own  in any order; where two overlap, the one that starts first counts
  RunOverlay(std::vector<BlockRun> own, FunctionRef<bool(const BlockRun&)> visit)
      : own_(std::move(own)), joiner_(visit) {
    std::ranges::stable_sort(own_, {}, &BlockRun::start);
  }
  /// A run of the map, behind the last one. Returns whether to go on.
  bool add(const BlockRun& run) {
    std::uint64_t from = run.start;
    const std::uint64_t to = run.start + run.bytes;
    while (from < to) {
      while (next_ < own_.size() && own_[next_].start + own_[next_].bytes <= from)
        ++next_;
      const bool inside = next_ < own_.size() && own_[next_].start <= from;
      std::uint64_t end = to;
      if (inside) {
        end = std::min(to, own_[next_].start + own_[next_].bytes);
      } else if (next_ < own_.size()) {
        end = std::min(to, own_[next_].start);
      }
      if (!joiner_.add({from, end - from, inside ? own_[next_].use : run.use})) return false;
      from = end;
    }
    return true;
  }
  bool finish() { return joiner_.finish(); }

 private:
  std::vector<BlockRun> own_;
  std::size_t next_ = 0;
  RunJoiner joiner_;
};

}  // namespace platter::filesystem
