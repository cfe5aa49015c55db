#include "files/sink.h"

#include <algorithm>

#include <fmt/format.h>

namespace platter {

std::string host_name(const FileVisit& file) {
  const bool bytes_serve =
      file.entry.charset == Charset::ascii && !is_unusable_name(file.entry.name);
  return std::string(bytes_serve ? file.entry.name : file.name);
}

std::string host_directory(const FileVisit& file) {
  const std::size_t length = file.path.size() - file.name.size();
  const std::string decoded(file.path.substr(0, length == 0 ? 0 : length - 1));
  const std::size_t own = file.entry.name.size() + 1;
  if (file.exact || file.entry.charset != Charset::ascii || file.raw_path.size() < own)
    return decoded;
  const std::string_view raw = file.raw_path.substr(0, file.raw_path.size() - own);
  // A part with a '/' inside cannot be told from two parts.
  if (std::ranges::count(raw, '/') != std::ranges::count(decoded, '/')) return decoded;
  std::string path;
  for (std::size_t at = 0, decoded_at = 0; at <= raw.size();) {
    const std::string_view part = raw.substr(at, raw.find('/', at) - at);
    const std::string_view readable =
        std::string_view(decoded).substr(decoded_at, decoded.find('/', decoded_at) - decoded_at);
    if (at != 0) path += '/';
    path += is_unusable_name(part) ? readable : part;
    at += part.size() + 1;
    decoded_at += readable.size() + 1;
  }
  return path;
}

void LeftOutKinds::add(std::string_view path) {
  constexpr std::uint64_t kNamed = 3;
  if (count_++ < kNamed) names_ += (names_.empty() ? "" : ", ") + printable(path);
}

void LeftOutKinds::tell(std::string_view reason, std::vector<Finding>& findings) const {
  if (count_ == 0) return;
  findings.push_back(
      {Severity::caution,
       FindingCode::file_left_out,
       {},
       0,
       0,
       fmt::format("left out {} device node{}, pipe{} or socket{} ({}{}): {}", count_,
                   count_ == 1 ? "" : "s", count_ == 1 ? "" : "s", count_ == 1 ? "" : "s", names_,
                   count_ > 3 ? ", ..." : "", reason)});
}

Finding missing_finding(std::string_view path, std::uint64_t bytes,
                        const std::vector<Extent>& missing, bool left_out) {
  constexpr std::size_t kShown = 4;
  std::string runs;
  for (std::size_t i = 0; i < missing.size() && i < kShown; ++i) {
    runs += fmt::format("{}{} to {}", i == 0 ? "" : ", ", missing[i].offset,
                        saturating_add(missing[i].offset, missing[i].bytes - 1));
  }
  if (missing.size() > kShown) runs += fmt::format(" and {} more runs", missing.size() - kShown);
  return {Severity::fault,
          FindingCode::content_missing,
          {},
          missing.front().start,
          missing.front().bytes,
          fmt::format("{}: the image does not hold bytes {} of {}; {}", printable(path), runs,
                      bytes, left_out ? "the file was left out" : "they read as zeros")};
}

}  // namespace platter
