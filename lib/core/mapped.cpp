// Plain files, mapped through Boost.Iostreams.
//
// Reading a mapping can fail: the file shrank, or its medium returned an error. The copy is
// guarded, so that this becomes an IoError.
#include <fcntl.h>
#include <sys/mman.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <atomic>
#include <cerrno>
#include <cstring>
#include <optional>
#include <system_error>

#include <boost/iostreams/device/mapped_file.hpp>
#include <fmt/format.h>

#include "core/bus_guard.h"
#include "core/descriptor.h"
#include "core/numbers.h"
#include "core/source.h"

namespace platter {
namespace {

// What a source may keep in memory of the file's pages. They count as the process's own although
// the page cache holds them anyway, and a walk over a million files touches hundreds of megabytes.
constexpr std::uint64_t kMostTouched = std::uint64_t{24} << 20U;
// Bringing pages into the mapping costs more than one system call for that much.
constexpr std::size_t kLargeRead = 1024;
// The kernel maps that much around a page that is touched (fault_around_bytes, mm/memory.c).
constexpr std::uint64_t kNeighbourhood = 65536;
constexpr std::size_t kPage = 4096;  // or larger

class MappedSource final : public ByteSource {
 public:
  MappedSource(Descriptor descriptor, std::string path)
      : path_(std::move(path)), descriptor_(std::move(descriptor)) {
    struct stat status {};
    if (fstat(descriptor_.get(), &status) != 0) {
      throw IoError(path_, 0, 0, std::generic_category().message(errno));
    }
    size_ = static_cast<std::uint64_t>(status.st_size);
    if (size_ == 0) return;  // an empty file cannot be mapped
    try {
      // Through the descriptor that was opened, so that a file renamed meanwhile is still the one.
      map_.open(fmt::format("/proc/self/fd/{}", descriptor_.get()));
    } catch (const std::exception& error) {
      throw IoError(path_, 0, 0, fmt::format("cannot be mapped: {}", error.what()));
    }
    watch_.emplace(map_.data(), map_.size());
    // A survey touches few places of a large image: reading ahead would only cost.
    madvise(const_cast<char*>(map_.data()), map_.size(), MADV_RANDOM);
  }

  [[nodiscard]] std::uint64_t size() const noexcept override { return size_; }
  [[nodiscard]] int descriptor() const noexcept override { return descriptor_.get(); }

  // Pages are brought in here, so that a medium that fails does so before anybody looks.
  [[nodiscard]] std::span<const std::byte> in_place(std::uint64_t offset,
                                                    std::size_t bytes) const override {
    if (!watch_ || !watch_->watching() || watch_->any() || bytes == 0 ||
        !fits_within(offset, bytes, size_)) {
      return {};
    }
    // Whoever uses bytes in place goes through much of the file: reading ahead is worth it now.
    if (!read_ahead_.exchange(true, std::memory_order_relaxed)) {
      madvise(const_cast<char*>(map_.data()), map_.size(), MADV_NORMAL);
    }
    const char* first = map_.data() + offset;
    auto touch = [&]() noexcept {
      for (std::size_t at = 0; at < bytes; at += kPage)
        static_cast<void>(*static_cast<const volatile char*>(first + at));
      static_cast<void>(*static_cast<const volatile char*>(first + bytes - 1));
    };
    if (!survives_bus_error(touch)) return {};
    let_go_of_what_was_touched(offset, bytes);
    return std::as_bytes(std::span(first, bytes));
  }
  [[nodiscard]] bool lost_in_place() const noexcept override { return watch_ && watch_->any(); }

  std::size_t read(std::uint64_t offset, std::span<std::byte> out) const override {
    if (offset >= size_ || out.empty()) return 0;
    const auto count =
        static_cast<std::size_t>(std::min<std::uint64_t>(out.size(), size_ - offset));
    if ((count >= kLargeRead || !is_near_the_last(offset) || lost_in_place()) &&
        pread(descriptor_.get(), out.data(), count, static_cast<off_t>(offset)) ==
            static_cast<ssize_t>(count)) {
      return count;
    }
    // A page that was lost has zeros in the mapping; the file itself cannot give it either.
    auto copy = [&]() noexcept { std::memcpy(out.data(), map_.data() + offset, count); };
    if (lost_in_place() || !survives_bus_error(copy)) {
      throw IoError(path_, offset, count,
                    "the file became shorter while it was read, or its medium failed");
    }
    let_go_of_what_was_touched(offset, count);
    return count;
  }

 private:
  // Small reads side by side are worth the pages that the first of them would bring in; scattered
  // ones are not.
  [[nodiscard]] bool is_near_the_last(std::uint64_t offset) const noexcept {
    const std::uint64_t place = offset / kNeighbourhood;
    return last_small_.exchange(place, std::memory_order_relaxed) == place;
  }

  void let_go_of_what_was_touched(std::uint64_t offset, std::uint64_t count) const noexcept {
    const std::uint64_t first = offset / kNeighbourhood;
    const std::uint64_t last = (offset + count - 1) / kNeighbourhood;
    if (last_touched_.exchange(last, std::memory_order_relaxed) == first && first == last) return;
    const std::uint64_t more = (last - first + 1) * kNeighbourhood;
    if (touched_.fetch_add(more, std::memory_order_relaxed) + more <= kMostTouched) return;
    touched_ = 0;
    // Pages that another thread copies from meanwhile come back by themselves.
    madvise(const_cast<char*>(map_.data()), map_.size(), MADV_DONTNEED);
  }

  std::string path_;
  Descriptor descriptor_;
  std::uint64_t size_ = 0;
  boost::iostreams::mapped_file_source map_;
  std::optional<LostPages> watch_;  // behind the mapping, so that it ends before
  mutable std::atomic<bool> read_ahead_ = false;
  // Neighbourhoods: of the last small read, and of the last one through the mapping.
  mutable std::atomic<std::uint64_t> last_small_{kLargest};
  mutable std::atomic<std::uint64_t> last_touched_{kLargest};
  mutable std::atomic<std::uint64_t> touched_{0};  // bytes since pages were let go
};

}  // namespace

std::shared_ptr<const ByteSource> map_file(const std::string& path) {
  return std::make_shared<MappedSource>(open_for_reading(path), path);
}

std::shared_ptr<const ByteSource> map_descriptor(int descriptor, const std::string& path) {
  return std::make_shared<MappedSource>(Descriptor(descriptor), path);
}

}  // namespace platter
