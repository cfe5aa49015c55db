// What of an image a run of bytes belongs to.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "survey/survey.h"

namespace platter {

/// A structure, or a layer that has no part in the tree that is more particular.
struct Owner {
  const Layer* layer = nullptr;
  const RecordData* record = nullptr;  ///< nullptr: the layer's bytes at large
};

/// Every owner of a part of [start, start + bytes), the most particular ones only: a structure
/// rather than its volume, a volume rather than its slice. A slice that spans the disk by custom
/// owns only what nothing else does. Counted in the bytes that labels and filesystems count in.
[[nodiscard]] std::vector<Owner> owners_of(const std::vector<Layer>& layers, std::uint64_t start,
                                           std::uint64_t bytes);

/// "primary volume descriptor of iso9660", "volume sun/a/ffs", "slice sun/b".
[[nodiscard]] std::string owner_words(const Owner& owner);

}  // namespace platter
