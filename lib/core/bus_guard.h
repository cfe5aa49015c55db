// Living through a mapping that cannot be read.
//
// A mapped file that shrinks, or whose medium fails, answers with the signal SIGBUS. Inside
// survives_bus_error() that signal becomes a return value; on a mapping that LostPages watches over
// the page becomes one of zeros, and is remembered. Every other SIGBUS goes on to whoever was there
// before.
#pragma once

#include <atomic>
#include <cstddef>

namespace platter {

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

/// Watches over a mapping whose bytes are used where they stand. While it lives, a page that cannot
/// be brought in outside survives_bus_error() is replaced by zeros instead of ending the process.
class LostPages {
 public:
  /// \param first of the mapping, at the start of a page
  LostPages(const void* first, std::size_t bytes) noexcept;
  LostPages(const LostPages&) = delete;
  LostPages& operator=(const LostPages&) = delete;
  ~LostPages();

  /// False when there was no room to watch over one more: use nothing in place then.
  [[nodiscard]] bool watching() const noexcept { return slot_ != kNone; }
  /// Whether a page was lost.
  [[nodiscard]] bool any() const noexcept { return any_.load(std::memory_order_relaxed); }

 private:
  static constexpr std::size_t kNone = ~std::size_t{0};

  std::size_t slot_ = kNone;
  std::atomic<bool> any_ = false;
};

}  // namespace platter
