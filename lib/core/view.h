// A byte range of an image.
#pragma once

#include <cstddef>
#include <cstdint>
#include <memory>
#include <span>
#include <vector>

#include "core/numbers.h"
#include "core/record.h"
#include "core/source.h"

namespace platter {

/// A range of the image that is really there: making a view clips it, so a dump that was cut short
/// gives shorter views, and reads past a view's end come back short. What a label declares is kept
/// in its slice. Cheap to copy; keeps its source alive.
///
/// Offsets given to a view count from the view's start; start() and every place in a finding count
/// from the start of the image.
class View {
 public:
  View() = default;
  /// The whole of a source.
  explicit View(std::shared_ptr<const ByteSource> source)
      : source_(std::move(source)), bytes_(source_->size()) {}

  /// First byte in the image.
  [[nodiscard]] std::uint64_t start() const noexcept { return start_; }
  [[nodiscard]] std::uint64_t bytes() const noexcept { return bytes_; }
  /// A range inside this view; never reaches outside it.
  [[nodiscard]] View sub(std::uint64_t offset, std::uint64_t bytes) const;

  /// Fills `out` from `offset` on; what is not there is set to zero. Returns the bytes present.
  /// Throws IoError (with the offset in image bytes) when the medium cannot be read.
  std::size_t read(std::uint64_t offset, std::span<std::byte> out) const;

  /// The bytes at `offset` without a copy, see ByteSource::in_place(). Empty when they are not all
  /// there, and always when the source has to be read.
  [[nodiscard]] std::span<const std::byte> in_place(std::uint64_t offset, std::size_t bytes) const;
  [[nodiscard]] bool lost_in_place() const noexcept { return source_ && source_->lost_in_place(); }

  /// Up to `bytes` bytes from `offset`; shorter at the end. Never allocates more than is there.
  [[nodiscard]] std::vector<std::byte> read_vector(std::uint64_t offset, std::uint64_t bytes) const;

  /// A structure at `offset`.
  template <const Structure& S>
  [[nodiscard]] Record<S> record(std::uint64_t offset, ByteOrder order) const {
    Record<S> result(order, saturating_add(start_, offset));
    result.set_present(read(offset, result.storage()));
    return result;
  }

  /// An unsigned number of `width` bytes (1..8); zero where nothing is.
  [[nodiscard]] std::uint64_t number(std::uint64_t offset, unsigned width, ByteOrder order) const;

  /// Whether the bytes at `offset` are there and equal `expected`.
  [[nodiscard]] bool holds(std::uint64_t offset, std::string_view expected) const;

  [[nodiscard]] const std::shared_ptr<const ByteSource>& source() const noexcept { return source_; }

 private:
  std::shared_ptr<const ByteSource> source_;
  std::uint64_t start_ = 0;
  std::uint64_t bytes_ = 0;
};

/// Whether [offset, offset + bytes) of a view holds nothing but zeros (what is absent counts as
/// zero). Reads in pieces.
[[nodiscard]] bool all_zero(const View& view, std::uint64_t offset, std::uint64_t bytes);

}  // namespace platter
