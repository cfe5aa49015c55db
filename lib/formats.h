// All formats the library knows.
#pragma once

#include <span>
#include <string_view>

#include "core/claim.h"

namespace platter {

/// The rows of formats.def in their order.
[[nodiscard]] std::span<const Format* const> all_formats() noexcept;

/// The format with that id, or nullptr.
[[nodiscard]] const Format* find_format(std::string_view id) noexcept;

}  // namespace platter
