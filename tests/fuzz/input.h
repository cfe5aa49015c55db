// What the fuzz targets share: how an input becomes an image, and how a broken promise is told.
//
// An image is mostly zeros, and an input should not be. The bytes of an input are the beginning of
// an image; its last byte says how many units of kZeroUnit zeros follow. Some targets take further
// choices from the byte before. `fuzz_seeds` writes inputs of this form.
#pragma once

#include <algorithm>
#include <cstddef>
#include <cstdint>
#include <cstdio>
#include <cstdlib>
#include <memory>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "core/source.h"
#include "formats.h"

namespace platter::fuzz {

inline constexpr std::uint64_t kZeroUnit = 8192;

/// Ends the run when something does not hold that has to hold for any input.
inline void promise(bool holds, std::string_view what) {
  if (holds) return;
  std::fprintf(stderr, "broken promise: %.*s\n", static_cast<int>(what.size()), what.data());
  std::abort();
}

/// Hands out an input from its end and its beginning.
class Input {
 public:
  Input(const std::uint8_t* data, std::size_t size)
      : bytes_(reinterpret_cast<const std::byte*>(data), size) {}

  /// The last byte, taken off; 0 when nothing is left.
  std::uint8_t take() {
    if (bytes_.empty()) return 0;
    const auto value = std::to_integer<std::uint8_t>(bytes_.back());
    bytes_ = bytes_.first(bytes_.size() - 1);
    return value;
  }
  /// The first `count` bytes, taken off; fewer when there are not so many.
  std::span<const std::byte> take_first(std::size_t count) {
    const auto first = bytes_.first(std::min(count, bytes_.size()));
    bytes_ = bytes_.subspan(first.size());
    return first;
  }
  [[nodiscard]] std::span<const std::byte> bytes() const { return bytes_; }
  [[nodiscard]] std::string_view text() const {
    return {reinterpret_cast<const char*>(bytes_.data()), bytes_.size()};
  }

 private:
  std::span<const std::byte> bytes_;
};

/// Bytes with zeros behind them that take no memory.
class PaddedSource final : public ByteSource {
 public:
  PaddedSource(std::span<const std::byte> bytes, std::uint64_t zeros)
      : bytes_(bytes.begin(), bytes.end()), size_(bytes.size() + zeros) {}

  [[nodiscard]] std::uint64_t size() const noexcept override { return size_; }
  std::size_t read(std::uint64_t offset, std::span<std::byte> out) const override {
    if (offset >= size_) return 0;
    const auto count =
        static_cast<std::size_t>(std::min<std::uint64_t>(out.size(), size_ - offset));
    const auto held = static_cast<std::size_t>(
        offset >= bytes_.size() ? 0 : std::min<std::uint64_t>(count, bytes_.size() - offset));
    if (held != 0) std::copy_n(bytes_.data() + offset, held, out.begin());
    std::fill_n(out.begin() + static_cast<std::ptrdiff_t>(held), count - held, std::byte{0});
    return count;
  }

 private:
  std::vector<std::byte> bytes_;
  std::uint64_t size_;
};

/// An image from what is left of an input.
inline std::shared_ptr<const ByteSource> image_from(Input& input) {
  const std::uint64_t zeros = input.take() * kZeroUnit;
  return std::make_shared<PaddedSource>(input.bytes(), zeros);
}

/// The formats of a stage, in the order of the registry. An input names one by its place here, so
/// inputs are of use only as long as no format is added in front.
inline std::vector<const Format*> formats_of(Stage stage, bool that_open = false) {
  std::vector<const Format*> all;
  for (const Format* format : all_formats()) {
    if (format->stage == stage && (!that_open || format->open != nullptr)) all.push_back(format);
  }
  return all;
}

/// Every finding has something to say.
inline void promise_findings(const std::vector<Finding>& findings) {
  for (const Finding& finding : findings) {
    promise(!finding.message.empty(), "words of a finding");
  }
}

}  // namespace platter::fuzz
