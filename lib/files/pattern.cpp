#include "files/pattern.h"

#include <cstddef>
#include <optional>

namespace platter {
namespace {

char folded(char c) noexcept {
  return c >= 'A' && c <= 'Z' ? static_cast<char>(c - 'A' + 'a') : c;
}

std::string_view trimmed(std::string_view path) noexcept {
  while (!path.empty() && path.front() == '/')
    path.remove_prefix(1);
  while (!path.empty() && path.back() == '/')
    path.remove_suffix(1);
  return path;
}

// Bytes of the code point at the front; 1 for what is no UTF-8.
std::size_t code_point_bytes(std::string_view text) noexcept {
  const auto lead = static_cast<unsigned char>(text.front());
  const std::size_t length = lead < 0xC0 ? 1 : lead < 0xE0 ? 2 : lead < 0xF0 ? 3 : 4;
  return length <= text.size() ? length : 1;
}

class Match {
 public:
  explicit Match(bool ignore_case) noexcept : ignore_case_(ignore_case) {}

  // One name against one part of the pattern. Goes back to the last '*' only, which is enough: an
  // earlier one could not match more than the last one can.
  [[nodiscard]] bool name(std::string_view pattern, std::string_view text) const {
    std::optional<std::string_view> star;
    std::string_view star_text;
    while (true) {
      if (!pattern.empty() && pattern.front() == '*') {
        pattern.remove_prefix(1);
        star = pattern;
        star_text = text;
        continue;
      }
      if (text.empty() && pattern.empty()) return true;
      if (!text.empty() && !pattern.empty()) {
        std::string_view rest = pattern;
        std::string_view text_rest = text;
        if (one(rest, text_rest)) {
          pattern = rest;
          text = text_rest;
          continue;
        }
      }
      if (!star || star_text.empty()) return false;
      star_text.remove_prefix(1);
      pattern = *star;
      text = star_text;
    }
  }

  // Whole paths: the same over names, with "**" as the star.
  [[nodiscard]] bool path(std::string_view pattern, std::string_view text) const {
    std::optional<std::string_view> star;
    std::string_view star_text;
    while (true) {
      const std::string_view part = pattern.substr(0, pattern.find('/'));
      if (!pattern.empty() && part == "**") {
        pattern = behind(pattern, part);
        star = pattern;
        star_text = text;
        continue;
      }
      if (text.empty() && pattern.empty()) return true;
      const std::string_view own = text.substr(0, text.find('/'));
      if (!text.empty() && !pattern.empty() && name(part, own)) {
        pattern = behind(pattern, part);
        text = behind(text, own);
        continue;
      }
      if (!star || star_text.empty()) return false;
      star_text = behind(star_text, star_text.substr(0, star_text.find('/')));
      pattern = *star;
      text = star_text;
    }
  }

 private:
  static std::string_view behind(std::string_view whole, std::string_view part) noexcept {
    whole.remove_prefix(part.size());
    if (!whole.empty()) whole.remove_prefix(1);
    return whole;
  }

  [[nodiscard]] bool same(char a, char b) const noexcept {
    return a == b || (ignore_case_ && folded(a) == folded(b));
  }

  // One element of the pattern against the front of the text; both are moved on.
  bool one(std::string_view& pattern, std::string_view& text) const {
    const char c = pattern.front();
    if (c == '?') {
      pattern.remove_prefix(1);
      text.remove_prefix(code_point_bytes(text));
      return true;
    }
    if (c == '[') {
      if (const std::optional<bool> in = set(pattern, text.front())) {
        text.remove_prefix(1);
        return *in;
      }
    }
    if (c == '\\' && pattern.size() > 1) pattern.remove_prefix(1);
    const bool equal = same(pattern.front(), text.front());
    pattern.remove_prefix(1);
    text.remove_prefix(1);
    return equal;
  }

  // A bracket expression; nullopt when it is not closed, and '[' then stands for itself.
  std::optional<bool> set(std::string_view& pattern, char c) const {
    std::size_t at = 1;
    const bool inverted = at < pattern.size() && (pattern[at] == '!' || pattern[at] == '^');
    if (inverted) ++at;
    bool in = false;
    for (const std::size_t first = at; at < pattern.size(); ++at) {
      if (pattern[at] == ']' && at != first) {
        pattern.remove_prefix(at + 1);
        return in != inverted;
      }
      if (at + 2 < pattern.size() && pattern[at + 1] == '-' && pattern[at + 2] != ']') {
        const char low = pattern[at];
        const char high = pattern[at + 2];
        in = in || (low <= c && c <= high) ||
             (ignore_case_ && folded(low) <= folded(c) && folded(c) <= folded(high));
        at += 2;
      } else {
        in = in || same(pattern[at], c);
      }
    }
    return std::nullopt;
  }

  bool ignore_case_;
};

}  // namespace

Pattern::Pattern(std::string_view text, bool ignore_case)
    : text_(trimmed(text)),
      ignore_case_(ignore_case),
      is_pattern_(text_.find_first_of("*?[\\") != std::string::npos || ignore_case) {}

bool Pattern::matches(std::string_view path) const {
  return Match(ignore_case_).path(text_, trimmed(path));
}

}  // namespace platter
