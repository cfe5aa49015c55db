#include "plan/card.h"

#include <fcntl.h>
#include <linux/fs.h>
#include <sys/file.h>
#include <sys/ioctl.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <cstdlib>
#include <limits>
#include <new>
#include <system_error>

#include <fmt/format.h>

#include "core/numbers.h"

namespace platter::plan {
namespace {

constexpr std::size_t kAlignment = 4096;

std::string reason_of(int error) {
  return std::generic_category().message(error);
}

// A descriptor past the page cache and the unit in which it can be read.
Descriptor open_direct(const std::string& path, std::uint64_t& unit) {
  Descriptor direct(open(path.c_str(), O_RDONLY | O_DIRECT | O_CLOEXEC));
  int sector = 0;
  if (direct.get() < 0 || ioctl(direct.get(), BLKSSZGET, &sector) != 0 || sector <= 0) return {};
  unit = static_cast<std::uint64_t>(sector);
  return direct;
}

}  // namespace

ssize_t CardCalls::read_at(int descriptor, void* to, std::size_t count, off_t offset) {
  return pread(descriptor, to, count, offset);
}

ssize_t CardCalls::write_at(int descriptor, const void* from, std::size_t count, off_t offset) {
  return pwrite(descriptor, from, count, offset);
}

int CardCalls::sync(int descriptor) {
  return fsync(descriptor);
}

CardCalls& CardCalls::real() noexcept {
  static CardCalls calls;
  return calls;
}

Card::Card(const std::string& path, const CardAccess& access, CardCalls& calls)
    : path_(path), calls_(calls) {
  struct stat status {};
  if (stat(path.c_str(), &status) != 0) {
    const int error = errno;
    if (error == ENOENT && access.create && access.write) {
      create_file(access);
      return;
    }
    fail(0, 0, error);
  }
  is_device_ = S_ISBLK(status.st_mode);
  if (!is_device_ && !S_ISREG(status.st_mode)) {
    throw IoError(path_, 0, 0, "is neither a regular file nor a block device");
  }
  open_existing(access);
}

void Card::open_existing(const CardAccess& access) {
  const int mode = access.write ? O_RDWR : O_RDONLY;
  // On a block device O_EXCL is refused while anybody has it mounted or otherwise claimed.
  const int exclusive = is_device_ && access.write ? O_EXCL : 0;
  descriptor_ = Descriptor(open(path_.c_str(), mode | exclusive | O_CLOEXEC));
  if (descriptor_.get() < 0) fail(0, 0, errno);
  if (is_device_) direct_ = open_direct(path_, direct_unit_);
  if (access.write && !is_device_ && flock(descriptor_.get(), LOCK_EX | LOCK_NB) != 0 &&
      errno == EWOULDBLOCK) {
    throw IoError(path_, 0, 0, "is in use by another copy of this program");
  }
}

void Card::create_file(const CardAccess& access) {
  descriptor_ = Descriptor(open(path_.c_str(), O_RDWR | O_CREAT | O_EXCL | O_CLOEXEC, 0666));
  if (descriptor_.get() < 0) fail(0, 0, errno);
  if (access.create_bytes > static_cast<std::uint64_t>(std::numeric_limits<off_t>::max()) ||
      ftruncate(descriptor_.get(), static_cast<off_t>(access.create_bytes)) != 0) {
    const int error = errno == 0 ? EFBIG : errno;
    unlink(path_.c_str());  // ours since O_EXCL
    fail(0, access.create_bytes, error);
  }
  flock(descriptor_.get(), LOCK_EX | LOCK_NB);
}

std::uint64_t Card::size() const {
  if (is_device_) {
    std::uint64_t bytes = 0;
    if (ioctl(descriptor_.get(), BLKGETSIZE64, &bytes) != 0) fail(0, 0, errno);
    return bytes;
  }
  struct stat status {};
  if (fstat(descriptor_.get(), &status) != 0) fail(0, 0, errno);
  return static_cast<std::uint64_t>(status.st_size);
}

void Card::read_from(int descriptor, std::uint64_t offset, std::span<std::byte> out) {
  std::size_t done = 0;
  while (done < out.size()) {
    const ssize_t got = calls_.read_at(descriptor, out.data() + done, out.size() - done,
                                       static_cast<off_t>(offset + done));
    if (got > 0) {
      done += static_cast<std::size_t>(got);
    } else if (got == 0) {
      throw IoError(path_, offset + done, out.size() - done,
                    "the card ends here; it became shorter");
    } else if (errno != EINTR) {
      fail(offset + done, out.size() - done, errno);
    }
  }
}

void Card::read(std::uint64_t offset, std::span<std::byte> out) {
  read_from(descriptor_.get(), offset, out);
}

void Card::read_back(std::uint64_t offset, std::span<std::byte> out) {
  const bool aligned = direct_.get() >= 0 && offset % direct_unit_ == 0 &&
                       out.size() % direct_unit_ == 0 &&
                       reinterpret_cast<std::uintptr_t>(out.data()) % kAlignment == 0;
  read_from(aligned ? direct_.get() : descriptor_.get(), offset, out);
}

void Card::write(std::uint64_t offset, std::span<const std::byte> bytes) {
  // A write past the end of a file would make it longer, and hide that it was cut.
  const std::uint64_t end = size();
  if (!fits_within(offset, bytes.size(), end)) {
    throw IoError(path_, std::max(offset, end), bytes.size(),
                  fmt::format("the card ends at byte {}; it became shorter", end));
  }
  std::size_t done = 0;
  while (done < bytes.size()) {
    const ssize_t put = calls_.write_at(descriptor_.get(), bytes.data() + done, bytes.size() - done,
                                        static_cast<off_t>(offset + done));
    if (put > 0) {
      done += static_cast<std::size_t>(put);
    } else if (put == 0) {
      fail(offset + done, bytes.size() - done, ENOSPC);
    } else if (errno != EINTR) {
      fail(offset + done, bytes.size() - done, errno);
    }
  }
}

void Card::sync() {
  while (calls_.sync(descriptor_.get()) != 0) {
    if (errno != EINTR) {
      throw IoError(path_, 0, 0, "what was written did not reach the medium: " + reason_of(errno));
    }
  }
}

// All of this is advice: a system that cannot forget reads what it has.
void Card::forget(std::uint64_t offset, std::uint64_t bytes) {
  if (is_device_) ioctl(descriptor_.get(), BLKFLSBUF, 0);
  posix_fadvise(descriptor_.get(), static_cast<off_t>(offset), static_cast<off_t>(bytes),
                POSIX_FADV_DONTNEED);
}

void Card::fail(std::uint64_t offset, std::uint64_t bytes, int error) const {
  throw IoError(path_, offset, bytes, reason_of(error));
}

AlignedBuffer::AlignedBuffer(std::size_t bytes)
    : memory_(static_cast<std::byte*>(
          std::aligned_alloc(kAlignment, divide_up(bytes, kAlignment) * kAlignment))) {
  if (memory_ == nullptr) throw std::bad_alloc();
}

void AlignedBuffer::Free::operator()(std::byte* memory) const noexcept {
  std::free(memory);
}

}  // namespace platter::plan
