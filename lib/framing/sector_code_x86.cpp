// The two costly loops of the sector code for x86-64 processors with carry-less multiplication and
// 256-bit integer vectors. Chosen at run time; the functions carry their own target attributes, so
// the file is compiled with the same flags as any other.
#include "framing/sector_code.h"

#if defined(__x86_64__) && (defined(__GNUC__) || defined(__clang__))
#define PLATTER_SECTOR_CODE_X86 1
#include <bit>
#include <cstring>

#include <immintrin.h>
#if __has_include(<sys/platform/x86.h>) && !defined(__clang__)  // for which it is no C++
#include <sys/platform/x86.h>
#endif
#endif

namespace platter::sector_code::detail {

#ifdef PLATTER_SECTOR_CODE_X86

namespace {

#define PLATTER_VECTOR_TARGET __attribute__((target("avx2,pclmul,popcnt")))
#define PLATTER_VECTOR_INLINE PLATTER_VECTOR_TARGET __attribute__((always_inline)) inline

constexpr std::size_t area_start = 12;
constexpr std::size_t row_bytes = 86;
constexpr std::size_t row_count = 26;
constexpr std::size_t column_count = 43;
constexpr std::size_t q_first_parity = 2248;
constexpr std::size_t q_second_parity = 2300;

// x^power modulo the EDC generator, as the upper half of a reflected 64-bit operand (bit 63 is
// x^0).
constexpr std::int64_t folding_factor(unsigned power) {
  std::uint32_t rest = 0x80000000U;
  for (unsigned step = 0; step < power; ++step) {
    rest = (rest >> 1) ^ ((rest & 1U) != 0 ? 0xD8018001U : 0U);
  }
  return static_cast<std::int64_t>(static_cast<std::uint64_t>(rest) << 32);
}

// Moves 128 bits on by a distance of `Bits`. The product of two reflected operands of 64 bits comes
// out one place short, which counts as one factor x: hence the "- 1". The low half stands earlier
// in the message and so 64 bits further off.
template <unsigned Bits>
PLATTER_VECTOR_INLINE __m128i fold(__m128i value, __m128i next) {
  constexpr std::int64_t low_factor = folding_factor(Bits + 64 - 1);
  constexpr std::int64_t high_factor = folding_factor(Bits - 1);
  const __m128i factors = _mm_set_epi64x(high_factor, low_factor);
  return _mm_xor_si128(_mm_xor_si128(_mm_clmulepi64_si128(value, factors, 0x00),
                                     _mm_clmulepi64_si128(value, factors, 0x11)),
                       next);
}

PLATTER_VECTOR_INLINE __m128i load_16(const std::uint8_t* bytes) {
  return _mm_loadu_si128(reinterpret_cast<const __m128i*>(bytes));
}

PLATTER_VECTOR_INLINE __m256i load_32(const std::uint8_t* bytes) {
  return _mm256_loadu_si256(reinterpret_cast<const __m256i*>(bytes));
}

PLATTER_VECTOR_INLINE void store_32(std::uint8_t* bytes, __m256i value) {
  _mm256_storeu_si256(reinterpret_cast<__m256i*>(bytes), value);
}

PLATTER_VECTOR_TARGET std::uint32_t edc_carry_less(const std::uint8_t* bytes, std::size_t count,
                                                   std::uint32_t start) noexcept {
  if (count < 64) {
    return edc_portable(bytes, count, start);
  }
  // The start value acts like bits added to the first four bytes.
  __m128i first = _mm_xor_si128(load_16(bytes), _mm_cvtsi32_si128(static_cast<int>(start)));
  __m128i second = load_16(bytes + 16);
  __m128i third = load_16(bytes + 32);
  __m128i fourth = load_16(bytes + 48);
  for (bytes += 64, count -= 64; count >= 64; bytes += 64, count -= 64) {
    first = fold<512>(first, load_16(bytes));
    second = fold<512>(second, load_16(bytes + 16));
    third = fold<512>(third, load_16(bytes + 32));
    fourth = fold<512>(fourth, load_16(bytes + 48));
  }
  __m128i all = fold<128>(first, second);
  all = fold<128>(all, third);
  all = fold<128>(all, fourth);
  for (; count >= 16; bytes += 16, count -= 16) {
    all = fold<128>(all, load_16(bytes));
  }
  // What is left is a message of 16 bytes with the same EDC; then the tail.
  std::array<std::uint8_t, 16> rest{};
  std::memcpy(rest.data(), &all, rest.size());
  return edc_portable(bytes, count, edc_portable(rest.data(), rest.size(), 0));
}

// 32 symbols of GF(2^8), each multiplied by alpha = 2 modulo 0x11D.
PLATTER_VECTOR_INLINE __m256i double_symbols(__m256i symbols) {
  const __m256i carry_masks = _mm256_cmpgt_epi8(_mm256_setzero_si256(), symbols);
  return _mm256_xor_si256(_mm256_add_epi8(symbols, symbols),
                          _mm256_and_si256(carry_masks, _mm256_set1_epi8(0x1D)));
}

// 32 code words at once: plain and weighted sum.
struct Sums {
  __m256i sum;
  __m256i weighted;
};

PLATTER_VECTOR_INLINE void add_symbols(Sums& sums, __m256i symbols) {
  sums.sum = _mm256_xor_si256(sums.sum, symbols);
  sums.weighted = _mm256_xor_si256(double_symbols(sums.weighted), symbols);
}

// One bit per word whose syndromes are not both zero.
PLATTER_VECTOR_INLINE std::uint32_t bad_words(const Sums& sums) {
  const __m256i both = _mm256_or_si256(sums.sum, sums.weighted);
  const __m256i sound = _mm256_cmpeq_epi8(both, _mm256_setzero_si256());
  return ~static_cast<std::uint32_t>(_mm256_movemask_epi8(sound));
}

// 86 words in three vectors: 0-31, 32-63 and, overlapping, 54-85.
PLATTER_VECTOR_INLINE std::uint8_t count_bad_p(const std::uint8_t* frame,
                                               const std::uint8_t* first_row) {
  __m256i symbols = load_32(first_row);
  Sums left{symbols, symbols};
  symbols = load_32(first_row + 32);
  Sums middle{symbols, symbols};
  symbols = load_32(first_row + 54);
  Sums right{symbols, symbols};
  for (std::size_t row = 1; row < row_count; ++row) {
    const std::uint8_t* const bytes = frame + area_start + row * row_bytes;
    add_symbols(left, load_32(bytes));
    add_symbols(middle, load_32(bytes + 32));
    add_symbols(right, load_32(bytes + 54));
  }
  const std::uint32_t bad_left = bad_words(left);
  const std::uint32_t bad_middle = bad_words(middle);
  const std::uint32_t bad_right = bad_words(right) >> 10;  // the overlap is counted once
  return static_cast<std::uint8_t>(std::popcount(bad_left) + std::popcount(bad_middle) +
                                   std::popcount(bad_right));
}

// Eight columns of eight rows of 16-bit words, in each half of the vectors: rows in, columns out.
PLATTER_VECTOR_INLINE void transpose_words(__m256i (&v)[8]) {
  const __m256i a0 = _mm256_unpacklo_epi16(v[0], v[1]);
  const __m256i a1 = _mm256_unpackhi_epi16(v[0], v[1]);
  const __m256i a2 = _mm256_unpacklo_epi16(v[2], v[3]);
  const __m256i a3 = _mm256_unpackhi_epi16(v[2], v[3]);
  const __m256i a4 = _mm256_unpacklo_epi16(v[4], v[5]);
  const __m256i a5 = _mm256_unpackhi_epi16(v[4], v[5]);
  const __m256i a6 = _mm256_unpacklo_epi16(v[6], v[7]);
  const __m256i a7 = _mm256_unpackhi_epi16(v[6], v[7]);
  const __m256i b0 = _mm256_unpacklo_epi32(a0, a2);
  const __m256i b1 = _mm256_unpackhi_epi32(a0, a2);
  const __m256i b2 = _mm256_unpacklo_epi32(a1, a3);
  const __m256i b3 = _mm256_unpackhi_epi32(a1, a3);
  const __m256i b4 = _mm256_unpacklo_epi32(a4, a6);
  const __m256i b5 = _mm256_unpackhi_epi32(a4, a6);
  const __m256i b6 = _mm256_unpacklo_epi32(a5, a7);
  const __m256i b7 = _mm256_unpackhi_epi32(a5, a7);
  v[0] = _mm256_unpacklo_epi64(b0, b4);
  v[1] = _mm256_unpackhi_epi64(b0, b4);
  v[2] = _mm256_unpacklo_epi64(b1, b5);
  v[3] = _mm256_unpackhi_epi64(b1, b5);
  v[4] = _mm256_unpacklo_epi64(b2, b6);
  v[5] = _mm256_unpackhi_epi64(b2, b6);
  v[6] = _mm256_unpacklo_epi64(b3, b7);
  v[7] = _mm256_unpackhi_epi64(b3, b7);
}

constexpr std::size_t column_stride = 128;
using Columns = std::array<std::uint8_t, column_count * column_stride>;

// Writes columns `first_column` to `first_column + 7`, each as its 26 rows twice in a row, so that
// 52 bytes from any row on are the column turned up by that many rows. Bytes 104 on are scrap.
PLATTER_VECTOR_INLINE void write_columns(const std::uint8_t* frame, const std::uint8_t* first_row,
                                         std::size_t first_column, Columns& columns) {
  const std::uint8_t* const top = frame + area_start + 2 * first_column;
  __m256i upper[8];  // rows 0-7 and 8-15
  __m256i lower[8];  // rows 16-23, then 24 and 25 and zeros
  for (std::size_t i = 0; i < 8; ++i) {
    const __m128i row = load_16(i == 0 ? first_row + 2 * first_column : top + i * row_bytes);
    upper[i] =
        _mm256_inserti128_si256(_mm256_castsi128_si256(row), load_16(top + (i + 8) * row_bytes), 1);
    const __m128i end = i < 2 ? load_16(top + (i + 24) * row_bytes) : _mm_setzero_si128();
    lower[i] = _mm256_inserti128_si256(_mm256_castsi128_si256(load_16(top + (i + 16) * row_bytes)),
                                       end, 1);
  }
  transpose_words(upper);
  transpose_words(lower);
  for (std::size_t i = 0; i < 8; ++i) {
    std::uint8_t* const column = columns.data() + (first_column + i) * column_stride;
    // In this order: each store covers the zeros that the one before left too far right.
    store_32(column, upper[i]);
    store_32(column + 32, lower[i]);
    store_32(column + 52, upper[i]);
    store_32(column + 84, lower[i]);
  }
}

// 52 words in two overlapping vectors: 0-31 and 20-51.
PLATTER_VECTOR_INLINE std::uint8_t count_bad_q(const std::uint8_t* frame, const Columns& columns) {
  __m256i symbols = load_32(columns.data());
  Sums left{symbols, symbols};
  symbols = load_32(columns.data() + 20);
  Sums right{symbols, symbols};
  for (std::size_t column = 1; column < column_count; ++column) {
    const std::size_t turn = column < row_count ? column : column - row_count;
    const std::uint8_t* const bytes = columns.data() + column * column_stride + 2 * turn;
    add_symbols(left, load_32(bytes));
    add_symbols(right, load_32(bytes + 20));
  }
  add_symbols(left, load_32(frame + q_first_parity));
  add_symbols(right, load_32(frame + q_first_parity + 20));
  add_symbols(left, load_32(frame + q_second_parity));
  add_symbols(right, load_32(frame + q_second_parity + 20));
  const std::uint32_t bad_left = bad_words(left);
  const std::uint32_t bad_right = bad_words(right) >> 12;  // the overlap is counted once
  return static_cast<std::uint8_t>(std::popcount(bad_left) + std::popcount(bad_right));
}

PLATTER_VECTOR_TARGET ParityCount count_bad_parity_vector(const std::uint8_t* frame,
                                                          bool header_as_zero) noexcept {
  const std::uint8_t* first_row = frame + area_start;
  std::array<std::uint8_t, row_bytes> row_without_header{};
  if (header_as_zero) {
    std::memcpy(row_without_header.data(), first_row, row_bytes);
    std::memset(row_without_header.data(), 0, 4);
    first_row = row_without_header.data();
  }
  alignas(64) Columns columns;
  for (std::size_t column = 0; column < 40; column += 8) {
    write_columns(frame, first_row, column, columns);
  }
  write_columns(frame, first_row, column_count - 8, columns);  // overlaps, so that no row is left
  const std::uint8_t p_bad = count_bad_p(frame, first_row);
  return {p_bad, count_bad_q(frame, columns)};
}

constexpr Kernel vector_kernel{edc_carry_less, count_bad_parity_vector};

}  // namespace

// What the C library found out about the processor when the program was loaded. The compiler's own
// way asks the processor again at every start, which a virtual machine answers slowly.
const Kernel* accelerated_kernel() noexcept {
#ifdef CPU_FEATURE_ACTIVE
  const bool available =
      CPU_FEATURE_ACTIVE(AVX2) && CPU_FEATURE_ACTIVE(PCLMULQDQ) && CPU_FEATURE_ACTIVE(POPCNT);
#else
  static const bool available = __builtin_cpu_supports("avx2") != 0 &&
                                __builtin_cpu_supports("pclmul") != 0 &&
                                __builtin_cpu_supports("popcnt") != 0;
#endif
  return available ? &vector_kernel : nullptr;
}

#else

const Kernel* accelerated_kernel() noexcept {
  return nullptr;
}

#endif

}  // namespace platter::sector_code::detail
