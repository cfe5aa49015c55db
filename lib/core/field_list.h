// Fields that several structures have in common, written once.
//
// The structures of a family repeat runs of fields, often at another offset. Such a run is a
// FieldList whose offsets count from its own first byte, and a structure says where it stands:
//
//   inline constexpr FieldList kNameFields = {
//       text("fname", 0, 6, "filesystem name"),
//       text("fpack", 6, 6, "pack name"),
//   };
//   inline constexpr FieldList kVolumeFields = {
//       u32("blocks", 0, "whole volume", unit::blocks),
//       at(4, kNameFields),
//   };
//   inline constexpr Structure kVolume = structure("volume", "header.h", 16, kVolumeFields);
//
// The result is a table like any other: structure() checks it in the same way.
#pragma once

#include "core/layout.h"

namespace platter {

/// N fields in the order of their offsets, made of fields and of other lists.
template <std::size_t N>
struct FieldList {
  template <typename... Parts>
  // NOLINTNEXTLINE(google-explicit-constructor): a braced list stands for the fields.
  consteval FieldList(const Parts&... parts) {
    Field* end = fields;
    ((end = append(end, parts)), ...);
  }

  Field fields[N]{};

 private:
  static constexpr Field* append(Field* end, const Field& field) {
    *end = field;
    return end + 1;
  }
  template <std::size_t M>
  static constexpr Field* append(Field* end, const FieldList<M>& list) {
    return std::copy_n(list.fields, M, end);
  }
};

template <typename Part>
inline constexpr std::size_t kFieldsIn = 0;
template <>
inline constexpr std::size_t kFieldsIn<Field> = 1;
template <std::size_t N>
inline constexpr std::size_t kFieldsIn<FieldList<N>> = N;

template <typename... Parts>
FieldList(const Parts&...) -> FieldList<(kFieldsIn<Parts> + ...)>;

/// The field, `offset` bytes further on.
consteval Field at(std::uint32_t offset, Field field) {
  field.offset += offset;
  return field;
}
/// The fields, `offset` bytes further on.
template <std::size_t N>
consteval FieldList<N> at(std::uint32_t offset, FieldList<N> list) {
  for (Field& field : list.fields)
    field.offset += offset;
  return list;
}

/// Checks a list and makes a Structure of it, as for a plain table.
template <std::size_t N>
consteval Structure structure(std::string_view name, std::string_view specified_in,
                              std::uint32_t bytes, const FieldList<N>& list) {
  return structure(name, specified_in, bytes, list.fields);
}

/// An unsigned integer whose width depends on the member of the family.
constexpr Field unsigned_field(std::string_view name, std::uint32_t offset, std::uint32_t width,
                               std::string_view meaning, std::string_view unit_name = unit::none) {
  return integer_field(name, offset, width, FieldKind::unsigned_integer, ByteOrder::inherit,
                       meaning, unit_name, {});
}

}  // namespace platter
