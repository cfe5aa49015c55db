#include "core/facts.h"

#include <algorithm>

namespace platter {

Facts& Facts::put(std::string_view name, FactValue value) {
  const auto found = std::ranges::find(entries_, name, &Entry::first);
  if (found != entries_.end()) {
    found->second = std::move(value);
  } else {
    entries_.emplace_back(std::string(name), std::move(value));
  }
  return *this;
}

const FactValue* Facts::find(std::string_view name) const noexcept {
  const auto found = std::ranges::find(entries_, name, &Entry::first);
  return found == entries_.end() ? nullptr : &found->second;
}

std::uint64_t Facts::number(std::string_view name, std::uint64_t otherwise) const {
  const FactValue* value = find(name);
  if (value == nullptr) return otherwise;
  const auto* number = std::get_if<std::uint64_t>(value);
  return number == nullptr ? otherwise : *number;
}

std::string Facts::words(std::string_view name) const {
  const FactValue* value = find(name);
  if (value == nullptr) return {};
  if (const auto* words = std::get_if<std::string>(value)) return *words;
  if (const auto* text = std::get_if<DiskText>(value)) {
    return decode_text(text->raw, text->charset).utf8;
  }
  return {};
}

}  // namespace platter
