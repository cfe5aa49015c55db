// The card itself: a regular file or a block device that is read and written at given places.
#pragma once

#include <sys/types.h>

#include <cstddef>
#include <cstdint>
#include <memory>
#include <span>
#include <string>

#include "core/descriptor.h"
#include "core/source.h"

namespace platter::plan {

/// The system calls that move bytes. Tests put failures in their place; a call that fails returns
/// -1 and sets errno, as the system's do.
class CardCalls {
 public:
  CardCalls() = default;
  CardCalls(const CardCalls&) = delete;
  CardCalls& operator=(const CardCalls&) = delete;
  virtual ~CardCalls() = default;

  virtual ssize_t read_at(int descriptor, void* to, std::size_t count, off_t offset);
  virtual ssize_t write_at(int descriptor, const void* from, std::size_t count, off_t offset);
  virtual int sync(int descriptor);

  /// The system's own.
  [[nodiscard]] static CardCalls& real() noexcept;
};

struct CardAccess {
  bool write = false;
  bool create = false;             ///< make a regular file that does not exist yet
  std::uint64_t create_bytes = 0;  ///< its size
};

class Card {
 public:
  /// Opens a card. A block device is opened exclusively for writing, a file is locked against other
  /// runs of ours. Throws IoError: not there and not to be created, neither file nor block device,
  /// in use, not permitted.
  Card(const std::string& path, const CardAccess& access, CardCalls& calls = CardCalls::real());

  [[nodiscard]] const std::string& path() const noexcept { return path_; }
  [[nodiscard]] bool is_device() const noexcept { return is_device_; }
  /// How many bytes to move at once: a device that is read past the page cache wants much, and from
  /// page cache to page cache what was copied should still be in a core's own cache when it is
  /// used.
  [[nodiscard]] std::size_t chunk_bytes() const noexcept {
    return is_device_ ? kDeviceChunk : kFileChunk;
  }
  /// Bytes, asked from the system at each call: a card can be pulled or a file cut.
  [[nodiscard]] std::uint64_t size() const;

  /// Fills `out`; throws IoError when the card ends before that or cannot be read.
  void read(std::uint64_t offset, std::span<std::byte> out);
  /// As read(), past the page cache where the system allows it; call forget() first.
  void read_back(std::uint64_t offset, std::span<std::byte> out);
  /// Writes all of `bytes`. Throws IoError with the first byte that could not be written, and
  /// without writing anything when the card ends before the end of `bytes`.
  void write(std::uint64_t offset, std::span<const std::byte> bytes);
  /// Returns when everything written is on the medium.
  void sync();
  /// Lets the system forget what it has cached of a run, so that it is read from the medium again.
  void forget(std::uint64_t offset, std::uint64_t bytes);

 private:
  static constexpr std::size_t kDeviceChunk = std::size_t{1} << 20;
  static constexpr std::size_t kFileChunk = std::size_t{1} << 16;

  void open_existing(const CardAccess& access);
  void create_file(const CardAccess& access);
  void read_from(int descriptor, std::uint64_t offset, std::span<std::byte> out);
  [[noreturn]] void fail(std::uint64_t offset, std::uint64_t bytes, int error) const;

  std::string path_;
  CardCalls& calls_;
  Descriptor descriptor_;
  Descriptor direct_;  ///< past the page cache, devices only; -1 when that is not to be had
  std::uint64_t direct_unit_ = 0;
  bool is_device_ = false;
};

/// Memory that direct reads accept: starts at a multiple of 4096.
class AlignedBuffer {
 public:
  explicit AlignedBuffer(std::size_t bytes);
  [[nodiscard]] std::span<std::byte> first(std::size_t bytes) const noexcept {
    return {memory_.get(), bytes};
  }

 private:
  struct Free {
    void operator()(std::byte* memory) const noexcept;
  };
  std::unique_ptr<std::byte, Free> memory_;
};

}  // namespace platter::plan
