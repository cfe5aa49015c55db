// A file mapped for passes over it.
//
// Copying bytes out of the page cache before they are digested or compared would cost a fifth of
// the digest's own time, so those work on a mapping. A mapped file that is cut, or whose medium
// fails, answers with SIGBUS; inside survives_bus_error() that signal becomes a return value.
#pragma once

#include <cstddef>
#include <cstdint>
#include <span>

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

/// Calls work(context). False when a page of a mapping could not be brought in meanwhile: `work`
/// then ends where it was, without destructors, and what it worked on is good for nothing but being
/// thrown away. It must not throw.
[[nodiscard]] bool survives_bus_error(void (*work)(void* context) noexcept, void* context);

/// The same for anything that can be called.
template <typename Work>
[[nodiscard]] bool survives_bus_error(Work& work) {
  return survives_bus_error([](void* context) noexcept { (*static_cast<Work*>(context))(); },
                            static_cast<void*>(&work));
}

}  // namespace platter::plan
