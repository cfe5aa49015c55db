// Block and character devices: positioned reads, because a mapping would turn a bad block into a
// signal and hide its place.
#include <fcntl.h>
#include <linux/fs.h>
#include <sys/ioctl.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <system_error>

#include "core/descriptor.h"
#include "core/source.h"

namespace platter {
namespace {

constexpr std::size_t kBlock = 512;

std::string system_reason() {
  return std::generic_category().message(errno);
}

class DeviceSource final : public ByteSource {
 public:
  explicit DeviceSource(const std::string& path)
      : path_(path), descriptor_(open_for_reading(path)) {
    std::uint64_t size = 0;
    if (ioctl(descriptor_.get(), BLKGETSIZE64, &size) == 0) {
      size_ = size;
      return;
    }
    const off_t end = lseek(descriptor_.get(), 0, SEEK_END);
    if (end < 0)
      throw IoError(path_, 0, 0, "the size of the device is unknown: " + system_reason());
    size_ = static_cast<std::uint64_t>(end);
  }

  [[nodiscard]] std::uint64_t size() const noexcept override { return size_; }
  [[nodiscard]] int descriptor() const noexcept override { return descriptor_.get(); }

  std::size_t read(std::uint64_t offset, std::span<std::byte> out) const override {
    if (offset >= size_) return 0;
    const auto wanted =
        static_cast<std::size_t>(std::min<std::uint64_t>(out.size(), size_ - offset));
    std::size_t done = 0;
    while (done < wanted) {
      const ssize_t got = pread(descriptor_.get(), out.data() + done, wanted - done,
                                static_cast<off_t>(offset + done));
      if (got > 0) {
        done += static_cast<std::size_t>(got);
      } else if (got == 0) {
        break;
      } else if (errno != EINTR) {
        throw_at_first_bad_block(offset + done, wanted - done);
      }
    }
    return done;
  }

 private:
  // A large read fails as a whole; the finding should name the block that cannot be read.
  [[noreturn]] void throw_at_first_bad_block(std::uint64_t offset, std::size_t bytes) const {
    const int first_error = errno;
    std::uint64_t at = offset / kBlock * kBlock;
    for (; at < offset + bytes; at += kBlock) {
      std::byte block[kBlock];
      if (pread(descriptor_.get(), block, kBlock, static_cast<off_t>(at)) < 0) {
        throw IoError(path_, at, kBlock, system_reason());
      }
    }
    throw IoError(path_, offset, bytes, std::generic_category().message(first_error));
  }

  std::string path_;
  Descriptor descriptor_;
  std::uint64_t size_ = 0;
};

}  // namespace

Descriptor::~Descriptor() {
  if (value_ >= 0) close(value_);
}

Descriptor open_for_reading(const std::string& path) {
  const int value = open(path.c_str(), O_RDONLY | O_CLOEXEC);
  if (value < 0) throw IoError(path, 0, 0, system_reason());
  return Descriptor(value);
}

std::shared_ptr<const ByteSource> open_device(const std::string& path) {
  return std::make_shared<DeviceSource>(path);
}

}  // namespace platter
