// What several files of a volume may share, and how often it is named.
#pragma once

#include <algorithm>
#include <cstddef>
#include <cstdint>
#include <vector>

namespace platter::filesystem {

/// A block or inode that several files may share, and who names it.
struct SharedNumber {
  std::uint64_t number = 0;
  std::uint64_t names = 0;  ///< how often it is named
  std::uint64_t first = 0;  ///< inode that names it first
};

/// Counts how often numbers are named. Memory grows with the different numbers, up to 24 MB of
/// them, and not with the names.
class SharedCount {
 public:
  void add(std::uint64_t number, std::uint64_t by) {
    if (!all_.empty() && all_.back().number == number) {  // files made together
      ++all_.back().names;
      return;
    }
    if (all_.size() >= std::max<std::size_t>(2 * joined_, 1024)) join();
    if (all_.size() < kMost) {
      all_.push_back({number, 1, by});
    } else {
      full_ = true;
    }
  }
  /// What was named, by rising number.
  [[nodiscard]] const std::vector<SharedNumber>& all() {
    join();
    return all_;
  }
  /// Whether more was named than is kept; counts are then not to be relied on.
  [[nodiscard]] bool full() const noexcept { return full_; }

 private:
  static constexpr std::size_t kMost = 1'000'000;

  void join() {
    std::ranges::stable_sort(all_, {}, &SharedNumber::number);
    std::size_t kept = 0;
    for (const SharedNumber& next : all_) {
      if (kept != 0 && all_[kept - 1].number == next.number) {
        all_[kept - 1].names += next.names;
      } else {
        all_[kept++] = next;
      }
    }
    all_.resize(kept);
    joined_ = kept;
  }

  std::vector<SharedNumber> all_;
  std::size_t joined_ = 0;  // so many are sorted and different
  bool full_ = false;
};

}  // namespace platter::filesystem
