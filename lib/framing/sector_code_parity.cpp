// The P and Q words of the Reed-Solomon product code: ECMA-130 annex A.
//
// Bytes 12-2247 are 26 rows of 43 words of 16 bits; the even and the odd bytes are codes of their
// own, so a row is simply 86 symbols side by side. A P word is a column. The Q word of diagonal n
// takes row (m+n) mod 26 in column m, so the symbols m of all 26 diagonals are column m turned up
// by m rows. Both codes weigh symbol i of N with alpha^(N-1-i), which is a Horner sum: double what
// there is, add the next symbol. Doubling is done for many symbols at once.
#include <bit>
#include <cstring>

#include "framing/sector_code.h"

namespace platter::sector_code {
namespace {

constexpr std::size_t area_start = 12;
constexpr std::size_t row_bytes = 86;
constexpr std::size_t row_count = 26;
constexpr std::size_t column_count = 43;
constexpr std::size_t q_first_parity = 2248;
constexpr std::size_t q_second_parity = 2300;
constexpr std::size_t header_bytes = 4;

// Eight symbols of GF(2^8) in one integer, each multiplied by alpha = 2 modulo 0x11D.
std::uint64_t double_symbols(std::uint64_t symbols) noexcept {
  const std::uint64_t carries = symbols & 0x8080808080808080ULL;
  // 0xFF where the symbol had a carry: (carry << 1) - (carry >> 7), byte by byte.
  const std::uint64_t carry_masks = (carries << 1) - (carries >> 7);
  return ((symbols ^ carries) << 1) ^ (carry_masks & 0x1D1D1D1D1D1D1D1DULL);
}

// `Lanes` times eight code words at once.
template <std::size_t Lanes>
struct HornerSums {
  std::array<std::uint64_t, Lanes> sum{};
  std::array<std::uint64_t, Lanes> weighted{};

  void add(const std::array<std::uint64_t, Lanes>& symbols) noexcept {
    for (std::size_t lane = 0; lane < Lanes; ++lane) {
      sum[lane] ^= symbols[lane];
      weighted[lane] = double_symbols(weighted[lane]) ^ symbols[lane];
    }
  }
};

// Even numbers of lanes, so that compilers pair them in vectors without being asked to.
constexpr std::size_t p_lanes = 12;  // 96 bytes for 86 symbols
constexpr std::size_t q_lanes = 8;   // 64 bytes for 52 symbols

using PSums = HornerSums<p_lanes>;
using QSums = HornerSums<q_lanes>;

// `Count` symbols, zeros behind them. The last lane that is not full is read so that it ends with
// the symbols, then moved up: a copy byte by byte would be far slower.
template <std::size_t Lanes, std::size_t Count>
std::array<std::uint64_t, Lanes> load_symbols(const std::uint8_t* symbols) noexcept {
  constexpr std::size_t full_lanes = Count / 8;
  constexpr std::size_t unwanted_bits = 8 * (8 - Count % 8);
  static_assert(full_lanes < Lanes && Count % 8 != 0);
  std::array<std::uint64_t, Lanes> lanes{};
  std::memcpy(lanes.data(), symbols, 8 * full_lanes);
  std::uint64_t last = 0;
  std::memcpy(&last, symbols + Count - 8, 8);
  lanes[full_lanes] =
      std::endian::native == std::endian::little ? last >> unwanted_bits : last << unwanted_bits;
  return lanes;
}

// The first row as the code sees it.
std::array<std::uint8_t, row_bytes> first_row(const std::uint8_t* frame,
                                              bool header_as_zero) noexcept {
  std::array<std::uint8_t, row_bytes> row{};
  std::memcpy(row.data(), frame + area_start, row_bytes);
  if (header_as_zero) {
    std::memset(row.data(), 0, header_bytes);
  }
  return row;
}

// Horner sums of the first `rows` rows over all P words.
PSums sum_rows(const std::uint8_t* frame, bool header_as_zero, std::size_t rows) noexcept {
  PSums sums;
  const auto first = first_row(frame, header_as_zero);
  sums.add(load_symbols<p_lanes, row_bytes>(first.data()));
  for (std::size_t row = 1; row < rows; ++row) {
    sums.add(load_symbols<p_lanes, row_bytes>(frame + area_start + row * row_bytes));
  }
  return sums;
}

// Column m turned up by m rows, so that symbol m of all diagonals stands side by side. Words of
// zero fill the last lanes.
using TurnedColumn = std::array<std::uint16_t, q_lanes * 4>;

// Horner sums of the 43 data symbols over all Q words.
QSums sum_diagonals(const std::uint8_t* frame, bool header_as_zero) noexcept {
  // The rows twice, so that a column can be read from any row on without a wrap.
  constexpr std::size_t rows_bytes = row_count * row_bytes;
  std::array<std::uint8_t, 2 * rows_bytes> rows{};
  for (std::uint8_t* const copy : {rows.data(), rows.data() + rows_bytes}) {
    std::memcpy(copy, frame + area_start, rows_bytes);
    if (header_as_zero) std::memset(copy, 0, header_bytes);
  }
  // All columns first, then all sums: reading a lane right after writing its four words stalls.
  std::array<TurnedColumn, column_count> columns{};
  for (std::size_t column = 0; column < column_count; ++column) {
    const std::uint8_t* const top = rows.data() + column % row_count * row_bytes + 2 * column;
    for (std::size_t row = 0; row < row_count; ++row) {
      std::memcpy(&columns[column][row], top + row * row_bytes, 2);
    }
  }
  QSums sums;
  for (const TurnedColumn& turned : columns) {
    sums.add(std::bit_cast<std::array<std::uint64_t, q_lanes>>(turned));
  }
  return sums;
}

PSums p_syndromes(const std::uint8_t* frame, bool header_as_zero) noexcept {
  return sum_rows(frame, header_as_zero, row_count);
}

QSums q_syndromes(const std::uint8_t* frame, bool header_as_zero) noexcept {
  QSums sums = sum_diagonals(frame, header_as_zero);
  sums.add(load_symbols<q_lanes, q_word_count>(frame + q_first_parity));
  sums.add(load_symbols<q_lanes, q_word_count>(frame + q_second_parity));
  return sums;
}

// Bytes of `value` that are not zero.
unsigned count_nonzero_bytes(std::uint64_t value) noexcept {
  constexpr std::uint64_t low_seven = 0x7F7F7F7F7F7F7F7FULL;
  const std::uint64_t tops = ((value & low_seven) + low_seven) | value;
  return static_cast<unsigned>(std::popcount(tops & ~low_seven));
}

template <std::size_t Lanes>
std::uint8_t count_bad_words(const HornerSums<Lanes>& sums) noexcept {
  unsigned bad = 0;
  for (std::size_t lane = 0; lane < Lanes; ++lane) {
    bad += count_nonzero_bytes(sums.sum[lane] | sums.weighted[lane]);
  }
  return static_cast<std::uint8_t>(bad);
}

template <std::size_t Lanes, std::size_t Words>
void spread(const HornerSums<Lanes>& sums, std::array<Syndrome, Words>& words) noexcept {
  const auto sum = std::bit_cast<std::array<std::uint8_t, Lanes * 8>>(sums.sum);
  const auto weighted = std::bit_cast<std::array<std::uint8_t, Lanes * 8>>(sums.weighted);
  for (std::size_t word = 0; word < Words; ++word) {
    words[word] = Syndrome{sum[word], weighted[word]};
  }
}

// Division by alpha + 1 = 3: the multiplication read backwards.
constexpr std::array<std::uint8_t, 256> make_third_table() {
  std::array<std::uint8_t, 256> third{};
  for (unsigned value = 0; value < 256; ++value) {
    const unsigned twice = (value << 1) ^ ((value & 0x80U) != 0 ? 0x11DU : 0U);
    third[(twice ^ value) & 0xFFU] = static_cast<std::uint8_t>(value);
  }
  return third;
}

constexpr std::array<std::uint8_t, 256> third_of = make_third_table();

// Both parity symbols of each word. `sums` hold the data symbols only: two more doublings bring the
// weights up to those of the whole word, which makes the equations
//   first + second = sum,  alpha * first + second = alpha^2 * weighted.
template <std::size_t Lanes>
void write_parity_pair(HornerSums<Lanes> sums, std::size_t words, std::uint8_t* first,
                       std::uint8_t* second) noexcept {
  for (auto& weighted : sums.weighted) {
    weighted = double_symbols(double_symbols(weighted));
  }
  const auto sum = std::bit_cast<std::array<std::uint8_t, Lanes * 8>>(sums.sum);
  const auto weighted = std::bit_cast<std::array<std::uint8_t, Lanes * 8>>(sums.weighted);
  for (std::size_t word = 0; word < words; ++word) {
    first[word] = third_of[static_cast<std::size_t>(sum[word] ^ weighted[word])];
    second[word] = static_cast<std::uint8_t>(sum[word] ^ first[word]);
  }
}

}  // namespace

detail::ParityCount detail::count_bad_parity_portable(const std::uint8_t* frame,
                                                      bool header_as_zero) noexcept {
  return {count_bad_words(p_syndromes(frame, header_as_zero)),
          count_bad_words(q_syndromes(frame, header_as_zero))};
}

FrameSyndromes syndromes(FrameView frame, FrameKind kind) noexcept {
  const auto* const bytes = reinterpret_cast<const std::uint8_t*>(frame.data());
  const bool header_as_zero = kind == FrameKind::mode2_form1;
  FrameSyndromes result;
  spread(p_syndromes(bytes, header_as_zero), result.p);
  spread(q_syndromes(bytes, header_as_zero), result.q);
  return result;
}

void write_parity(MutableFrameView frame, FrameKind kind) noexcept {
  auto* const bytes = reinterpret_cast<std::uint8_t*>(frame.data());
  const bool header_as_zero = kind == FrameKind::mode2_form1;
  constexpr std::size_t p_data_rows = row_count - 2;
  std::uint8_t* const p_first = bytes + area_start + p_data_rows * row_bytes;
  write_parity_pair(sum_rows(bytes, header_as_zero, p_data_rows), p_word_count, p_first,
                    p_first + row_bytes);
  // Q covers P, so it comes second.
  write_parity_pair(sum_diagonals(bytes, header_as_zero), q_word_count, bytes + q_first_parity,
                    bytes + q_second_parity);
}

std::size_t p_symbol_offset(std::size_t word, std::size_t index) noexcept {
  return area_start + row_bytes * (index % row_count) + word % p_word_count;
}

std::size_t q_symbol_offset(std::size_t word, std::size_t index) noexcept {
  word %= q_word_count;
  index %= column_count + 2;
  if (index == column_count) {
    return q_first_parity + word;
  }
  if (index == column_count + 1) {
    return q_second_parity + word;
  }
  const std::size_t row = (index + word / 2) % row_count;
  return area_start + row_bytes * row + 2 * index + word % 2;
}

}  // namespace platter::sector_code
