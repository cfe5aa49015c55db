#include "plan/mapping.h"

#include <sys/mman.h>

namespace platter::plan {
namespace {

// At least a page: a multiple of every page size in use is as good.
constexpr std::uint64_t kPage = 65536;

}  // namespace

Mapping::Mapping(int descriptor, std::uint64_t bytes) noexcept {
  if (descriptor < 0 || bytes == 0) return;
  void* memory = mmap(nullptr, bytes, PROT_READ, MAP_SHARED, descriptor, 0);
  if (memory == MAP_FAILED) return;
  madvise(memory, bytes, MADV_SEQUENTIAL);
  memory_ = static_cast<const std::byte*>(memory);
  bytes_ = bytes;
}

Mapping::~Mapping() {
  if (memory_ != nullptr) munmap(const_cast<std::byte*>(memory_), bytes_);
}

void Mapping::expect(std::uint64_t offset, std::size_t bytes) const noexcept {
#ifdef MADV_POPULATE_READ
  // Advice only: older systems do not know it, and what cannot be read is found when it is touched.
  const std::uint64_t page_start = offset / kPage * kPage;
  madvise(const_cast<std::byte*>(memory_) + page_start, offset + bytes - page_start,
          MADV_POPULATE_READ);
#else
  (void)offset;
  (void)bytes;
#endif
}

void Mapping::let_go(std::uint64_t offset) const noexcept {
  madvise(const_cast<std::byte*>(memory_), offset / kPage * kPage, MADV_DONTNEED);
}

}  // namespace platter::plan
