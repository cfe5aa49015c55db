// Times as people and JSON read them.
#pragma once

#include <cstdint>
#include <string>

namespace platter {

/// ISO 8601 in UTC, e.g. "1996-03-01T12:00:00Z"; proleptic Gregorian calendar.
[[nodiscard]] std::string iso8601(std::int64_t unix_seconds);
/// The same at the end of `out`.
void append_iso8601(std::string& out, std::int64_t unix_seconds);

}  // namespace platter
