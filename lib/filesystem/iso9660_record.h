// Directory records of ISO 9660 and High Sierra volumes, and the directories they stand in.
#pragma once

#include <array>
#include <cstdint>
#include <span>
#include <string>
#include <vector>

#include "core/view.h"
#include "filesystem/iso9660_structures.h"

namespace platter::filesystem::iso9660 {

/// The two forms of directory records and path tables.
enum class Dialect : std::uint8_t { ecma119, high_sierra };

/// A directory record, decoded. The spans point into the bytes that it was parsed from.
struct ParsedRecord {
  std::uint64_t place = 0;   ///< byte in the view
  std::uint64_t extent = 0;  ///< logical block, attribute record included
  std::uint64_t bytes = 0;
  std::uint64_t attribute_blocks = 0;
  std::uint64_t flags = 0;
  std::uint64_t unit_blocks = 0;
  std::uint64_t gap_blocks = 0;
  std::uint64_t sequence_number = 0;
  std::span<const std::byte> all;
  std::span<const std::byte> recorded;  ///< 7 bytes, 6 in a High Sierra volume
  std::span<const std::byte> identifier;
  std::span<const std::byte> system_use;

  [[nodiscard]] bool is_directory() const noexcept { return (flags & kDirectoryFlag) != 0; }
  [[nodiscard]] bool is_associated() const noexcept { return (flags & kAssociatedFlag) != 0; }
  [[nodiscard]] bool goes_on() const noexcept { return (flags & kMoreExtentsFlag) != 0; }
  /// The first record of a directory, which stands for the directory itself.
  [[nodiscard]] bool is_self() const noexcept {
    return identifier.size() == 1 && identifier[0] == std::byte{0};
  }
  /// The second one, which stands for the directory above.
  [[nodiscard]] bool is_parent() const noexcept {
    return identifier.size() == 1 && identifier[0] == std::byte{1};
  }
  [[nodiscard]] bool same_file(const ParsedRecord& other) const noexcept;
};

enum class RecordState : std::uint8_t {
  good,
  none,       ///< length 0: no more records in this sector
  too_short,  ///< the length has no room for the record's own fields
  too_long,   ///< the record reaches past the bytes that are its own
};

/// Whether the two halves of the place, length or volume number of a record differ.
[[nodiscard]] bool halves_differ(Dialect dialect, const ParsedRecord& record) noexcept;

/// Decodes the record at the start of `bytes`, which end where the record has to end at the latest.
/// \param place where `bytes` begin, in the view
[[nodiscard]] RecordState parse_record(Dialect dialect, std::span<const std::byte> bytes,
                                       std::uint64_t place, ParsedRecord& record);

/// A record read on its own, with the bytes that it is decoded from.
class SingleRecord {
 public:
  static constexpr std::size_t kMostBytes = 256;  ///< its length has one byte

  SingleRecord() = default;
  SingleRecord(const SingleRecord&) = delete;
  SingleRecord& operator=(const SingleRecord&) = delete;
  ~SingleRecord() = default;

  /// Reads the record at a byte of the view; false when none can stand there.
  bool read(const View& view, Dialect dialect, std::uint64_t place);
  /// Keeps a copy of a record.
  void keep(Dialect dialect, const ParsedRecord& record);
  /// Whether it is what every directory begins with.
  [[nodiscard]] bool begins_directory() const noexcept {
    return record_.is_self() && record_.is_directory();
  }
  [[nodiscard]] const ParsedRecord& get() const noexcept { return record_; }

 private:
  std::array<std::byte, kMostBytes> bytes_{};
  ParsedRecord record_;
};

/// Reads the records of one directory in the order of the disk.
///
/// Two directories never share a sector: the reading ends where another one begins. However hostile
/// an image is, all its directories together are therefore no longer than the image.
class DirectoryReader {
 public:
  enum class Step : std::uint8_t {
    record,
    broken,  ///< something that is no record; words() says what, place() where
    end,
  };
  static constexpr std::size_t kChunk = std::size_t{64} * 1024;

  /// \param place  byte of the directory in the view
  /// \param bytes  its stated length
  /// \param buffer what to read into; reused by the caller
  /// \param read   bytes of the directory that stand in the buffer already, whole sectors
  DirectoryReader(const View& view, Dialect dialect, std::uint64_t place, std::uint64_t bytes,
                  std::vector<std::byte>& buffer, std::size_t read = 0);

  /// The next record, without going past it. It is valid until the next call of peek().
  Step peek(ParsedRecord& record);
  /// Goes past the record that peek() gave.
  void advance() noexcept { at_ += length_; }
  Step next(ParsedRecord& record) {
    const Step step = peek(record);
    if (step == Step::record) advance();
    return step;
  }

  [[nodiscard]] const std::string& words() const noexcept { return words_; }
  /// Byte in the view.
  [[nodiscard]] std::uint64_t place() const noexcept { return place_ + at_; }

 private:
  bool fill();
  Step skip_sector(std::string words);

  View view_;
  Dialect dialect_;
  std::uint64_t place_;
  std::uint64_t bytes_;  // that are there
  std::vector<std::byte>& buffer_;
  bool cut_;                    // the image ends before the directory does
  std::uint64_t at_ = 0;        // of the next record, in the directory
  std::uint64_t chunk_at_ = 0;  // of the buffer
  std::size_t chunk_bytes_;
  std::uint64_t length_ = 0;  // of the record that peek() gave
  std::uint64_t broken_at_ = kLargest;
  std::string words_;
};

}  // namespace platter::filesystem::iso9660
