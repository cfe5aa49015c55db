// Bytes in memory that tell how many of them were read.
#pragma once

#include <algorithm>
#include <utility>
#include <vector>

#include "core/source.h"

namespace platter::test {

class CountingSource final : public ByteSource {
 public:
  explicit CountingSource(std::vector<std::byte> bytes) : bytes_(std::move(bytes)) {}
  [[nodiscard]] std::uint64_t size() const noexcept override { return bytes_.size(); }
  std::size_t read(std::uint64_t offset, std::span<std::byte> out) const override {
    if (offset >= bytes_.size()) return 0;
    const auto count =
        static_cast<std::size_t>(std::min<std::uint64_t>(out.size(), bytes_.size() - offset));
    std::copy_n(bytes_.begin() + static_cast<std::ptrdiff_t>(offset), count, out.begin());
    bytes_read += count;
    return count;
  }
  mutable std::uint64_t bytes_read = 0;

 private:
  std::vector<std::byte> bytes_;
};

}  // namespace platter::test
