// A first plan file for a handful of images.
#pragma once

#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <string_view>

#include "plan/plan.h"

namespace platter::plan {

struct ProposedImage {
  std::string path;                 ///< as it shall stand in the plan
  std::uint64_t bytes = 0;          ///< after containers are undone
  std::uint64_t claimed_bytes = 0;  ///< what its label or filesystem says it needs, or 0
  bool optical = false;
  std::optional<Geometry> geometry;  ///< of its label
};

/// The text of a plan file: one region an image, in the given order, as large as the image or what
/// it claims, whichever is more. Reading it back gives no complaint; whether everything fits the
/// card is for resolve() to say.
[[nodiscard]] std::string propose_plan(std::span<const ProposedImage> images,
                                       std::uint64_t card_bytes, std::string_view card_path);

}  // namespace platter::plan
