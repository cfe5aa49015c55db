#include "label/dlv_copy.h"

#include <algorithm>

#include "core/checksum.h"

namespace platter::label {
namespace {

constexpr std::size_t kBlockAt = FieldReader<kDlvHead>::offset_of<"block">();
constexpr std::size_t kBlockEnd = kBlockAt + 4;

// The words before the checksum, without the block number: the copies then carry one sum.
std::uint32_t plain_sum(std::span<const std::byte> label) noexcept {
  return sum_of_words16(label.first(kBlockAt), ByteOrder::big) +
         sum_of_words16(label.subspan(kBlockEnd, label.size() - 2 - kBlockEnd), ByteOrder::big);
}

std::uint16_t fold(std::uint32_t sum) noexcept {
  std::uint32_t folded = (sum & 0xFFFFU) + (sum >> 16U);
  if (folded > 0xFFFFU) folded -= 0xFFFFU;
  return static_cast<std::uint16_t>(folded);
}

// Other code sums a little differently: with the block number left in, with the carry of the fold
// lost, or without the last word before the checksum (fact sheet; NetBSD and Darwin sources).
std::string_view variant_of(std::span<const std::byte> label, std::uint16_t stored) noexcept {
  const std::uint32_t sum = plain_sum(label);
  const std::uint32_t with_block = sum + sum_of_words16(label.subspan(kBlockAt, 4), ByteOrder::big);
  const auto masked = [](std::uint32_t value) {
    return static_cast<std::uint16_t>((value + (value >> 16U)) & 0xFFFFU);
  };
  const std::uint32_t short_sum =
      sum - sum_of_words16(label.subspan(label.size() - 4, 2), ByteOrder::big);
  if (stored == fold(with_block) || stored == masked(with_block)) return "block number included";
  if (stored == masked(sum)) return "carry lost";
  if (stored == fold(short_sum)) return "last word left out";
  return {};
}

}  // namespace

std::uint16_t dlv_checksum(std::span<const std::byte> label) noexcept {
  return fold(plain_sum(label));
}

bool DlvCopy::says_the_same(const DlvCopy& other) const {
  if (bytes.size() != other.bytes.size()) return false;
  // The block number differs by purpose, and with it the sum of those who include it.
  const auto tail = [](const DlvCopy& copy) {
    return std::span(copy.bytes).subspan(kBlockEnd, copy.bytes.size() - 2 - kBlockEnd);
  };
  return std::ranges::equal(std::span(bytes).first(kBlockAt),
                            std::span(other.bytes).first(kBlockAt)) &&
         std::ranges::equal(tail(*this), tail(other));
}

RecordData DlvCopy::keep(std::string role) const {
  return {is_short() ? &kDlvShort : &kDlvLong, ByteOrder::big, start,
          static_cast<std::uint32_t>(present), bytes,          std::move(role)};
}

std::optional<DlvCopy> read_dlv_copy(const View& view, std::uint64_t offset) {
  const std::uint64_t version = view.number(offset, 4, ByteOrder::big);
  if (name_of(kDlvVersions, version).empty()) return std::nullopt;
  DlvCopy copy;
  copy.start = saturating_add(view.start(), offset);
  copy.bytes.resize(version == kDlv3 ? kDlvShort.bytes : kDlvLong.bytes);
  copy.present = view.read(offset, copy.bytes);
  const std::span<const std::byte> label(copy.bytes);
  copy.stored = static_cast<std::uint16_t>(decode_unsigned(label.last(2), ByteOrder::big));
  copy.computed = dlv_checksum(label);
  if (copy.stored != copy.computed) copy.variant = variant_of(label, copy.stored);
  copy.good =
      copy.present == copy.bytes.size() && (copy.stored == copy.computed || !copy.variant.empty());
  return copy;
}

}  // namespace platter::label
