#include "plan/image_reader.h"

#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <cstring>
#include <exception>
#include <system_error>

#include "core/digest.h"
#include "core/numbers.h"
#include "plan/card.h"
#include "plan/size.h"

namespace platter::plan {
namespace {

constexpr std::size_t kDigestBytes = 256 * kKiB;

bool same_time(const timespec& a, const timespec& b) {
  return a.tv_sec == b.tv_sec && a.tv_nsec == b.tv_nsec;
}

}  // namespace

ImageReader::ImageReader(const ByteSource& image, const std::string& path, bool map)
    : image_(image), path_(path), size_(image.size()) {
  is_file_ = image.descriptor() >= 0 && fstat(image.descriptor(), &at_first_) == 0 &&
             S_ISREG(at_first_.st_mode);
  if (is_file_ && map) mapping_.emplace(image.descriptor(), size_);
  if (mapping_ && !mapping_->valid()) mapping_.reset();
}

void ImageReader::read(std::uint64_t offset, std::span<std::byte> out) const {
  const std::uint64_t left = offset < size_ ? size_ - offset : 0;
  const auto from_image = static_cast<std::size_t>(std::min<std::uint64_t>(left, out.size()));
  std::ranges::fill(out.subspan(from_image), std::byte{0});
  if (from_image == 0) return;
  if (is_file_) {
    read_file(offset, out.first(from_image));
  } else if (const std::size_t got = image_.read(offset, out.first(from_image));
             got != from_image) {
    throw IoError(path_, offset + got, from_image - got, "the image ends here; it became shorter");
  }
}

void ImageReader::read_file(std::uint64_t offset, std::span<std::byte> out) const {
  std::size_t done = 0;
  while (done < out.size()) {
    const ssize_t got = pread(image_.descriptor(), out.data() + done, out.size() - done,
                              static_cast<off_t>(offset + done));
    if (got > 0) {
      done += static_cast<std::size_t>(got);
    } else if (got == 0) {
      throw IoError(path_, offset + done, out.size() - done,
                    "the image ends here; it became shorter");
    } else if (errno != EINTR) {
      throw IoError(path_, offset + done, out.size() - done,
                    std::generic_category().message(errno));
    }
  }
}

void ImageReader::expect_unchanged() const {
  if (!is_file_) return;
  struct stat now {};
  if (fstat(image_.descriptor(), &now) == 0 && now.st_size == at_first_.st_size &&
      same_time(now.st_mtim, at_first_.st_mtim)) {
    return;
  }
  throw IoError(path_, 0, 0, "the image changed while it was being copied");
}

std::span<const std::byte> ImageReader::look(std::uint64_t offset,
                                             std::span<std::byte> buffer) const {
  if (mapping_ && fits_within(offset, buffer.size(), size_)) {
    return mapping_->bytes().subspan(offset, buffer.size());
  }
  read(offset, buffer);
  return buffer;
}

bool ImageReader::same(std::uint64_t offset, std::span<const std::byte> looked_at,
                       std::span<const std::byte> other) const {
  bool same = false;
  auto compare = [&]() noexcept {
    same = std::memcmp(looked_at.data(), other.data(), other.size()) == 0;
  };
  if (!mapping_) {
    compare();
  } else if (!survives_bus_error(compare)) {
    fail(offset, other.size());
  }
  return same;
}

// Reading the same bytes the usual way tells what is wrong with them.
void ImageReader::fail(std::uint64_t offset, std::size_t bytes) const {
  read(offset, AlignedBuffer(bytes).first(bytes));
  throw IoError(path_, offset, bytes, "the image could not be read while it was mapped");
}

void ImageReader::expect(std::uint64_t offset, std::size_t bytes) const noexcept {
  if (mapping_ && fits_within(offset, bytes, size_)) mapping_->expect(offset, bytes);
}

void ImageReader::let_go(std::uint64_t offset) const noexcept {
  if (mapping_) mapping_->let_go(offset);
}

std::string ImageReader::digest(const std::atomic<bool>& stop,
                                std::atomic<std::uint64_t>& done) const {
  return mapping_ ? digest_mapped(stop, done) : digest_read(stop);
}

std::string ImageReader::digest_mapped(const std::atomic<bool>& stop,
                                       std::atomic<std::uint64_t>& done) const {
  Sha256 digest;
  std::exception_ptr failure;
  for (std::uint64_t at = 0; at < size_; at += kDigestBytes) {
    if (stop) return {};
    const auto count = static_cast<std::size_t>(std::min<std::uint64_t>(kDigestBytes, size_ - at));
    const auto bytes = mapping_->bytes().subspan(at, count);
    auto update = [&]() noexcept {
      try {
        digest.update(bytes);
      } catch (...) {
        failure = std::current_exception();
      }
    };
    if (!survives_bus_error(update)) fail(at, count);
    if (failure) std::rethrow_exception(failure);
    done.store(at + count, std::memory_order_relaxed);
  }
  return digest.finish();
}

std::string ImageReader::digest_read(const std::atomic<bool>& stop) const {
  Sha256 digest;
  const AlignedBuffer buffer(kDigestBytes);
  for (std::uint64_t at = 0; at < size_; at += kDigestBytes) {
    if (stop) return {};
    const auto count = static_cast<std::size_t>(std::min<std::uint64_t>(kDigestBytes, size_ - at));
    read(at, buffer.first(count));
    digest.update(buffer.first(count));
  }
  return digest.finish();
}

}  // namespace platter::plan
