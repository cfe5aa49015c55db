// A first plan file for images that are looked at.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "core/image.h"

namespace platter {

/// Surveys the images and proposes a plan for a card of that size, as text. Throws IoError.
[[nodiscard]] std::string propose_card(const std::vector<std::string>& images,
                                       std::uint64_t card_bytes, const std::string& card_path,
                                       const OpenOptions& options = {});

}  // namespace platter
