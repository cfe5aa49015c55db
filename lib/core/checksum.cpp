#include "core/checksum.h"

#include "core/record.h"

namespace platter {
namespace {

template <std::size_t Width, typename Step>
void for_each_word(std::span<const std::byte> data, ByteOrder order, Step step) {
  for (std::size_t at = 0; at + Width <= data.size(); at += Width) {
    step(decode_unsigned(data.subspan(at, Width), order));
  }
}

}  // namespace

std::uint16_t xor_of_words(std::span<const std::byte> data, ByteOrder order) noexcept {
  std::uint64_t value = 0;
  for_each_word<2>(data, order, [&](std::uint64_t word) { value ^= word; });
  return static_cast<std::uint16_t>(value);
}

std::uint32_t sum_of_words16(std::span<const std::byte> data, ByteOrder order) noexcept {
  std::uint64_t value = 0;
  for_each_word<2>(data, order, [&](std::uint64_t word) { value += word; });
  return static_cast<std::uint32_t>(value);
}

std::uint32_t sum_of_words32(std::span<const std::byte> data, ByteOrder order) noexcept {
  std::uint64_t value = 0;
  for_each_word<4>(data, order, [&](std::uint64_t word) { value += word; });
  return static_cast<std::uint32_t>(value);
}

}  // namespace platter
