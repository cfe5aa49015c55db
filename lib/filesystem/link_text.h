// Symbolic links whose text is stored as a file's content is.
#pragma once

#include <cstdint>
#include <string>

#include "core/view.h"
#include "core/volume.h"

namespace platter::filesystem {

/// The first `bytes` bytes of a node's content, as far as the image holds them without a gap.
/// \param bytes to be bounded by the caller: what an inode states may be absurd
[[nodiscard]] std::string link_text(Volume& volume, const View& view, NodeId node,
                                    std::uint64_t bytes);

}  // namespace platter::filesystem
