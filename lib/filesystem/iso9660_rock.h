// What Rock Ridge says about one directory record, read without taking memory for each record.
#pragma once

#include <algorithm>
#include <array>
#include <cstdint>
#include <cstring>
#include <optional>
#include <span>
#include <string>
#include <string_view>

#include "core/facts.h"
#include "core/view.h"
#include "filesystem/iso9660_record.h"
#include "filesystem/iso9660_susp.h"

namespace platter::filesystem::iso9660 {

/// Decodes recording times; files recorded together have equal ones, so the last is remembered.
class RecordingTimes {
 public:
  /// \param raw 7 bytes, or 6 without a zone, which are taken for UTC
  [[nodiscard]] std::optional<Timestamp> of(std::span<const std::byte> raw) noexcept {
    // Only ever compared. Put together from two loads that overlap: a processor waits for a number
    // that it has to load from bytes that were stored in pieces.
    std::array<std::byte, 8> stamp{};
    const std::size_t bytes = std::min<std::size_t>(raw.size(), kDate7.bytes);
    std::uint32_t low = 0;
    std::uint32_t high = 0;
    if (bytes >= sizeof low) {
      std::memcpy(&low, raw.data(), sizeof low);
      std::memcpy(&high, raw.data() + bytes - sizeof high, sizeof high);
    } else {
      std::memcpy(stamp.data(), raw.data(), bytes);
      std::memcpy(&low, stamp.data(), sizeof low);
    }
    const std::uint64_t key = std::uint64_t{low} << 32U | high;
    if (key != key_) decode(raw, key);
    return time_;
  }

 private:
  void decode(std::span<const std::byte> raw, std::uint64_t key) noexcept;

  std::uint64_t key_ = 0;  // no time is given when all bytes are zero
  std::optional<Timestamp> time_;
};

/// The times of a file.
struct RockTimes {
  std::optional<Timestamp> created, modified, accessed, changed;
};

/// The fields of one record. Meant to be reused: strings keep their memory.
struct RockFields {
  bool any = false;  ///< at least one Rock Ridge entry was there
  bool has_mode = false;
  bool has_name = false;
  bool has_link = false;
  bool has_times = false;
  bool relocated = false;  ///< RE: shown where its CL entry stands, not here
  std::uint32_t mode = 0;  ///< with the type
  std::uint32_t links = 0;
  std::uint32_t uid = 0;
  std::uint32_t gid = 0;
  std::optional<std::uint32_t> serial;
  std::optional<std::uint64_t> device;        ///< high << 32 | low
  std::optional<std::uint64_t> child;         ///< CL: block of the directory that belongs here
  std::optional<std::uint64_t> parent;        ///< PL: block of the directory above
  std::optional<std::uint64_t> filled;        ///< SF: size with holes filled
  std::optional<std::uint64_t> decompressed;  ///< ZF: size when decompressed
  RockTimes times;
  std::string_view name;     ///< "." and ".." where an entry says so; lives as the record does
  std::string target;        ///< of a symbolic link
  std::string_view trouble;  ///< what is wrong with the entries, or ""
  std::uint64_t trouble_place = 0;  ///< where, byte in the view

  std::string joined_name;  ///< what `name` looks at when it came in pieces

  RockFields() = default;
  RockFields(const RockFields&) = delete;
  RockFields& operator=(const RockFields&) = delete;
  ~RockFields() = default;
  void clear();
};

/// A continuation area that was read for a record.
struct ContinuationArea {
  std::uint64_t place = 0;  ///< byte in the view
  std::uint64_t bytes = 0;
};

/// Reads the system use entries of directory records. Ends on any content: at most
/// SystemUse::kMostAreas continuation areas are read for a record, none of them twice.
class RockReader {
 public:
  static constexpr std::size_t kLongestName = 255;
  static constexpr std::size_t kLongestLink = 4096;  ///< Linux linux/limits.h, PATH_MAX

  /// \param block_bytes  size of a logical block, at most a sector
  /// \param volume_bytes size that the volume claims
  RockReader(View view, std::uint64_t block_bytes, std::uint64_t volume_bytes)
      : view_(std::move(view)), block_bytes_(block_bytes), volume_bytes_(volume_bytes) {}

  /// \param record one whose bytes stay where they are during the call
  /// \param skip   bytes to skip at the start of its system use field; those of a record that
  /// begins
  ///               with an SP entry are found out
  void read(const ParsedRecord& record, std::uint64_t skip, RockFields& fields);

  /// The areas that the last read() followed.
  [[nodiscard]] std::span<const ContinuationArea> areas() const noexcept {
    return std::span(areas_).first(area_count_);
  }

 private:
  void walk(std::span<const std::byte> area, std::uint64_t place, RockFields& fields);
  void take(std::span<const std::byte> entry, std::uint64_t place, RockFields& fields);
  void take_name(std::span<const std::byte> entry, std::uint64_t place, RockFields& fields);
  void take_link(std::span<const std::byte> entry, std::uint64_t place, RockFields& fields);
  void take_times(std::span<const std::byte> entry, RockFields& fields);
  void decode_times(std::span<const std::byte> entry, RockTimes& times);
  void take_continuation(std::span<const std::byte> entry, std::uint64_t place, RockFields& fields);
  std::optional<std::span<const std::byte>> next_area(RockFields& fields, std::uint64_t& place);
  static void note(RockFields& fields, std::string_view words, std::uint64_t place);

  View view_;
  std::uint64_t block_bytes_;
  std::uint64_t volume_bytes_;
  std::array<RecordingTimes, 4> times_;  // created, modified, accessed, changed
  // The last TF entry that came first in its record, and what it says: neighbours often agree.
  std::array<std::byte, 64> times_entry_{};
  std::size_t times_entry_bytes_ = 0;
  RockTimes times_of_entry_;
  // Continuation areas of neighbours share blocks.
  std::array<std::byte, kSectorBytes> block_{};
  std::uint64_t block_place_ = kLargest;
  std::size_t block_present_ = 0;
  std::array<ContinuationArea, SystemUse::kMostAreas> areas_{};
  std::size_t area_count_ = 0;
  std::optional<ContinuationArea> next_;
  std::uint64_t next_entry_ = 0;
  bool stopped_ = false;            // an ST entry ends the area
  bool name_goes_on_ = false;       // in the next NM entry
  bool link_goes_on_ = false;       // in the next SL entry
  bool component_goes_on_ = false;  // no '/' in front of the next component
};

}  // namespace platter::filesystem::iso9660
