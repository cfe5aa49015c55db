#include "label/gpt_table.h"

#include <algorithm>
#include <array>

#include <fmt/format.h>

#include "core/crc32.h"

namespace platter::label {
namespace {

// Without a CRC that speaks for more, the usual number of entries is looked at.
constexpr std::uint64_t kUsualEntries = 128;
// Longer tables are not read: no disk has so many slices.
constexpr std::uint64_t kMostArrayBytes = std::uint64_t{1} << 20U;

std::uint32_t header_crc_of(const View& view, std::uint64_t place, std::uint64_t length) {
  std::vector<std::byte> data = view.read_vector(place, length);
  if (data.size() < length) return 0;
  constexpr std::size_t kCrc = FieldReader<kGptHeader>::offset_of<"header_crc">();
  std::fill_n(data.begin() + kCrc, 4, std::byte{0});
  return crc32(data);
}

void judge_header(GptTable& table, const View& view) {
  const auto& header = table.header;
  const std::uint64_t length = header.get<"header_bytes">();
  if (length < kGptHeader.bytes || length > table.lba_bytes || !header.complete()) return;
  table.header_crc = header_crc_of(view, table.byte_of(table.lba), length);
  table.header_good =
      table.header_crc == header.get<"header_crc">() && header.get<"my_lba">() == table.lba;
}

void read_array(GptTable& table, const View& view) {
  const std::uint64_t stated = table.header.get<"entry_bytes">();
  if (!is_power_of_two_in(stated, kGptEntry.bytes, 4096)) return;
  table.entry_bytes = stated;
  const std::uint64_t start = table.byte_of(table.header.get<"entries_lba">());
  const std::uint64_t all = saturating_mul(table.header.get<"entries">(), stated);
  table.array_start = saturating_add(view.start(), start);
  table.array = view.read_vector(start, std::min(all, kMostArrayBytes));
  table.array_whole = all != 0 && table.array.size() == all;
  if (table.array_whole) {
    table.array_crc = crc32(table.array);
    table.array_good = table.array_crc == table.header.get<"entries_crc">();
  }
  if (!table.array_good && table.entries() > kUsualEntries) {
    table.array.resize(kUsualEntries * stated);
  }
}

}  // namespace

bool GptTable::plausible() const noexcept {
  const std::uint64_t length = header.get<"header_bytes">();
  return header.complete() && length >= kGptHeader.bytes && length <= lba_bytes &&
         header.get<"my_lba">() == lba && entry_bytes != 0 &&
         header.get<"first_usable">() <= header.get<"last_usable">() &&
         header.get<"entries_lba">() != lba;
}

std::optional<GptTable> read_gpt_table(const View& view, std::uint64_t lba_bytes,
                                       std::uint64_t lba) {
  const std::uint64_t place = saturating_mul(lba, lba_bytes);
  if (!view.holds(place, kGptSignature)) return std::nullopt;
  GptTable table;
  table.header = view.record<kGptHeader>(place, ByteOrder::little);
  table.lba = lba;
  table.lba_bytes = lba_bytes;
  judge_header(table, view);
  read_array(table, view);
  return table;
}

std::string guid_text(std::span<const std::byte> guid) {
  constexpr std::array<std::size_t, 16> kOrder = {3, 2, 1,  0,  5,  4,  7,  6,
                                                  8, 9, 10, 11, 12, 13, 14, 15};
  std::string result;
  for (std::size_t i = 0; i < kOrder.size() && i < guid.size(); ++i) {
    if (i == 4 || i == 6 || i == 8 || i == 10) result += '-';
    result += fmt::format("{:02X}", std::to_integer<unsigned>(guid[kOrder[i]]));
  }
  return result;
}

}  // namespace platter::label
