// One copy of a GUID partition table, read and judged.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "core/record.h"
#include "core/view.h"
#include "label/gpt_label.h"

namespace platter::label {

struct GptTable {
  Record<kGptHeader> header{ByteOrder::little};
  std::uint64_t lba = 0;          ///< where the header was read
  std::uint64_t lba_bytes = 0;    ///< bytes per logical block
  std::uint32_t header_crc = 0;   ///< computed
  bool header_good = false;       ///< length in bounds, CRC right, and it stands where it says
  std::uint64_t entry_bytes = 0;  ///< 0 when the stated length cannot be
  std::uint64_t array_start = 0;  ///< image bytes
  std::vector<std::byte> array;   ///< the entries that are looked at
  std::uint32_t array_crc = 0;    ///< computed; only when all entries were there
  bool array_whole = false;       ///< all entries were there and are few enough to be looked at
  bool array_good = false;

  [[nodiscard]] bool good() const noexcept { return header_good && array_good; }
  /// Whether the fields make sense together, whatever the sums say.
  [[nodiscard]] bool plausible() const noexcept;
  [[nodiscard]] std::uint64_t entries() const noexcept {
    return entry_bytes == 0 ? 0 : array.size() / entry_bytes;
  }
  [[nodiscard]] FieldReader<kGptEntry> entry(std::uint64_t index) const noexcept {
    return {array.data() + index * entry_bytes, ByteOrder::little};
  }
  [[nodiscard]] std::uint64_t entry_place(std::uint64_t index) const noexcept {
    return array_start + index * entry_bytes;
  }
  [[nodiscard]] std::uint64_t byte_of(std::uint64_t block) const noexcept {
    return saturating_mul(block, lba_bytes);
  }
};

/// The copy whose header stands at block `lba`, when the signature is there.
[[nodiscard]] std::optional<GptTable> read_gpt_table(const View& view, std::uint64_t lba_bytes,
                                                     std::uint64_t lba);

/// "C12A7328-F81F-11D2-BA4B-00A0C93EC93B": the first three fields are little-endian on the disk,
/// the last two are in order (UEFI Specification, appendix "GUID and Time Formats").
[[nodiscard]] std::string guid_text(std::span<const std::byte> guid);

}  // namespace platter::label
