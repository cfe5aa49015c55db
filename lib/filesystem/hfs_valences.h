// Whether directories of HFS and HFS+ hold as many entries as they claim.
#pragma once

#include <algorithm>
#include <cstdint>
#include <string>
#include <unordered_map>
#include <utility>
#include <vector>

#include <fmt/format.h>

namespace platter::filesystem {

/// Weighs claims against entries along one walk over the catalog, for so many directories as are
/// remembered at once.
class HfsValences {
 public:
  void claim(std::uint64_t directory, std::uint64_t valence) {
    balance(directory, static_cast<std::int64_t>(valence));
  }
  void entry_in(std::uint64_t directory) { balance(directory, -1); }

  /// What to say, by rising id; nothing when there were too many directories to know.
  [[nodiscard]] std::vector<std::string> complaints() const {
    std::vector<std::string> all;
    if (missing_.size() >= kMost) return all;
    std::vector<std::pair<std::uint64_t, std::int64_t>> wrong;
    for (const auto& one : missing_) {
      if (one.second != 0) wrong.emplace_back(one);
    }
    std::ranges::sort(wrong);
    for (const auto& [id, difference] : wrong) {
      all.push_back(fmt::format("directory {} claims {} {} than it has", id,
                                difference < 0 ? -difference : difference,
                                difference < 0 ? "fewer entries" : "more entries"));
    }
    return all;
  }

 private:
  static constexpr std::size_t kMost = 200'000;

  void balance(std::uint64_t id, std::int64_t change) {
    const auto found = missing_.find(id);
    if (found != missing_.end()) {
      found->second += change;
    } else if (missing_.size() < kMost) {
      missing_.emplace(id, change);
    }
  }

  std::unordered_map<std::uint64_t, std::int64_t> missing_;  // claimed less found
};

}  // namespace platter::filesystem
