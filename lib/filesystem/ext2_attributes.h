// Extended attributes of ext2: who names which of their blocks and inodes.
#pragma once

#include <cstdint>
#include <span>
#include <string_view>

#include "core/numbers.h"
#include "core/record.h"
#include "filesystem/ext2_structures.h"
#include "filesystem/shared_count.h"

namespace platter::filesystem {

/// What holds extended attributes outside the inodes they belong to.
struct Ext2AttributeUse {
  SharedCount blocks;  ///< blocks of attributes, named by inodes
  SharedCount values;  ///< inodes that hold one value each, named by attributes
};

/// Visits attributes that stand one behind the other from byte `at` of `bytes` on, up to the entry
/// of zeros that ends them or to the end of the bytes: visit(attribute, name). False ends it.
template <typename Visit>
void each_ext2_attribute(std::span<const std::byte> bytes, std::uint64_t at, ByteOrder order,
                         Visit visit) {
  using Attribute = FieldReader<kExt2Attribute>;
  while (fits_within(at, kExt2Attribute.bytes, bytes.size())) {
    const Attribute attribute(bytes.data() + at, order);
    const std::uint64_t length = attribute.get<"name_len">();
    // An access list has a number and no name.
    const bool last = length == 0 && attribute.get<"name_index">() == 0;
    const std::uint64_t name = at + kExt2Attribute.bytes;
    if (last || !fits_within(name, length, bytes.size())) return;
    const auto text =
        bytes.subspan(static_cast<std::size_t>(name), static_cast<std::size_t>(length));
    if (!visit(attribute,
               std::string_view(reinterpret_cast<const char*>(text.data()), text.size()))) {
      return;
    }
    at += divide_up(kExt2Attribute.bytes + length, 4) * 4;
  }
}

}  // namespace platter::filesystem
