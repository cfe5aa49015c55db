#include "plan/size.h"

#include <array>
#include <charconv>
#include <iterator>

#include <fmt/format.h>

#include "core/charset.h"
#include "core/numbers.h"

namespace platter::plan {
namespace {

struct Unit {
  std::string_view name;
  std::uint64_t bytes;
};

constexpr Unit kUnits[] = {
    {"B", 1},        {"KiB", kKiB},      {"MiB", kMiB},         {"GiB", kGiB},
    {"K", kKiB},     {"M", kMiB},        {"G", kGiB},           {"kB", 1000},
    {"MB", 1000000}, {"GB", 1000000000}, {"cd", kOpticalBytes},
};

constexpr std::string_view kUnitsInWords = "B, KiB, MiB, GiB, kB, MB, GB or cd";

bool is_digit(char c) {
  return c >= '0' && c <= '9';
}

std::string_view without_spaces(std::string_view text) {
  while (!text.empty() && text.front() == ' ')
    text.remove_prefix(1);
  while (!text.empty() && text.back() == ' ')
    text.remove_suffix(1);
  return text;
}

// The number as it is written: whole part, and what follows the point.
struct Number {
  std::uint64_t whole = 0;
  std::uint64_t fraction = 0;
  std::uint64_t fraction_unit = 1;  // 10 to the number of digits behind the point
  bool hexadecimal = false;
  bool has_point = false;
};

Parsed<std::uint64_t> digits(std::string_view& text, int base, std::string_view all) {
  std::uint64_t value = 0;
  const auto [end, problem] = std::from_chars(text.data(), text.data() + text.size(), value, base);
  if (problem == std::errc::result_out_of_range) {
    return {{}, fmt::format("'{}' is larger than 64 bits can hold", printable(all))};
  }
  if (problem != std::errc{}) {
    return {{}, fmt::format("'{}' does not start with a number", printable(all))};
  }
  text.remove_prefix(static_cast<std::size_t>(end - text.data()));
  return {value, {}};
}

Parsed<Number> number_of(std::string_view& text, std::string_view all) {
  Number number;
  if (text.starts_with("0x") || text.starts_with("0X")) {
    text.remove_prefix(2);
    number.hexadecimal = true;
  }
  const auto whole = digits(text, number.hexadecimal ? 16 : 10, all);
  if (!whole) return {{}, whole.error};
  number.whole = *whole.value;
  if (number.hexadecimal || !text.starts_with('.')) return {number, {}};
  text.remove_prefix(1);
  number.has_point = true;
  std::size_t places = 0;
  for (; !text.empty() && is_digit(text.front()); text.remove_prefix(1), ++places) {
    if (places == 9) return {{}, fmt::format("'{}' has more than nine decimals", printable(all))};
    number.fraction = number.fraction * 10 + static_cast<std::uint64_t>(text.front() - '0');
    number.fraction_unit *= 10;
  }
  if (places == 0) return {{}, fmt::format("'{}' has no digit behind the point", printable(all))};
  return {number, {}};
}

Parsed<std::uint64_t> unit_of(std::string_view name, std::string_view all) {
  if (name.empty()) return {kBlockBytes, {}};
  for (const Unit& unit : kUnits) {
    if (unit.name == name) return {unit.bytes, {}};
  }
  if (name == "KB" || name == "kb" || name == "Kb") {
    return {{},
            fmt::format("'{}' could mean two things: write kB for 1000 or KiB for 1024 bytes",
                        printable(all))};
  }
  return {{},
          fmt::format("'{}' has the unknown unit '{}'; known are {}", printable(all),
                      printable(name), kUnitsInWords)};
}

}  // namespace

Parsed<std::uint64_t> parse_size(std::string_view text) {
  const std::string_view all = text;
  text = without_spaces(text);
  if (text.empty()) return {{}, "a size is missing"};
  if (text.front() == '-') return {{}, fmt::format("'{}' is negative", printable(all))};
  const auto number = number_of(text, all);
  if (!number) return {{}, number.error};
  if (number.value->hexadecimal && !text.empty() && text.front() != ' ') {
    return {{},
            fmt::format("'{}': after a hexadecimal number the unit needs a space before it",
                        printable(all))};
  }
  const std::string_view name = without_spaces(text);
  const auto unit = unit_of(name, all);
  if (!unit) return {{}, unit.error};
  if (number.value->has_point && name.empty()) {
    return {{}, fmt::format("'{}' is no whole number of blocks; give a unit", printable(all))};
  }
  const std::uint64_t scaled = number.value->fraction * *unit.value;
  if (scaled % number.value->fraction_unit != 0) {
    return {{}, fmt::format("'{}' is no whole number of bytes", printable(all))};
  }
  const std::uint64_t bytes = saturating_add(saturating_mul(number.value->whole, *unit.value),
                                             scaled / number.value->fraction_unit);
  if (bytes == kLargest) {
    return {{}, fmt::format("'{}' is larger than 64 bits can hold", printable(all))};
  }
  return {bytes, {}};
}

Parsed<Extent> parse_extent(std::string_view text) {
  const std::size_t plus = text.find('+');
  if (plus == std::string_view::npos) {
    return {{}, fmt::format("'{}' is no START+LENGTH", printable(text))};
  }
  const auto start = parse_size(text.substr(0, plus));
  if (!start) return {{}, "START: " + start.error};
  const auto length = parse_size(text.substr(plus + 1));
  if (!length) return {{}, "LENGTH: " + length.error};
  if (*length.value == 0) return {{}, fmt::format("'{}' is empty", printable(text))};
  if (saturating_add(*start.value, *length.value) == kLargest) {
    return {{}, fmt::format("'{}' ends past what 64 bits can hold", printable(text))};
  }
  return {Extent{*start.value, *length.value}, {}};
}

std::string readable_size(std::uint64_t bytes) {
  constexpr std::array<std::string_view, 7> kNames = {"B",   "KiB", "MiB", "GiB",
                                                      "TiB", "PiB", "EiB"};
  if (bytes < kKiB) return fmt::format("{} B", bytes);
  std::size_t step = 0;
  auto value = static_cast<double>(bytes);
  // 1023.5 and more would be shown as 1024 of the unit.
  while (value >= 1023.5 && step + 1 < kNames.size()) {
    value /= 1024;
    ++step;
  }
  const int decimals = value >= 99.95 ? 0 : (value >= 9.995 ? 1 : 2);
  return fmt::format("{:.{}f} {}", value, decimals, kNames[step]);
}

std::string in_blocks(std::uint64_t bytes) {
  if (bytes % kBlockBytes != 0) return fmt::format("{} byte{}", bytes, bytes == 1 ? "" : "s");
  const std::uint64_t blocks = bytes / kBlockBytes;
  return fmt::format("{} block{}", blocks, blocks == 1 ? "" : "s");
}

}  // namespace platter::plan
