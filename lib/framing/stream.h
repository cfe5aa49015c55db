// Reading an image from end to end.
#pragma once

#include <cstdint>
#include <span>

#include "core/source.h"

namespace platter::framing {

/// Reads long runs of a source. Where the source has a descriptor they are read through that: a
/// mapping serves random access and does not read ahead from the medium.
class Stream {
 public:
  /// The source must outlive the stream.
  explicit Stream(const ByteSource& source) noexcept;

  /// Fills `out` from `offset` on. Returns the bytes present: fewer only where the source ends.
  /// Throws IoError as the source does. Safe to call from several threads.
  std::size_t read(std::uint64_t offset, std::span<std::byte> out) const;

 private:
  const ByteSource& source_;
  int descriptor_;
};

}  // namespace platter::framing
