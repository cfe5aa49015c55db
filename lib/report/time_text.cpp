#include "report/time_text.h"

#include <chrono>

#include <fmt/format.h>

namespace platter {

std::string iso8601(std::int64_t unix_seconds) {
  using namespace std::chrono;
  // Years beyond what the calendar type holds can only come from damaged fields.
  constexpr std::int64_t kMost = std::int64_t{32000} * 31556952;
  if (unix_seconds > kMost || unix_seconds < -kMost) return fmt::format("@{}", unix_seconds);
  const sys_seconds moment{seconds{unix_seconds}};
  const auto day = floor<days>(moment);
  const year_month_day date{day};
  const hh_mm_ss time{moment - day};
  return fmt::format("{:04}-{:02}-{:02}T{:02}:{:02}:{:02}Z", static_cast<int>(date.year()),
                     static_cast<unsigned>(date.month()), static_cast<unsigned>(date.day()),
                     time.hours().count(), time.minutes().count(), time.seconds().count());
}

}  // namespace platter
