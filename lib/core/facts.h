// What a layer tells about itself, in the order in which it should be shown.
#pragma once

#include <concepts>
#include <cstdint>
#include <string>
#include <string_view>
#include <utility>
#include <variant>
#include <vector>

#include "core/charset.h"

namespace platter {

/// Text as it stands on the disk, with the character set that its format declares.
struct DiskText {
  std::string raw;
  Charset charset = Charset::ascii;
  friend bool operator==(const DiskText&, const DiskText&) = default;
};

/// A moment, in seconds since 1970-01-01 UTC; shown as ISO 8601.
struct Timestamp {
  std::int64_t seconds = 0;
  friend bool operator==(const Timestamp&, const Timestamp&) = default;
};

using FactValue = std::variant<bool, std::uint64_t, std::int64_t, std::string, DiskText, Timestamp>;

/// An ordered map from fact names (the JSON keys of the contract) to values.
class Facts {
 public:
  using Entry = std::pair<std::string, FactValue>;

  /// Sets a fact; a second value for the same name replaces the first in its place. Numbers are
  /// kept as 64-bit integers, string literals and views as text of our own.
  template <typename Value>
  Facts& set(std::string_view name, Value value) {
    if constexpr (std::same_as<Value, bool> || std::same_as<Value, Timestamp>) {
      return put(name, FactValue(value));
    } else if constexpr (std::unsigned_integral<Value>) {
      return put(name, FactValue(static_cast<std::uint64_t>(value)));
    } else if constexpr (std::signed_integral<Value>) {
      return put(name, FactValue(static_cast<std::int64_t>(value)));
    } else if constexpr (std::same_as<Value, DiskText>) {
      return put(name, FactValue(std::move(value)));
    } else {
      return put(name, FactValue(std::string(value)));
    }
  }
  /// Text from the disk.
  Facts& set_text(std::string_view name, std::string raw, Charset charset = Charset::ascii) {
    return put(name, FactValue(DiskText{std::move(raw), charset}));
  }

  [[nodiscard]] const FactValue* find(std::string_view name) const noexcept;
  /// The number under that name, or `otherwise`.
  [[nodiscard]] std::uint64_t number(std::string_view name, std::uint64_t otherwise = 0) const;
  /// The text under that name as UTF-8, or "".
  [[nodiscard]] std::string words(std::string_view name) const;
  [[nodiscard]] const std::vector<Entry>& entries() const noexcept { return entries_; }

 private:
  Facts& put(std::string_view name, FactValue value);

  std::vector<Entry> entries_;
};

}  // namespace platter
