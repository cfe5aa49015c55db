// One description per on-disk structure.
//
// A Structure is a constexpr table of fields: name, offset, width, byte order, unit and meaning.
// Decoding, the annotated dump, JSON and the fixture writers all work from this one table, so an
// offset stands in exactly one place. `structure()` is consteval and refuses a table with a gap, an
// overlap, a wrong total or two fields of one name: such a table does not compile.
//
//   constexpr Field kEntryFields[] = {
//       u32("start", 0, "first cylinder of the slice", unit::cylinders),
//       u32("blocks", 4, "length", unit::blocks),
//   };
//   constexpr Structure kEntry = structure("slice entry", "dklabel.h, struct dk_map32", 8,
//                                          kEntryFields);
//
// Two readings of the same bytes (a union) are two structures.
#pragma once

#include <algorithm>
#include <cstddef>
#include <cstdint>
#include <span>
#include <string_view>

namespace platter {

/// How the bytes of a number are ordered. `inherit` means: as the structure was read, because the
/// writer's machine decides. `pdp` is the PDP-11 order: high 16-bit word first, each little-endian.
enum class ByteOrder : std::uint8_t { inherit, little, big, pdp };

/// "big", "little", "pdp" or "": the words of the JSON fact `byte_order`.
[[nodiscard]] constexpr std::string_view byte_order_name(ByteOrder order) noexcept {
  switch (order) {
    case ByteOrder::big:
      return "big";
    case ByteOrder::little:
      return "little";
    case ByteOrder::pdp:
      return "pdp";
    case ByteOrder::inherit:
      break;
  }
  return "";
}

/// Units as the tables name them.
namespace unit {
inline constexpr std::string_view none = "";
inline constexpr std::string_view bytes = "bytes";
inline constexpr std::string_view blocks = "512-byte blocks";
inline constexpr std::string_view optical_sectors = "2048-byte sectors";
inline constexpr std::string_view logical_blocks = "logical blocks";
inline constexpr std::string_view label_sectors = "label sectors";
inline constexpr std::string_view sectors = "sectors";
inline constexpr std::string_view fragments = "fragments";
inline constexpr std::string_view cylinders = "cylinders";
inline constexpr std::string_view tracks = "tracks";
inline constexpr std::string_view heads = "heads";
inline constexpr std::string_view seconds = "seconds";
inline constexpr std::string_view unix_time = "seconds since 1970";
inline constexpr std::string_view microseconds = "microseconds";
inline constexpr std::string_view milliseconds = "milliseconds";
inline constexpr std::string_view rpm = "revolutions per minute";
inline constexpr std::string_view percent = "percent";
}  // namespace unit

/// What a value stands for, e.g. {5, "whole disk"}.
struct Name {
  std::uint64_t value;
  std::string_view text;
};
using NameTable = std::span<const Name>;

/// The text for a value, or `otherwise`.
[[nodiscard]] constexpr std::string_view name_of(NameTable names, std::uint64_t value,
                                                 std::string_view otherwise = "") noexcept {
  for (const Name& name : names) {
    if (name.value == value) return name.text;
  }
  return otherwise;
}

enum class FieldKind : std::uint8_t {
  unsigned_integer,
  signed_integer,
  both_endian,  ///< ECMA-119 7.2.3, 7.3.3: little-endian half, then big-endian half
  text,         ///< characters, padded with NUL or blanks, not necessarily terminated
  bytes,        ///< opaque
  records,      ///< `count` structures of the kind `record`
  reserved,     ///< specified as unused, or unknown
};

struct Structure;

struct Field {
  std::string_view name = {};
  std::uint32_t offset = 0;
  std::uint32_t width = 0;  ///< bytes of one element
  std::uint32_t count = 1;  ///< elements
  FieldKind kind = FieldKind::bytes;
  ByteOrder order = ByteOrder::inherit;
  std::string_view unit = {};
  std::string_view meaning = {};
  NameTable names = {};
  const Structure* record = nullptr;

  [[nodiscard]] constexpr std::uint32_t bytes() const noexcept { return width * count; }
};

struct Structure {
  std::string_view name;
  std::string_view specified_in;  ///< standard and clause, or header
  std::uint32_t bytes = 0;
  const Field* first_field = nullptr;
  std::size_t field_count = 0;

  [[nodiscard]] constexpr std::span<const Field> fields() const noexcept {
    return {first_field, field_count};
  }
  /// Index of the field of that name; field_count when there is none. A plain loop over indices,
  /// because with sanitizers g++ 12 takes a comparison of pointers for no constant expression.
  [[nodiscard]] constexpr std::size_t index_of(std::string_view name_wanted) const noexcept {
    std::size_t index = 0;
    while (index < field_count && first_field[index].name != name_wanted)
      ++index;
    return index;
  }
  /// The field of that name, or nullptr.
  [[nodiscard]] constexpr const Field* find(std::string_view name_wanted) const noexcept {
    const std::size_t index = index_of(name_wanted);
    return index == field_count ? nullptr : first_field + index;
  }
};

// Field makers. `offset` counts from the start of the structure. The optional last arguments are
// the unit and the table of names for values.

constexpr Field integer_field(std::string_view name, std::uint32_t offset, std::uint32_t width,
                              FieldKind kind, ByteOrder order, std::string_view meaning,
                              std::string_view unit_name, NameTable names) {
  return {.name = name,
          .offset = offset,
          .width = width,
          .kind = kind,
          .order = order,
          .unit = unit_name,
          .meaning = meaning,
          .names = names};
}

#define PLATTER_INTEGER_FIELD(maker, bytes_wide, field_kind, byte_order)                         \
  constexpr Field maker(std::string_view name, std::uint32_t offset, std::string_view meaning,   \
                        std::string_view unit_name = unit::none, NameTable names = {}) {         \
    return integer_field(name, offset, bytes_wide, FieldKind::field_kind, ByteOrder::byte_order, \
                         meaning, unit_name, names);                                             \
  }
PLATTER_INTEGER_FIELD(u8, 1, unsigned_integer, inherit)
PLATTER_INTEGER_FIELD(u16, 2, unsigned_integer, inherit)
PLATTER_INTEGER_FIELD(u24, 3, unsigned_integer, inherit)
PLATTER_INTEGER_FIELD(u32, 4, unsigned_integer, inherit)
PLATTER_INTEGER_FIELD(u64, 8, unsigned_integer, inherit)
PLATTER_INTEGER_FIELD(s8, 1, signed_integer, inherit)
PLATTER_INTEGER_FIELD(s16, 2, signed_integer, inherit)
PLATTER_INTEGER_FIELD(s32, 4, signed_integer, inherit)
PLATTER_INTEGER_FIELD(s64, 8, signed_integer, inherit)
PLATTER_INTEGER_FIELD(le16, 2, unsigned_integer, little)
PLATTER_INTEGER_FIELD(le32, 4, unsigned_integer, little)
PLATTER_INTEGER_FIELD(le64, 8, unsigned_integer, little)
PLATTER_INTEGER_FIELD(be16, 2, unsigned_integer, big)
PLATTER_INTEGER_FIELD(be32, 4, unsigned_integer, big)
PLATTER_INTEGER_FIELD(be64, 8, unsigned_integer, big)
PLATTER_INTEGER_FIELD(both16, 4, both_endian, inherit)
PLATTER_INTEGER_FIELD(both32, 8, both_endian, inherit)
#undef PLATTER_INTEGER_FIELD

/// `count` equal elements of the kind that `element` describes.
constexpr Field array_of(std::uint32_t count, Field element) {
  element.count = count;
  return element;
}
constexpr Field text(std::string_view name, std::uint32_t offset, std::uint32_t width,
                     std::string_view meaning) {
  return {
      .name = name, .offset = offset, .width = width, .kind = FieldKind::text, .meaning = meaning};
}
constexpr Field bytes(std::string_view name, std::uint32_t offset, std::uint32_t width,
                      std::string_view meaning) {
  return {
      .name = name, .offset = offset, .width = width, .kind = FieldKind::bytes, .meaning = meaning};
}
/// Unused bytes. They have no name and are not shown unless something stands in them.
constexpr Field reserved(std::uint32_t offset, std::uint32_t width,
                         std::string_view meaning = "unused") {
  return {.name = "",
          .offset = offset,
          .width = width,
          .kind = FieldKind::reserved,
          .meaning = meaning};
}
constexpr Field records(std::string_view name, std::uint32_t offset, std::uint32_t count,
                        const Structure& record, std::string_view meaning) {
  return {.name = name,
          .offset = offset,
          .width = record.bytes,
          .count = count,
          .kind = FieldKind::records,
          .meaning = meaning,
          .record = &record};
}

namespace layout_errors {
// Not constexpr on purpose: reaching one of these while a table is checked ends the compilation,
// and the compiler's message names the function.
inline void the_fields_leave_a_gap() {}
inline void two_fields_overlap() {}
inline void the_fields_do_not_add_up_to_the_total() {}
inline void two_fields_have_one_name() {}
inline void a_field_has_no_bytes() {}
inline void a_field_has_no_name() {}
}  // namespace layout_errors

/// Checks a table and makes a Structure of it. Fields stand in the order of their offsets and cover
/// [0, bytes) exactly.
template <std::size_t N>
consteval Structure structure(std::string_view name, std::string_view specified_in,
                              std::uint32_t bytes, const Field (&fields)[N]) {
  std::uint32_t next = 0;
  for (std::size_t i = 0; i < N; ++i) {
    const Field& field = fields[i];
    if (field.offset > next) layout_errors::the_fields_leave_a_gap();
    if (field.offset < next) layout_errors::two_fields_overlap();
    if (field.bytes() == 0) layout_errors::a_field_has_no_bytes();
    if (field.kind != FieldKind::reserved && field.name.empty()) {
      layout_errors::a_field_has_no_name();
    }
    for (std::size_t j = 0; j < i; ++j) {
      if (!field.name.empty() && fields[j].name == field.name) {
        layout_errors::two_fields_have_one_name();
      }
    }
    next = field.offset + field.bytes();
  }
  if (next != bytes) layout_errors::the_fields_do_not_add_up_to_the_total();
  return {name, specified_in, bytes, fields, N};
}

/// A field's name as a template argument: record.get<"ncyl">().
template <std::size_t N>
struct FieldName {
  char characters[N]{};
  // NOLINTNEXTLINE(google-explicit-constructor): a string literal stands for the name.
  consteval FieldName(const char (&literal)[N]) { std::copy_n(literal, N, characters); }
  [[nodiscard]] constexpr std::string_view view() const noexcept { return {characters, N - 1}; }
};

}  // namespace platter
