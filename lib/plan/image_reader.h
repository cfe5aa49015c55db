// An image as the copy reads it: straight from its file where it has one.
#pragma once

#include <sys/stat.h>

#include <atomic>
#include <cstdint>
#include <optional>
#include <span>
#include <string>

#include "core/source.h"
#include "plan/mapping.h"

namespace platter::plan {

class ImageReader {
 public:
  /// Both must outlive the reader; `path` is for messages.
  ImageReader(const ByteSource& image, const std::string& path);

  [[nodiscard]] std::uint64_t size() const noexcept { return size_; }
  [[nodiscard]] const std::string& path() const noexcept { return path_; }
  /// Fills `out` from `offset` on; what lies past the end of the image is zeros. Throws IoError.
  void read(std::uint64_t offset, std::span<std::byte> out) const;
  /// The same bytes, in the mapped image where there is one, else read into `buffer`, which must be
  /// as long as what is wanted. Mapped bytes may only be touched inside survives_bus_error() or
  /// handed to the system, which refuses them (EFAULT) when they are gone.
  [[nodiscard]] std::span<const std::byte> look(std::uint64_t offset,
                                                std::span<std::byte> buffer) const;
  /// As look(), for the first pass: brings mapped bytes in, so that others need not.
  [[nodiscard]] std::span<const std::byte> look_first(std::uint64_t offset,
                                                      std::span<std::byte> buffer) const;
  /// Lets go of mapped bytes in front of `offset`; the next look at them costs more.
  void let_go(std::uint64_t offset) const noexcept;
  /// Whether the bytes at `offset` are the same. Throws IoError.
  [[nodiscard]] bool same(std::uint64_t offset, std::span<const std::byte> looked_at,
                          std::span<const std::byte> other) const;
  /// Throws IoError: says why bytes that were looked at could not be touched.
  [[noreturn]] void fail(std::uint64_t offset, std::size_t bytes) const;
  /// Throws IoError when the file changed since this reader was made.
  void expect_unchanged() const;
  /// SHA-256 of the whole image. Stops early, with "", when `stop` says so. Throws IoError.
  /// \param done  how many bytes have gone into it so far
  [[nodiscard]] std::string digest(const std::atomic<bool>& stop,
                                   std::atomic<std::uint64_t>& done) const;

 private:
  void read_file(std::uint64_t offset, std::span<std::byte> out) const;

  const ByteSource& image_;
  const std::string& path_;
  std::uint64_t size_;
  struct stat at_first_ {};
  bool is_file_ = false;
  std::optional<Mapping> mapping_;
};

}  // namespace platter::plan
