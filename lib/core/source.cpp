#include "core/source.h"

#include <algorithm>
#include <cstring>

#include <fmt/format.h>

namespace platter {
namespace {

class RangeSource final : public ByteSource {
 public:
  RangeSource(std::shared_ptr<const ByteSource> source, std::uint64_t start, std::uint64_t bytes)
      : source_(std::move(source)),
        start_(std::min(start, source_->size())),
        bytes_(std::min(bytes, source_->size() - start_)) {}

  [[nodiscard]] std::uint64_t size() const noexcept override { return bytes_; }
  std::size_t read(std::uint64_t offset, std::span<std::byte> out) const override {
    if (offset >= bytes_) return 0;
    const auto wanted =
        static_cast<std::size_t>(std::min<std::uint64_t>(out.size(), bytes_ - offset));
    return source_->read(start_ + offset, out.first(wanted));
  }

 private:
  std::shared_ptr<const ByteSource> source_;
  std::uint64_t start_;
  std::uint64_t bytes_;
};

}  // namespace

std::shared_ptr<const ByteSource> range_of(std::shared_ptr<const ByteSource> source,
                                           std::uint64_t start, std::uint64_t bytes) {
  return std::make_shared<RangeSource>(std::move(source), start, bytes);
}

IoError::IoError(std::string path, std::uint64_t offset, std::uint64_t bytes, std::string reason)
    : std::runtime_error(fmt::format("{}: byte {}: {}", path, offset, reason)),
      path_(std::move(path)),
      offset_(offset),
      bytes_(bytes),
      reason_(std::move(reason)) {}

std::size_t MemorySource::read(std::uint64_t offset, std::span<std::byte> out) const {
  if (offset >= bytes_.size() || out.empty()) return 0;
  const std::size_t count = std::min<std::size_t>(out.size(), bytes_.size() - offset);
  std::memcpy(out.data(), bytes_.data() + offset, count);
  return count;
}

}  // namespace platter
