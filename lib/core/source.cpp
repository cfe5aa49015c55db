#include "core/source.h"

#include <algorithm>
#include <cstring>

#include <fmt/format.h>

namespace platter {

IoError::IoError(std::string path, std::uint64_t offset, std::uint64_t bytes, std::string reason)
    : std::runtime_error(fmt::format("{}: byte {}: {}", path, offset, reason)),
      path_(std::move(path)),
      offset_(offset),
      bytes_(bytes),
      reason_(std::move(reason)) {}

std::size_t MemorySource::read(std::uint64_t offset, std::span<std::byte> out) const {
  if (offset >= bytes_.size()) return 0;
  const std::size_t count = std::min<std::size_t>(out.size(), bytes_.size() - offset);
  std::memcpy(out.data(), bytes_.data() + offset, count);
  return count;
}

}  // namespace platter
