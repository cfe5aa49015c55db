#include "report/time_text.h"

#include <chrono>

#include <fmt/format.h>

namespace platter {
namespace {

void append_two(std::string& out, unsigned number, char before) {
  out += before;
  out += static_cast<char>('0' + number / 10);
  out += static_cast<char>('0' + number % 10);
}

}  // namespace

void append_iso8601(std::string& out, std::int64_t unix_seconds) {
  using namespace std::chrono;
  // Years beyond what the calendar type holds can only come from damaged fields.
  constexpr std::int64_t kMost = std::int64_t{32000} * 31556952;
  if (unix_seconds > kMost || unix_seconds < -kMost) {
    out += fmt::format("@{}", unix_seconds);
    return;
  }
  const sys_seconds moment{seconds{unix_seconds}};
  const auto day = floor<days>(moment);
  const year_month_day date{day};
  const auto second = static_cast<unsigned>((moment - day).count());
  const int year = static_cast<int>(date.year());
  if (year >= 1000 && year <= 9999) {
    // Written by hand: a list of files has one on every line.
    out += static_cast<char>('0' + year / 1000);
    append_two(out, static_cast<unsigned>(year) % 100, static_cast<char>('0' + year / 100 % 10));
  } else {
    out += fmt::format("{:04}", year);
  }
  append_two(out, static_cast<unsigned>(date.month()), '-');
  append_two(out, static_cast<unsigned>(date.day()), '-');
  append_two(out, second / 3600, 'T');
  append_two(out, second / 60 % 60, ':');
  append_two(out, second % 60, ':');
  out += 'Z';
}

std::string iso8601(std::int64_t unix_seconds) {
  std::string text;
  append_iso8601(text, unix_seconds);
  return text;
}

}  // namespace platter
