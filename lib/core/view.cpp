#include "core/view.h"

#include <algorithm>
#include <array>
#include <cstring>

namespace platter {

View View::sub(std::uint64_t offset, std::uint64_t bytes) const {
  View part = *this;
  const std::uint64_t skipped = std::min(offset, bytes_);
  part.start_ = saturating_add(start_, skipped);
  part.bytes_ = std::min(bytes, bytes_ - skipped);
  return part;
}

std::size_t View::read(std::uint64_t offset, std::span<std::byte> out) const {
  std::size_t present = 0;
  if (source_ && offset < bytes_) {
    const auto wanted =
        static_cast<std::size_t>(std::min<std::uint64_t>(out.size(), bytes_ - offset));
    const std::uint64_t at = saturating_add(start_, offset);
    if (at < source_->size()) present = source_->read(at, out.first(wanted));
  }
  std::ranges::fill(out.subspan(present), std::byte{0});
  return present;
}

std::span<const std::byte> View::in_place(std::uint64_t offset, std::size_t bytes) const {
  if (!source_ || !fits_within(offset, bytes, bytes_)) return {};
  return source_->in_place(saturating_add(start_, offset), bytes);
}

std::vector<std::byte> View::read_vector(std::uint64_t offset, std::uint64_t bytes) const {
  if (offset >= bytes_) return {};
  std::vector<std::byte> data(static_cast<std::size_t>(std::min(bytes, bytes_ - offset)));
  data.resize(read(offset, data));
  return data;
}

std::uint64_t View::number(std::uint64_t offset, unsigned width, ByteOrder order) const {
  std::array<std::byte, 8> raw{};
  const auto used = std::span(raw).first(width);
  read(offset, used);
  return decode_unsigned(used, order);
}

bool View::holds(std::uint64_t offset, std::string_view expected) const {
  std::array<std::byte, 64> raw{};
  if (expected.size() > raw.size()) return false;
  const auto used = std::span(raw).first(expected.size());
  return read(offset, used) == expected.size() &&
         std::memcmp(used.data(), expected.data(), expected.size()) == 0;
}

bool all_zero(const View& view, std::uint64_t offset, std::uint64_t bytes) {
  constexpr std::uint64_t kPiece = 16 * 1024;
  const std::uint64_t end = std::min(view.bytes(), saturating_add(offset, bytes));
  std::vector<std::byte> piece(
      static_cast<std::size_t>(std::min(kPiece, end - std::min(offset, end))));
  for (std::uint64_t at = offset; at < end; at += piece.size()) {
    const auto wanted = static_cast<std::size_t>(std::min<std::uint64_t>(piece.size(), end - at));
    view.read(at, std::span(piece).first(wanted));  // what is not there any more reads as zero
    const auto rest = piece.begin() + static_cast<std::ptrdiff_t>(wanted);
    if (std::any_of(piece.begin(), rest, [](std::byte b) { return b != std::byte{0}; }))
      return false;
  }
  return true;
}

std::string unpadded_text(std::span<const std::byte> data) {
  std::string result(reinterpret_cast<const char*>(data.data()), data.size());
  result.resize(std::min(result.find('\0'), result.size()));
  const auto last = result.find_last_not_of(' ');
  result.resize(last == std::string::npos ? 0 : last + 1);
  return result;
}

}  // namespace platter
