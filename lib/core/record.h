// Bytes read through a structure table.
#pragma once

#include <array>
#include <bit>
#include <cstddef>
#include <cstdint>
#include <cstring>
#include <span>
#include <string>
#include <string_view>
#include <type_traits>
#include <vector>

#include "core/layout.h"

namespace platter {

namespace record_detail {

/// A number of sizeof(Word) bytes with one load: lists of files decode millions of them.
template <typename Word>
[[nodiscard]] inline std::uint64_t load(const std::byte* at, ByteOrder order) noexcept {
  Word word;
  std::memcpy(&word, at, sizeof word);
  if ((order == ByteOrder::little) == (std::endian::native == std::endian::little)) return word;
  if constexpr (sizeof(Word) == 2) return __builtin_bswap16(word);
  if constexpr (sizeof(Word) == 4) return __builtin_bswap32(word);
  return __builtin_bswap64(word);
}

}  // namespace record_detail

/// An unsigned number of data.size() bytes (at most 8) in the given order.
[[nodiscard]] constexpr std::uint64_t decode_unsigned(std::span<const std::byte> data,
                                                      ByteOrder order) noexcept {
  const std::size_t n = data.size();
  if (n == 1) return std::to_integer<std::uint64_t>(data[0]);
  if (!std::is_constant_evaluated() && order != ByteOrder::pdp) {
    if (n == 2) return record_detail::load<std::uint16_t>(data.data(), order);
    if (n == 4) return record_detail::load<std::uint32_t>(data.data(), order);
    if (n == 8) return record_detail::load<std::uint64_t>(data.data(), order);
  }
  std::uint64_t value = 0;
  for (std::size_t i = 0; i < n; ++i) {
    std::size_t at = i;  // big-endian: most significant byte first
    if (order == ByteOrder::little) {
      at = n - 1 - i;
    } else if (order == ByteOrder::pdp && n >= 2) {
      at = i ^ 1U;  // each 16-bit word little-endian, words in big-endian order
    }
    value = value << 8U | std::to_integer<std::uint64_t>(data[at]);
  }
  return value;
}

/// The inverse of decode_unsigned.
constexpr void encode_unsigned(std::span<std::byte> data, std::uint64_t value,
                               ByteOrder order) noexcept {
  const std::size_t n = data.size();
  for (std::size_t i = 0; i < n; ++i) {
    std::size_t at = n - 1 - i;
    if (order == ByteOrder::little) {
      at = i;
    } else if (order == ByteOrder::pdp && n >= 2) {
      at = (n - 1 - i) ^ 1U;
    }
    data[at] = static_cast<std::byte>(value & 0xFFU);
    value >>= 8U;
  }
}

/// A two's complement number of `width` bytes widened to 64 bits.
[[nodiscard]] constexpr std::int64_t sign_extend(std::uint64_t value,
                                                 std::uint32_t width) noexcept {
  const unsigned shift = 64U - 8U * width;
  return static_cast<std::int64_t>(value << shift) >> shift;
}

/// Text without its padding: cut at the first NUL, then trailing blanks removed. Bytes are kept as
/// they are; decoding and escaping is the report's business.
[[nodiscard]] std::string unpadded_text(std::span<const std::byte> data);

/// Reads fields of a structure from bytes that somebody else owns.
template <const Structure& S>
class FieldReader {
 public:
  /// \param data at least S.bytes bytes
  constexpr FieldReader(const std::byte* data, ByteOrder order) noexcept
      : data_(data), order_(order) {}

  [[nodiscard]] constexpr ByteOrder order() const noexcept { return order_; }

  /// The value of a number: std::uint64_t, or std::int64_t for signed fields. A both-endian field
  /// gives its little-endian half. `index` picks an element of an array.
  template <FieldName N>
  [[nodiscard]] constexpr auto get(std::size_t index = 0) const noexcept {
    constexpr const Field& field = find<N>();
    if constexpr (field.kind == FieldKind::both_endian) {
      return decode_unsigned(element(field, index).first(field.width / 2), ByteOrder::little);
    } else if constexpr (field.kind == FieldKind::signed_integer) {
      return sign_extend(decode_unsigned(element(field, index), order_for(field)), field.width);
    } else {
      static_assert(field.kind == FieldKind::unsigned_integer, "not a number; use text() or raw()");
      return decode_unsigned(element(field, index), order_for(field));
    }
  }

  /// The big-endian half of a both-endian field.
  template <FieldName N>
  [[nodiscard]] constexpr std::uint64_t big_half() const noexcept {
    constexpr const Field& field = find<N>();
    static_assert(field.kind == FieldKind::both_endian);
    return decode_unsigned(element(field, 0).last(field.width / 2), ByteOrder::big);
  }

  /// Text without padding; the bytes are as on disk.
  template <FieldName N>
  [[nodiscard]] std::string text(std::size_t index = 0) const {
    constexpr const Field& field = find<N>();
    static_assert(field.kind == FieldKind::text || field.kind == FieldKind::bytes);
    return unpadded_text(element(field, index));
  }

  /// The bytes of a field, all elements.
  template <FieldName N>
  [[nodiscard]] constexpr std::span<const std::byte> raw() const noexcept {
    constexpr const Field& field = find<N>();
    return {data_ + field.offset, field.bytes()};
  }

  /// The index-th record of a `records` field.
  template <FieldName N>
  [[nodiscard]] constexpr auto sub(std::size_t index = 0) const noexcept {
    constexpr const Field& field = find<N>();
    static_assert(field.kind == FieldKind::records);
    return FieldReader<*field.record>(element(field, index).data(), order_for(field));
  }

  /// Byte offset of a field's element within the structure; for findings.
  template <FieldName N>
  [[nodiscard]] static constexpr std::uint32_t offset_of(std::uint32_t index = 0) noexcept {
    constexpr const Field& field = find<N>();
    return field.offset + index * field.width;
  }
  template <FieldName N>
  [[nodiscard]] static constexpr std::uint32_t count_of() noexcept {
    constexpr const Field& field = find<N>();
    return field.count;
  }

  [[nodiscard]] constexpr std::span<const std::byte> all() const noexcept {
    return {data_, S.bytes};
  }

 private:
  template <FieldName N>
  static consteval const Field& find() {
    constexpr std::size_t index = S.index_of(N.view());
    static_assert(index < S.field_count, "the structure has no field of this name");
    return S.first_field[index];
  }
  [[nodiscard]] constexpr ByteOrder order_for(const Field& field) const noexcept {
    return field.order == ByteOrder::inherit ? order_ : field.order;
  }
  [[nodiscard]] constexpr std::span<const std::byte> element(const Field& field,
                                                             std::size_t index) const noexcept {
    return {data_ + field.offset + index * field.width, field.width};
  }

 protected:
  const std::byte* data_;  // NOLINT: Record points it at its own array
  ByteOrder order_;        // NOLINT
};

/// A structure's bytes kept beside a survey: what `explain` shows and a writer compares.
struct RecordData {
  const Structure* structure = nullptr;
  ByteOrder order = ByteOrder::inherit;
  std::uint64_t start = 0;    ///< byte offset in the image (after containers and framing)
  std::uint32_t present = 0;  ///< bytes that were there; the rest reads as zero
  std::vector<std::byte> bytes;
  std::string role;  ///< which one it is when there are several, e.g. "backup 2"
};

/// A structure's bytes, copied out of the image. Getting a field cannot fail: what was not there
/// reads as zero and complete() says so.
template <const Structure& S>
class Record : public FieldReader<S> {
 public:
  explicit Record(ByteOrder order = S.fields().empty() ? ByteOrder::inherit : ByteOrder::big,
                  std::uint64_t start = 0) noexcept
      : FieldReader<S>(nullptr, order), start_(start) {
    this->data_ = bytes_.data();
  }
  Record(const Record& other) noexcept
      : FieldReader<S>(nullptr, other.order_),
        bytes_(other.bytes_),
        start_(other.start_),
        present_(other.present_) {
    this->data_ = bytes_.data();
  }
  Record& operator=(const Record& other) noexcept {
    bytes_ = other.bytes_;
    start_ = other.start_;
    present_ = other.present_;
    this->order_ = other.order_;
    return *this;
  }
  ~Record() = default;

  /// Where the structure was read, in image bytes.
  [[nodiscard]] std::uint64_t start() const noexcept { return start_; }
  /// Image offset of a field; for findings.
  template <FieldName N>
  [[nodiscard]] std::uint64_t place_of(std::uint32_t index = 0) const noexcept {
    return start_ + FieldReader<S>::template offset_of<N>(index);
  }
  /// Whether every byte of the structure was there.
  [[nodiscard]] bool complete() const noexcept { return present_ == S.bytes; }
  /// How many of its bytes were there.
  [[nodiscard]] std::uint32_t present() const noexcept { return present_; }
  void set_order(ByteOrder order) noexcept { this->order_ = order; }

  [[nodiscard]] std::span<std::byte> storage() noexcept { return bytes_; }
  void set_present(std::size_t present) noexcept { present_ = static_cast<std::uint32_t>(present); }

  /// A copy without the type, to keep in a claim.
  [[nodiscard]] RecordData keep(std::string role = {}) const {
    return {&S, this->order_, start_, present_, {bytes_.begin(), bytes_.end()}, std::move(role)};
  }

 private:
  std::array<std::byte, S.bytes> bytes_{};
  std::uint64_t start_;
  std::uint32_t present_ = 0;
};

/// Writes fields of a structure into bytes that somebody else owns. For fixture and demo writers:
/// the same table that decodes also encodes.
template <const Structure& S>
class FieldWriter {
 public:
  /// \param data at least S.bytes bytes
  FieldWriter(std::byte* data, ByteOrder order) noexcept : data_(data), order_(order) {}

  /// Stores a number; for a both-endian field in both halves.
  template <FieldName N>
  FieldWriter& set(std::uint64_t value, std::size_t index = 0) noexcept {
    constexpr const Field& field = S.first_field[S.index_of(N.view())];
    const std::span<std::byte> at{data_ + field.offset + index * field.width, field.width};
    if constexpr (field.kind == FieldKind::both_endian) {
      encode_unsigned(at.first(field.width / 2), value, ByteOrder::little);
      encode_unsigned(at.last(field.width / 2), value, ByteOrder::big);
    } else {
      encode_unsigned(at, value, field.order == ByteOrder::inherit ? order_ : field.order);
    }
    return *this;
  }
  /// Stores text, cut to the field and padded with `padding`.
  template <FieldName N>
  FieldWriter& set_text(std::string_view value, char padding = '\0') noexcept {
    constexpr const Field& field = S.first_field[S.index_of(N.view())];
    for (std::uint32_t i = 0; i < field.bytes(); ++i) {
      data_[field.offset + i] = static_cast<std::byte>(i < value.size() ? value[i] : padding);
    }
    return *this;
  }
  template <FieldName N>
  [[nodiscard]] std::span<std::byte> raw() const noexcept {
    constexpr const Field& field = S.first_field[S.index_of(N.view())];
    return {data_ + field.offset, field.bytes()};
  }
  template <FieldName N>
  [[nodiscard]] auto sub(std::size_t index = 0) const noexcept {
    constexpr const Field& field = S.first_field[S.index_of(N.view())];
    static_assert(field.kind == FieldKind::records);
    return FieldWriter<*field.record>(data_ + field.offset + index * field.width, order_);
  }

 private:
  std::byte* data_;
  ByteOrder order_;
};

}  // namespace platter
