// A drawing of the card.
#pragma once

#include <string>
#include <string_view>

#include "plan/plan.h"

namespace platter::plan {

/// An SVG 1.1 document, readable in black and white: the card to scale; below it, when a stretch is
/// too short to be seen there, the same stretches with widths that grow with the logarithm of their
/// size; below that a list of them. Text is escaped; nothing outside the document is referred to.
[[nodiscard]] std::string picture_svg(const Plan& plan, std::string_view title);

}  // namespace platter::plan
