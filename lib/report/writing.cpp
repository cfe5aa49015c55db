#include "report/writing.h"

#include <algorithm>

#include <fmt/format.h>

#include "core/charset.h"

namespace platter {

namespace {

void trim_end(std::string& line) {
  line.resize(line.find_last_not_of(' ') + 1);
}

// Puts the last cell behind the others of its row. Where they leave it too little room for whole
// phrases, it stands below them.
void add_last_cell(std::string& row, const std::string& words, std::size_t indent,
                   const TextStyle& style) {
  constexpr std::size_t kNarrowest = 24;
  const std::size_t used = columns_of(row);
  if (used + std::min(columns_of(words), kNarrowest) <= style.columns) {
    row += wrapped(words, used, used, style.columns);
    return;
  }
  trim_end(row);
  const std::size_t below = indent + 4;
  row += '\n' + std::string(below, ' ') + wrapped(words, below, below, style.columns);
}

}  // namespace

std::string emphasised(std::string_view words, std::string_view attribute, const TextStyle& style) {
  if (!style.colour) return std::string(words);
  return fmt::format("\x1B[{}m{}\x1B[0m", attribute, words);
}

std::string wrapped(std::string_view words, std::size_t indent, std::size_t used,
                    std::size_t columns) {
  std::string result;
  std::size_t column = used;
  bool at_start = true;
  while (!words.empty()) {
    const std::size_t blank = words.find(' ');
    const std::string_view word = words.substr(0, blank);
    words.remove_prefix(blank == std::string_view::npos ? words.size() : blank + 1);
    if (word.empty()) continue;
    const std::size_t width = columns_of(word);
    if (!at_start && column + 1 + width > columns) {
      result += '\n' + std::string(indent, ' ');
      column = indent;
    } else if (!at_start) {
      result += ' ';
      ++column;
    }
    result += word;
    column += width;
    at_start = false;
  }
  return result;
}

std::string grouped(std::uint64_t number) {
  const std::string digits = fmt::format("{}", number);
  std::string result;
  for (std::size_t i = 0; i < digits.size(); ++i) {
    if (i != 0 && (digits.size() - i) % 3 == 0) result.push_back(',');
    result.push_back(digits[i]);
  }
  return result;
}

std::string Table::text(std::size_t indent, const TextStyle& style) const {
  // As wide as the widest cell; 0 for a column without any.
  std::vector<std::size_t> widths;
  for (std::size_t i = 0; i < columns_.size(); ++i) {
    std::size_t width = 0;
    for (const auto& row : rows_)
      width = std::max(width, columns_of(row[i]));
    widths.push_back(width == 0 ? 0 : std::max(width, columns_of(columns_[i].first)));
  }
  const auto line = [&](const std::vector<std::string>& cells) {
    std::string result(indent, ' ');
    for (std::size_t i = 0; i < cells.size(); ++i) {
      if (widths[i] == 0) continue;
      if (i + 1 == cells.size()) {
        add_last_cell(result, cells[i], indent, style);
        break;
      }
      const std::string padding(widths[i] - std::min(widths[i], columns_of(cells[i])), ' ');
      result += columns_[i].second == Align::right ? padding + cells[i] : cells[i] + padding;
      result += "  ";
    }
    trim_end(result);
    return result + '\n';
  };
  std::vector<std::string> headings;
  for (const auto& column : columns_)
    headings.push_back(column.first);
  std::string heading = line(headings);
  heading.pop_back();
  std::string result = emphasised(heading, kQuiet, style) + '\n';
  for (const auto& row : rows_)
    result += line(row);
  return result;
}

}  // namespace platter
