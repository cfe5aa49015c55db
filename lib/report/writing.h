// Putting lines together.
#pragma once

#include <cstdint>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "report/text.h"

namespace platter {

/// A word in a terminal attribute, or plain when colour is off.
[[nodiscard]] std::string emphasised(std::string_view words, std::string_view attribute,
                                     const TextStyle& style);
inline constexpr std::string_view kHeading = "1";
inline constexpr std::string_view kFault = "1;31";
inline constexpr std::string_view kCaution = "33";
inline constexpr std::string_view kQuiet = "2";

/// Breaks `words` at blanks so that no line, with its indent, is longer than `columns`. The first
/// line gets no indent (the caller has written the start of it, `used` columns long).
[[nodiscard]] std::string wrapped(std::string_view words, std::size_t indent, std::size_t used,
                                  std::size_t columns);

/// A number with its digits in groups of three: "1,310,720".
[[nodiscard]] std::string grouped(std::uint64_t number);

/// A table whose columns line up: text to the left, numbers to the right. The last column wraps; a
/// column without a word in it is left out.
class Table {
 public:
  enum class Align : std::uint8_t { left, right };
  explicit Table(std::vector<std::pair<std::string, Align>> columns)
      : columns_(std::move(columns)) {}
  void row(std::vector<std::string> cells) { rows_.push_back(std::move(cells)); }
  [[nodiscard]] bool empty() const noexcept { return rows_.empty(); }
  [[nodiscard]] std::string text(std::size_t indent, const TextStyle& style) const;

 private:
  std::vector<std::pair<std::string, Align>> columns_;
  std::vector<std::vector<std::string>> rows_;
};

}  // namespace platter
