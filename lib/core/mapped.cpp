// Plain files, mapped through Boost.Iostreams.
//
// Reading a mapping can fail with SIGBUS: the file shrank, or its medium returned an error. The
// handler below turns exactly those signals that come from our own guarded copy into an IoError and
// hands every other SIGBUS on to whoever was there before.
#include <fcntl.h>
#include <sys/mman.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <csetjmp>
#include <csignal>
#include <cstring>
#include <mutex>
#include <system_error>

#include <boost/iostreams/device/mapped_file.hpp>
#include <fmt/format.h>

#include "core/descriptor.h"
#include "core/source.h"

namespace platter {
namespace {

// Volatile: only a signal handler looks at it between the two stores around a copy, so a compiler
// would otherwise leave the first one out.
thread_local sigjmp_buf* volatile guarded_copy = nullptr;
struct sigaction previous_action {};

void on_bus_error(int signal, siginfo_t* info, void* context) {
  if (guarded_copy != nullptr) siglongjmp(*guarded_copy, 1);
  if ((previous_action.sa_flags & SA_SIGINFO) != 0 && previous_action.sa_sigaction != nullptr) {
    previous_action.sa_sigaction(signal, info, context);
    return;
  }
  if (previous_action.sa_handler != SIG_DFL && previous_action.sa_handler != SIG_IGN) {
    previous_action.sa_handler(signal);
    return;
  }
  std::signal(signal, SIG_DFL);  // the faulting instruction runs again and ends the process
}

void install_bus_error_handler() {
  static std::once_flag once;
  std::call_once(once, [] {
    struct sigaction action {};
    action.sa_sigaction = on_bus_error;
    // SA_NODEFER: siglongjmp leaves the handler without unblocking, and the mask is not saved.
    action.sa_flags = SA_SIGINFO | SA_NODEFER;
    sigemptyset(&action.sa_mask);
    sigaction(SIGBUS, &action, &previous_action);
  });
}

// Copies from a mapping; false when a page could not be brought in. No object with a destructor
// may live in this frame: siglongjmp skips destructors.
bool copy_guarded(std::byte* to, const char* from, std::size_t count) noexcept {
  sigjmp_buf here;
  if (sigsetjmp(here, 0) != 0) {
    guarded_copy = nullptr;
    return false;
  }
  guarded_copy = &here;
  std::memcpy(to, from, count);
  guarded_copy = nullptr;
  return true;
}

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
    install_bus_error_handler();
    try {
      // Through the descriptor that was opened, so that a file renamed meanwhile is still the one.
      map_.open(fmt::format("/proc/self/fd/{}", descriptor_.get()));
    } catch (const std::exception& error) {
      throw IoError(path_, 0, 0, fmt::format("cannot be mapped: {}", error.what()));
    }
    // A survey touches few places of a large image: reading ahead would only cost.
    madvise(const_cast<char*>(map_.data()), map_.size(), MADV_RANDOM);
  }

  [[nodiscard]] std::uint64_t size() const noexcept override { return size_; }
  [[nodiscard]] int descriptor() const noexcept override { return descriptor_.get(); }

  std::size_t read(std::uint64_t offset, std::span<std::byte> out) const override {
    if (offset >= size_ || out.empty()) return 0;
    const auto count = static_cast<std::size_t>(std::min<std::uint64_t>(out.size(), size_ - offset));
    if (!copy_guarded(out.data(), map_.data() + offset, count)) {
      throw IoError(path_, offset, count,
                    "the file became shorter while it was read, or its medium failed");
    }
    return count;
  }

 private:
  std::string path_;
  Descriptor descriptor_;
  std::uint64_t size_ = 0;
  boost::iostreams::mapped_file_source map_;
};

}  // namespace

std::shared_ptr<const ByteSource> map_file(const std::string& path) {
  return std::make_shared<MappedSource>(open_for_reading(path), path);
}

std::shared_ptr<const ByteSource> map_descriptor(int descriptor, const std::string& path) {
  return std::make_shared<MappedSource>(Descriptor(descriptor), path);
}

}  // namespace platter
