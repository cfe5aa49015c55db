#include "plan/nearest.h"

#include <algorithm>
#include <vector>

namespace platter::plan {
namespace {

// Rows of the usual table; three are kept because a swap looks two rows back.
std::size_t distance(std::string_view a, std::string_view b) {
  std::vector<std::size_t> before_last(b.size() + 1);
  std::vector<std::size_t> last(b.size() + 1);
  std::vector<std::size_t> row(b.size() + 1);
  for (std::size_t j = 0; j <= b.size(); ++j)
    last[j] = j;
  for (std::size_t i = 1; i <= a.size(); ++i) {
    row[0] = i;
    for (std::size_t j = 1; j <= b.size(); ++j) {
      const std::size_t replaced = last[j - 1] + (a[i - 1] == b[j - 1] ? 0 : 1);
      row[j] = std::min({last[j] + 1, row[j - 1] + 1, replaced});
      if (i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1]) {
        row[j] = std::min(row[j], before_last[j - 2] + 1);
      }
    }
    before_last.swap(last);
    last.swap(row);
  }
  return last[b.size()];
}

}  // namespace

std::string_view nearest_word(std::string_view word, std::span<const std::string_view> candidates) {
  constexpr std::size_t kEnough = 64;  // a key may be of any length; its start decides
  word = word.substr(0, kEnough);
  return *std::ranges::min_element(
      candidates, {}, [word](std::string_view candidate) { return distance(word, candidate); });
}

}  // namespace platter::plan
