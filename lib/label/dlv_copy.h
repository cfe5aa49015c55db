// One copy of a dlV label, read and judged.
#pragma once

#include <cstdint>
#include <optional>
#include <string_view>
#include <vector>

#include "core/record.h"
#include "core/view.h"
#include "label/dlv_label.h"

namespace platter::label {

struct DlvCopy {
  std::uint64_t start = 0;       ///< image bytes
  std::vector<std::byte> bytes;  ///< 560 or 7240, by version; zeros where the image ends before
  std::size_t present = 0;
  std::uint16_t stored = 0;
  std::uint16_t computed = 0;
  std::string_view variant = {};  ///< which other way of summing alone gives the stored value
  bool good = false;              ///< all of it is there and a checksum holds

  [[nodiscard]] FieldReader<kDlvHead> head() const noexcept {
    return {bytes.data(), ByteOrder::big};
  }
  [[nodiscard]] bool is_short() const noexcept { return bytes.size() == kDlvShort.bytes; }
  [[nodiscard]] std::uint64_t checksum_place() const noexcept { return start + bytes.size() - 2; }
  /// Whether both say the same, wherever they stand.
  [[nodiscard]] bool says_the_same(const DlvCopy& other) const;
  [[nodiscard]] RecordData keep(std::string role) const;
};

/// Folded sum over a label of 560 or 7240 bytes with its block number and checksum left out.
[[nodiscard]] std::uint16_t dlv_checksum(std::span<const std::byte> label) noexcept;

/// The copy at `offset` of the view when a known version number stands there.
[[nodiscard]] std::optional<DlvCopy> read_dlv_copy(const View& view, std::uint64_t offset);

}  // namespace platter::label
