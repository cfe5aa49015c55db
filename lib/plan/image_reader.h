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
  /// Both must outlive the reader; `path` is for messages. Mapping a file pays only for a digest.
  ImageReader(const ByteSource& image, const std::string& path, bool map);

  [[nodiscard]] std::uint64_t size() const noexcept { return size_; }
  [[nodiscard]] const std::string& path() const noexcept { return path_; }
  /// Fills `out` from `offset` on; what lies past the end of the image is zeros. Throws IoError.
  void read(std::uint64_t offset, std::span<std::byte> out) const;
  /// The same bytes, in the mapped image where there is one, else read into `buffer`, which must be
  /// as long as what is wanted. Mapped bytes may only be touched inside survives_bus_error() or
  /// handed to the system, which refuses them (EFAULT) when they are gone.
  [[nodiscard]] std::span<const std::byte> look(std::uint64_t offset,
                                                std::span<std::byte> buffer) const;
  /// Whether bytes that were looked at are these. Throws IoError when they are gone.
  [[nodiscard]] bool same(std::uint64_t offset, std::span<const std::byte> looked_at,
                          std::span<const std::byte> other) const;
  /// Brings a run of the mapped image in at once, which is cheaper than page by page, and spares it
  /// the thread of digest().
  void expect(std::uint64_t offset, std::size_t bytes) const noexcept;
  /// Gives back what lies in front of `offset`; the same thread should do it, for the same reason.
  void let_go(std::uint64_t offset) const noexcept;
  /// Throws IoError when the file changed since this reader was made.
  void expect_unchanged() const;
  /// SHA-256 of the whole image. Stops early, with "", when `stop` says so. Throws IoError.
  /// \param done  how many bytes have gone into it so far
  [[nodiscard]] std::string digest(const std::atomic<bool>& stop,
                                   std::atomic<std::uint64_t>& done) const;

 private:
  [[noreturn]] void fail(std::uint64_t offset, std::size_t bytes) const;
  void read_file(std::uint64_t offset, std::span<std::byte> out) const;
  [[nodiscard]] std::string digest_mapped(const std::atomic<bool>& stop,
                                          std::atomic<std::uint64_t>& done) const;
  [[nodiscard]] std::string digest_read(const std::atomic<bool>& stop) const;

  const ByteSource& image_;
  const std::string& path_;
  std::uint64_t size_;
  struct stat at_first_ {};
  bool is_file_ = false;
  std::optional<Mapping> mapping_;
};

}  // namespace platter::plan
