// A file mapped for passes over it.
//
// Copying bytes out of the page cache before they are digested or compared would cost a fifth of
// the digest's own time, so those work on a mapping, inside survives_bus_error().
#pragma once

#include <cstddef>
#include <cstdint>
#include <span>

#include "core/bus_guard.h"

namespace platter::plan {

class Mapping {
 public:
  /// Maps the first `bytes` of a file for reading. valid() tells whether that worked.
  Mapping(int descriptor, std::uint64_t bytes) noexcept;
  Mapping(const Mapping&) = delete;
  Mapping& operator=(const Mapping&) = delete;
  ~Mapping();

  [[nodiscard]] bool valid() const noexcept { return memory_ != nullptr; }
  [[nodiscard]] std::span<const std::byte> bytes() const noexcept { return {memory_, bytes_}; }
  /// Brings a run in all at once, which is cheaper than page after page when it is touched.
  void expect(std::uint64_t offset, std::size_t bytes) const noexcept;
  /// Unmaps the pages in front of `offset`; they come back when they are touched.
  void let_go(std::uint64_t offset) const noexcept;

 private:
  const std::byte* memory_ = nullptr;
  std::size_t bytes_ = 0;
};

}  // namespace platter::plan
