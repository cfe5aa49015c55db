// Ids of slices that are made from names on the disk.
#pragma once

#include <string>
#include <vector>

#include "core/claim.h"

namespace platter::label {

/// A name that can stand in the path of a layer and that none of `slices` has: decoded and escaped,
/// without '/', with "~2" and so on behind the second of one name.
/// \param raw       the name as it stands on the disk
/// \param otherwise taken when nothing of the name is left
[[nodiscard]] std::string slice_id(const std::vector<Slice>& slices, const std::string& raw,
                                   const std::string& otherwise);

}  // namespace platter::label
