// An owned file descriptor.
#pragma once

#include <string>
#include <utility>

namespace platter {

class Descriptor {
 public:
  Descriptor() = default;
  explicit Descriptor(int value) noexcept : value_(value) {}
  Descriptor(Descriptor&& other) noexcept : value_(std::exchange(other.value_, -1)) {}
  Descriptor& operator=(Descriptor&& other) noexcept {
    std::swap(value_, other.value_);
    return *this;
  }
  Descriptor(const Descriptor&) = delete;
  Descriptor& operator=(const Descriptor&) = delete;
  ~Descriptor();

  [[nodiscard]] int get() const noexcept { return value_; }
  [[nodiscard]] int release() noexcept { return std::exchange(value_, -1); }

 private:
  int value_ = -1;
};

/// Opens a file for reading. Throws IoError.
[[nodiscard]] Descriptor open_for_reading(const std::string& path);

/// A new file without a name in the directory for temporary files: it vanishes with the last
/// descriptor, whatever happens to the process. Throws IoError.
[[nodiscard]] Descriptor unnamed_temporary_file();

}  // namespace platter
