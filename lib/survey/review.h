// Cross-checks on the finished tree: what no single format can know.
#pragma once

#include <vector>

#include "survey/survey.h"

namespace platter {

/// Compares the layers with the image, the slices with one another and the filesystems with their
/// slices. Reads the image only to see whether a short tail is zero; may throw IoError then.
/// \param layers everything found behind the framing (or in the image, when there is none)
/// \param image  the bytes that those layers are about
[[nodiscard]] std::vector<Finding> review(const std::vector<Layer>& layers, const View& image);

}  // namespace platter
