#include "support/hexfile.h"

#include <algorithm>
#include <cctype>
#include <filesystem>
#include <fstream>
#include <sstream>
#include <stdexcept>

namespace platter::test {
namespace {

[[noreturn]] void refuse(const std::string& name, std::size_t line, const std::string& word) {
  throw std::runtime_error(name + ":" + std::to_string(line) + ": cannot read '" + word + "'");
}

class HexReader {
 public:
  explicit HexReader(std::string name) : name_(std::move(name)) {}

  std::vector<std::byte> read(std::istream& input) {
    std::string line;
    while (std::getline(input, line)) {
      ++line_;
      std::istringstream words(line.substr(0, line.find('#')));
      std::string word;
      while (words >> word)
        take(word, words);
    }
    return std::move(bytes_);
  }

 private:
  void take(const std::string& word, std::istringstream& rest) {
    if (word == "size") {
      bytes_.resize(std::max<std::size_t>(bytes_.size(), number(next(rest))));
    } else if (word[0] == '@') {
      at_ = number(word.substr(1));
    } else if (word[0] == '*') {
      const std::size_t count = number(word.substr(1));
      const std::byte value = hex_byte(next(rest));
      for (std::size_t i = 0; i < count; ++i)
        put(value);
    } else if (word[0] == '"') {
      text(word, rest);
    } else {
      if (word.size() % 2 != 0) refuse(name_, line_, word);
      for (std::size_t i = 0; i < word.size(); i += 2)
        put(hex_byte(word.substr(i, 2)));
    }
  }

  // "text with blanks": characters as they are up to the closing quote.
  void text(const std::string& word, std::istringstream& rest) {
    std::string all = word.substr(1);
    if (all.find('"') == std::string::npos) {
      std::string tail;
      std::getline(rest, tail, '"');
      all += tail;
    }
    for (const char c : all.substr(0, all.find('"')))
      put(static_cast<std::byte>(c));
  }

  void put(std::byte value) {
    if (at_ >= bytes_.size()) bytes_.resize(at_ + 1);
    bytes_[at_++] = value;
  }

  std::string next(std::istringstream& rest) const {
    std::string word;
    if (!(rest >> word)) refuse(name_, line_, "end of line");
    return word;
  }

  [[nodiscard]] std::size_t number(const std::string& word) const {
    std::size_t used = 0;
    const std::size_t value = std::stoull(word, &used, 0);
    if (used != word.size()) refuse(name_, line_, word);
    return value;
  }

  [[nodiscard]] std::byte hex_byte(const std::string& word) const {
    if (word.size() != 2 || std::isxdigit(static_cast<unsigned char>(word[0])) == 0 ||
        std::isxdigit(static_cast<unsigned char>(word[1])) == 0) {
      refuse(name_, line_, word);
    }
    return static_cast<std::byte>(std::stoul(word, nullptr, 16));
  }

  std::string name_;
  std::size_t line_ = 0;
  std::size_t at_ = 0;
  std::vector<std::byte> bytes_;
};

}  // namespace

std::vector<std::byte> hex_text(const std::string& text, const std::string& name) {
  std::istringstream input(text);
  return HexReader(name).read(input);
}

std::vector<std::byte> hex_fixture(const std::string& name) {
  std::ifstream input(std::filesystem::path(PLATTER_FIXTURES) / name);
  if (!input) throw std::runtime_error("no fixture " + name);
  return HexReader(name).read(input);
}

std::vector<std::string> all_hex_fixtures() {
  std::vector<std::string> names;
  const std::filesystem::path root(PLATTER_FIXTURES);
  for (const auto& entry : std::filesystem::recursive_directory_iterator(root)) {
    if (entry.path().extension() == ".hex") {
      names.push_back(std::filesystem::relative(entry.path(), root).string());
    }
  }
  std::ranges::sort(names);
  return names;
}

}  // namespace platter::test
