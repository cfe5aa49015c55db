// Path tables of an ISO 9660 volume.
#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <span>
#include <string_view>

#include "core/claim.h"
#include "core/view.h"
#include "filesystem/iso9660_descriptors.h"
#include "filesystem/read_window.h"

namespace platter::filesystem::iso9660 {

/// Walks the records of one path table, at most 65535 of them: parents have 16-bit numbers.
class PathTable {
 public:
  enum class Step : std::uint8_t {
    record,  ///< a record was read
    end,     ///< the table ended where it should
    broken,  ///< no record can stand here: no identifier, or longer than the table
    absent,  ///< the image ends here
  };
  static constexpr std::uint64_t kMostRecords = 65535;

  /// \param place byte offset of the table in the view
  /// \param bytes length of the table
  /// \param order little for table L, big for table M
  PathTable(const View& view, std::uint64_t place, std::uint64_t bytes, ByteOrder order)
      : window_(view),
        start_(view.start()),
        end_(saturating_add(place, bytes)),
        next_(place),
        order_(order) {}

  Step next();

  /// The record that next() read, its number from 1 on, and its place in image bytes.
  [[nodiscard]] const Record<kPathRecord>& record() const noexcept { return record_; }
  [[nodiscard]] std::uint64_t number() const noexcept { return number_; }
  [[nodiscard]] std::span<const std::byte> identifier() const noexcept {
    return std::span(identifier_).first(record_.get<"identifier_length">());
  }
  /// Where the next record would stand, in image bytes.
  [[nodiscard]] std::uint64_t place() const noexcept { return saturating_add(start_, next_); }

 private:
  ReadWindow window_;
  std::uint64_t start_;  // of the view, in image bytes
  std::uint64_t end_;
  std::uint64_t next_;
  ByteOrder order_;
  std::uint64_t number_ = 0;
  Record<kPathRecord> record_;
  std::array<std::byte, 255> identifier_{};
};

/// Checks the path tables that a descriptor names: they lie in the volume, begin with the root,
/// have the length that the descriptor gives, and agree with one another.
/// Returns the number of directories; nothing when table L is not whole.
std::optional<std::uint64_t> check_path_tables(Claim& claim, const View& view,
                                               const VolumeDescriptor& descriptor,
                                               const TreeShape& shape);

}  // namespace platter::filesystem::iso9660
