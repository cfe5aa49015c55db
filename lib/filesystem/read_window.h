// A moving window over a view, for many small reads that lie near one another.
#pragma once

#include <algorithm>
#include <cstdint>
#include <span>
#include <vector>

#include "core/view.h"

namespace platter::filesystem {

class ReadWindow {
 public:
  explicit ReadWindow(View view) : view_(std::move(view)) {}

  /// The bytes at `offset` of the view, valid until the next call; empty when not all of them are
  /// there. `bytes` must be far below the window's 16 KiB. Throws IoError when they cannot be read.
  std::span<const std::byte> at(std::uint64_t offset, std::size_t bytes) {
    if (!fits_within(offset, bytes, view_.bytes())) return {};
    if (offset < first_ || offset + bytes > first_ + present_) move_to(offset, bytes);
    return std::span(buffer_).subspan(static_cast<std::size_t>(offset - first_), bytes);
  }

 private:
  static constexpr std::uint64_t kWindow = 16384;

  void move_to(std::uint64_t offset, std::size_t bytes) {
    const std::uint64_t start = offset / 512 * 512;
    buffer_.resize(static_cast<std::size_t>(std::min(kWindow, view_.bytes() - start)));
    present_ = 0;
    try {
      view_.read(start, buffer_);
      first_ = start;
      present_ = buffer_.size();
    } catch (const IoError&) {
      // A bad block nearby is no reason to lose these bytes too.
      view_.read(offset, std::span(buffer_).first(bytes));
      first_ = offset;
      present_ = bytes;
    }
  }

  View view_;
  std::vector<std::byte> buffer_;
  std::uint64_t first_ = 0;
  std::uint64_t present_ = 0;
};

}  // namespace platter::filesystem
