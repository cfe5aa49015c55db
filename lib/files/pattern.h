// Which files a person means.
#pragma once

#include <string>
#include <string_view>

namespace platter {

/// A path or a pattern of paths, after POSIX XCU 2.14 (pattern matching notation): '*' and '?'
/// stand for characters of one name, "[a-z]", "[!a-z]" and "[[:digit:]]" for one of a set, '\'
/// takes the next character as it is. "**" stands for any run of names, none included. A '/' or
/// "./" in front and a '/' behind are ignored. A pattern also means the path that is written just
/// like it, so that names that hold such characters can be given as they are shown.
/// '?' and sets match one code point of UTF-8 text, or one byte of what is none.
class Pattern {
 public:
  explicit Pattern(std::string_view text, bool ignore_case = false);

  /// Whether it holds a character with a meaning of its own.
  [[nodiscard]] bool is_pattern() const noexcept { return is_pattern_; }
  /// Whether a path is meant.
  [[nodiscard]] bool matches(std::string_view path) const;
  [[nodiscard]] const std::string& text() const noexcept { return text_; }

 private:
  std::string text_;
  bool ignore_case_;
  bool is_pattern_;
};

}  // namespace platter
