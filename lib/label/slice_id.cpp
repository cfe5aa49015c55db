#include "label/slice_id.h"

#include <algorithm>

#include <fmt/format.h>

#include "core/charset.h"

namespace platter::label {

std::string slice_id(const std::vector<Slice>& slices, const std::string& raw,
                     const std::string& otherwise) {
  std::string id = decode_text(raw, Charset::ascii).utf8;
  for (std::size_t at = id.find('/'); at != std::string::npos; at = id.find('/', at + 1)) {
    id.replace(at, 1, "%2F");
  }
  if (id.empty()) id = otherwise;
  const auto taken = [&](const std::string& candidate) {
    return std::ranges::find(slices, candidate, &Slice::id) != slices.end();
  };
  if (!taken(id)) return id;
  // Starting behind the twins that are there keeps a directory full of one name from taking long.
  const std::string prefix = id + "~";
  auto number = 2 + std::ranges::count_if(
                        slices, [&](const Slice& slice) { return slice.id.starts_with(prefix); });
  for (;; ++number) {  // ends: there are only so many slices
    std::string candidate = fmt::format("{}{}", prefix, number);
    if (!taken(candidate)) return candidate;
  }
}

}  // namespace platter::label
