// Where bytes come from.
//
// A ByteSource is a read-only run of bytes with a size and no position of its own, so several
// readers can share one. It is the only thing in the library that may throw IoError.
#pragma once

#include <cstddef>
#include <cstdint>
#include <memory>
#include <span>
#include <stdexcept>
#include <string>
#include <vector>

namespace platter {

/// Something outside the image's content went wrong: the medium could not be read, a file shrank
/// under a mapping, a container is damaged. An image that merely ends early is no IoError.
class IoError : public std::runtime_error {
 public:
  /// \param path    what was read or written, as the person named it
  /// \param offset  first byte that could not be transferred, in that file's own bytes
  /// \param bytes   how many bytes are affected, 0 when unknown
  /// \param reason  the system's or the container reader's words
  IoError(std::string path, std::uint64_t offset, std::uint64_t bytes, std::string reason);

  [[nodiscard]] const std::string& path() const noexcept { return path_; }
  [[nodiscard]] std::uint64_t offset() const noexcept { return offset_; }
  [[nodiscard]] std::uint64_t bytes() const noexcept { return bytes_; }
  [[nodiscard]] const std::string& reason() const noexcept { return reason_; }

 private:
  std::string path_;
  std::uint64_t offset_;
  std::uint64_t bytes_;
  std::string reason_;
};

/// A read-only run of bytes. Implementations are safe to read from several threads.
class ByteSource {
 public:
  ByteSource() = default;
  ByteSource(const ByteSource&) = delete;
  ByteSource& operator=(const ByteSource&) = delete;
  virtual ~ByteSource() = default;

  /// Total bytes.
  [[nodiscard]] virtual std::uint64_t size() const noexcept = 0;

  /// Fills `out` from `offset` on. Returns how many bytes were there: fewer than asked for only
  /// when the source ends. Throws IoError when bytes that should be there cannot be read.
  virtual std::size_t read(std::uint64_t offset, std::span<std::byte> out) const = 0;

  /// The bytes [offset, offset + bytes) where they stand in memory, so that they need no copy.
  /// Empty when the source has none there, or not all of them; read() tells more then. They stay as
  /// long as the source. Bytes whose medium fails later turn to zeros, and lost_in_place() says so.
  [[nodiscard]] virtual std::span<const std::byte> in_place(std::uint64_t /*offset*/,
                                                            std::size_t /*bytes*/) const {
    return {};
  }
  /// Whether bytes that in_place() gave were lost since then. From then on it gives none.
  [[nodiscard]] virtual bool lost_in_place() const noexcept { return false; }

  /// A file descriptor whose bytes are this source's bytes at the same offsets, or -1. Lets the
  /// kernel move data without a detour; the descriptor stays owned by the source.
  [[nodiscard]] virtual int descriptor() const noexcept { return -1; }
};

/// Bytes in memory.
class MemorySource final : public ByteSource {
 public:
  explicit MemorySource(std::vector<std::byte> bytes) : bytes_(std::move(bytes)) {}
  [[nodiscard]] std::uint64_t size() const noexcept override { return bytes_.size(); }
  std::size_t read(std::uint64_t offset, std::span<std::byte> out) const override;

 private:
  std::vector<std::byte> bytes_;
};

/// A run of another source, as a source of its own; never reaches outside it.
[[nodiscard]] std::shared_ptr<const ByteSource> range_of(std::shared_ptr<const ByteSource> source,
                                                         std::uint64_t start, std::uint64_t bytes);

/// Maps a regular file for reading. A file that shrinks, or whose medium fails, while it is mapped
/// makes read() throw IoError; the process lives on. Throws IoError when it cannot be opened.
[[nodiscard]] std::shared_ptr<const ByteSource> map_file(const std::string& path);

/// As map_file, from a descriptor that the source takes over and closes; `path` is for messages.
[[nodiscard]] std::shared_ptr<const ByteSource> map_descriptor(int descriptor,
                                                               const std::string& path);

/// Opens a block or character device for positioned reads; its size is asked from the system.
/// A block that cannot be read makes read() throw IoError with the place of that block.
[[nodiscard]] std::shared_ptr<const ByteSource> open_device(const std::string& path);

}  // namespace platter
