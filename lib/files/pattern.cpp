#include "files/pattern.h"

#include <cstddef>
#include <cstdint>
#include <optional>

namespace platter {
namespace {

char folded(char c) noexcept {
  return c >= 'A' && c <= 'Z' ? static_cast<char>(c - 'A' + 'a') : c;
}

std::string_view trimmed(std::string_view path) noexcept {
  while (true) {
    if (path.starts_with('/')) {
      path.remove_prefix(1);
    } else if (path == "." || path.starts_with("./")) {
      path.remove_prefix(1);
    } else {
      break;
    }
  }
  while (!path.empty() && path.back() == '/')
    path.remove_suffix(1);
  return path;
}

// The character at the front, and its bytes: a code point, or one byte of what is no UTF-8.
struct Character {
  std::uint32_t value = 0;
  std::size_t bytes = 1;
};

Character character_of(std::string_view text) noexcept {
  const std::uint32_t lead = static_cast<unsigned char>(text.front());
  const std::size_t length = lead < 0xC0 ? 1 : lead < 0xE0 ? 2 : lead < 0xF0 ? 3 : 4;
  if (length == 1 || length > text.size()) return {lead, 1};
  std::uint32_t value = lead & (0xFFU >> (length + 1));
  for (const char c : text.substr(1, length - 1))
    value = value << 6U | (static_cast<unsigned char>(c) & 0x3FU);
  return {value, length};
}

std::uint32_t folded(std::uint32_t value) noexcept {
  return value >= 'A' && value <= 'Z' ? value - 'A' + 'a' : value;
}

// The classes that POSIX XBD 7.3.1 names, for the characters of ASCII; false for another name.
bool is_of_class(std::string_view name, std::uint32_t c, bool ignore_case) noexcept {
  const bool any_case = ignore_case && (name == "upper" || name == "lower");
  const bool upper = c >= 'A' && c <= 'Z';
  const bool lower = c >= 'a' && c <= 'z';
  const bool digit = c >= '0' && c <= '9';
  const bool graph = c > 0x20 && c < 0x7F;
  if (any_case || name == "alpha") return upper || lower;
  if (name == "upper") return upper;
  if (name == "lower") return lower;
  if (name == "digit") return digit;
  if (name == "alnum") return upper || lower || digit;
  if (name == "xdigit") return digit || (folded(c) >= 'a' && folded(c) <= 'f');
  if (name == "punct") return graph && !upper && !lower && !digit;
  if (name == "space") return c == ' ' || (c >= 0x09 && c <= 0x0D);
  if (name == "blank") return c == ' ' || c == 0x09;
  if (name == "cntrl") return c < 0x20 || c == 0x7F;
  if (name == "graph") return graph;
  return name == "print" && (graph || c == ' ');
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
      text.remove_prefix(character_of(text).bytes);
      return true;
    }
    if (c == '[') {
      const Character character = character_of(text);
      if (const std::optional<bool> in = set(pattern, character.value)) {
        text.remove_prefix(character.bytes);
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
  std::optional<bool> set(std::string_view& pattern, std::uint32_t c) const {
    std::string_view rest = pattern.substr(1);
    const bool inverted = rest.starts_with('!') || rest.starts_with('^');
    if (inverted) rest.remove_prefix(1);
    bool in = false;
    for (bool first = true; !rest.empty(); first = false) {
      if (rest.front() == ']' && !first) {
        pattern = rest.substr(1);
        return in != inverted;
      }
      if (rest.starts_with("[:") && rest.find(":]") != std::string_view::npos) {
        const std::size_t end = rest.find(":]");
        in = in || is_of_class(rest.substr(2, end - 2), c, ignore_case_);
        rest.remove_prefix(end + 2);
        continue;
      }
      const Character low = taken(rest);
      Character high = low;
      if (rest.size() > 1 && rest.front() == '-' && rest[1] != ']') {
        rest.remove_prefix(1);
        high = taken(rest);
      }
      in = in || (low.value <= c && c <= high.value) ||
           (ignore_case_ && folded(low.value) <= folded(c) && folded(c) <= folded(high.value));
    }
    return std::nullopt;
  }

  // The next member of a set.
  static Character taken(std::string_view& rest) noexcept {
    if (rest.front() == '\\' && rest.size() > 1) rest.remove_prefix(1);
    const Character character = character_of(rest);
    rest.remove_prefix(character.bytes);
    return character;
  }

  bool ignore_case_;
};

}  // namespace

Pattern::Pattern(std::string_view text, bool ignore_case)
    : text_(trimmed(text)),
      ignore_case_(ignore_case),
      is_pattern_(text_.find_first_of("*?[\\") != std::string::npos || ignore_case) {}

bool Pattern::matches(std::string_view path) const {
  path = trimmed(path);
  return path == text_ || Match(ignore_case_).path(text_, path);
}

}  // namespace platter
