#include "filesystem/iso9660_time.h"

#include <algorithm>
#include <chrono>

namespace platter::filesystem::iso9660 {
namespace {

struct Moment {
  std::int64_t year = 0, month = 0, day = 0, hour = 0, minute = 0, second = 0;
  std::int64_t zone = 0;  // quarter hours east of Greenwich
};

bool is_between(std::int64_t value, std::int64_t low, std::int64_t high) {
  return value >= low && value <= high;
}

// The zone goes from 12 hours west to 13 hours east (ECMA-119 8.4.26.1).
std::optional<Timestamp> timestamp_of(const Moment& m) {
  if (!is_between(m.year, 1, 9999) || !is_between(m.month, 1, 12) || !is_between(m.day, 1, 31) ||
      !is_between(m.hour, 0, 23) || !is_between(m.minute, 0, 59) || !is_between(m.second, 0, 59) ||
      !is_between(m.zone, -48, 52)) {
    return std::nullopt;
  }
  const std::chrono::year_month_day date{std::chrono::year(static_cast<int>(m.year)),
                                         std::chrono::month(static_cast<unsigned>(m.month)),
                                         std::chrono::day(static_cast<unsigned>(m.day))};
  if (!date.ok()) return std::nullopt;  // 31 April
  const std::int64_t days = std::chrono::sys_days(date).time_since_epoch().count();
  return Timestamp{((days * 24 + m.hour) * 60 + m.minute - m.zone * 15) * 60 + m.second};
}

// The number that ASCII digits make, -1 when something else is among them.
std::int64_t digits(std::span<const std::byte> raw) {
  std::int64_t value = 0;
  for (const std::byte byte : raw) {
    const auto c = std::to_integer<std::int64_t>(byte);
    if (c < '0' || c > '9') return -1;
    value = value * 10 + (c - '0');
  }
  return value;
}

}  // namespace

VolumeTime volume_time(const FieldReader<kDate17>& date) {
  const auto stamp = date.all().first(FieldReader<kDate17>::offset_of<"zone">());
  const auto says_nothing = [](std::byte b) {
    return b == std::byte{'0'} || b == std::byte{' '} || b == std::byte{0};
  };
  if (std::ranges::all_of(stamp, says_nothing)) return {};
  const Moment moment{
      digits(date.raw<"year">()), digits(date.raw<"month">()),  digits(date.raw<"day">()),
      digits(date.raw<"hour">()), digits(date.raw<"minute">()), digits(date.raw<"second">()),
      date.get<"zone">()};
  return {true, timestamp_of(moment)};
}

VolumeTime recording_time(const FieldReader<kDate7>& date) {
  if (std::ranges::all_of(date.all(), [](std::byte b) { return b == std::byte{0}; })) return {};
  const auto number = [](std::uint64_t value) { return static_cast<std::int64_t>(value); };
  const Moment moment{1900 + number(date.get<"year">()),
                      number(date.get<"month">()),
                      number(date.get<"day">()),
                      number(date.get<"hour">()),
                      number(date.get<"minute">()),
                      number(date.get<"second">()),
                      date.get<"zone">()};
  return {true, timestamp_of(moment)};
}

}  // namespace platter::filesystem::iso9660
