// Changes images where something stands. An image is mostly zeros and file content; changes spread
// evenly would hardly ever meet a field. Half of what is done here are numbers that a field could
// hold and should not.
#include <algorithm>
#include <array>
#include <cstddef>
#include <cstdint>
#include <random>
#include <span>

extern "C" std::size_t LLVMFuzzerMutate(std::uint8_t* data, std::size_t size, std::size_t most);
extern "C" std::size_t LLVMFuzzerCustomMutator(std::uint8_t* data, std::size_t size,
                                               std::size_t most, unsigned seed);

namespace {

using Bytes = std::span<std::uint8_t>;

constexpr std::size_t kSmall = 64;    // such inputs are left to the engine
constexpr std::size_t kControls = 4;  // bytes at the end with choices of the targets
constexpr std::size_t kSearched = 65536;

class Mutation {
 public:
  Mutation(Bytes bytes, unsigned seed) : bytes_(bytes), random_(seed) {}

  void change() {
    if (below(16) == 0) {
      bytes_[bytes_.size() - 1 - below(kControls)] = static_cast<std::uint8_t>(below(256));
      return;
    }
    const std::size_t width = std::size_t{1} << below(4);
    const std::size_t at = place(width);
    switch (below(8)) {
      case 0:
        bytes_[at] ^= static_cast<std::uint8_t>(1U << below(8));
        break;
      case 1:
        copy(place(width), at, width);
        break;
      case 2:
        copy(place(32), at, 1 + below(96));
        break;
      case 3:
        copy(place(512), at / 512 * 512, 512);
        break;
      case 4:
        fill(at, 1 + below(64), static_cast<std::uint8_t>(below(2) * 255));
        break;
      default:
        put(at, width, number(get(at, width)));
        break;
    }
  }

  std::size_t below(std::size_t end) { return random_() % end; }

 private:
  // A place where something stands, mostly; at a multiple of the width, mostly.
  std::size_t place(std::size_t width) {
    std::size_t at = below(bytes_.size());
    if (below(8) != 0) {
      const std::size_t last = std::min(bytes_.size() - 1, at + kSearched);
      while (at < last && bytes_[at] == 0)
        ++at;
    }
    if (below(8) != 0) at = at / width * width;
    return std::min(at, bytes_.size() - std::min(bytes_.size(), width));
  }

  std::uint64_t number(std::uint64_t before) {
    const std::uint64_t size = bytes_.size();
    const std::array<std::uint64_t, 16> numbers = {
        0,          1,           ~std::uint64_t{0}, ~std::uint64_t{0} >> 1U,
        before + 1, before - 1,  before * 2,        before / 2,
        size,       size / 512,  size / 1024,       size / 2048,
        below(32),  below(4096), 1ULL << below(64), before ^ (1ULL << below(64))};
    return numbers[below(numbers.size())];
  }

  [[nodiscard]] std::uint64_t get(std::size_t at, std::size_t width) const {
    std::uint64_t value = 0;
    for (std::size_t i = 0; i < width; ++i)
      value = value << 8U | bytes_[at + i];
    return value;
  }
  void put(std::size_t at, std::size_t width, std::uint64_t value) {
    const bool little = below(2) == 0;
    for (std::size_t i = 0; i < width; ++i) {
      bytes_[at + (little ? i : width - 1 - i)] = static_cast<std::uint8_t>(value);
      value >>= 8U;
    }
  }
  void copy(std::size_t from, std::size_t to, std::size_t count) {
    count = std::min({count, bytes_.size() - from, bytes_.size() - to});
    std::copy_n(bytes_.begin() + static_cast<std::ptrdiff_t>(from), count,
                bytes_.begin() + static_cast<std::ptrdiff_t>(to));
  }
  void fill(std::size_t at, std::size_t count, std::uint8_t value) {
    count = std::min(count, bytes_.size() - at);
    std::fill_n(bytes_.begin() + static_cast<std::ptrdiff_t>(at), count, value);
  }

  Bytes bytes_;
  std::minstd_rand random_;
};

}  // namespace

std::size_t LLVMFuzzerCustomMutator(std::uint8_t* data, std::size_t size, std::size_t most,
                                    unsigned seed) {
  if (size < kSmall || seed % 8 == 0) return LLVMFuzzerMutate(data, size, most);
  Mutation mutation({data, size}, seed);
  const std::size_t changes = std::size_t{1} << mutation.below(4);
  for (std::size_t i = 0; i < changes; ++i)
    mutation.change();
  return size;
}
