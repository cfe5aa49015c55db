// When to try a framing that nothing in the bytes announces (a swapped dump), and when to believe
// it.
#pragma once

#include <vector>

#include "survey/survey.h"

namespace platter {

/// Whether what was found without framing leaves room for a better reading: there is no label and
/// no optical volume that is sure of itself. A lone volume does leave room, because one that counts
/// in 32-bit words keeps its sense when those are turned round.
[[nodiscard]] bool worth_guessing(const std::vector<Layer>& layers);

/// Whether layers found behind a guessed framing outdo those found without: something is sure of
/// itself (at least Strength::sane), and more so, or in more places.
[[nodiscard]] bool is_better(const std::vector<Layer>& behind, const std::vector<Layer>& without);

}  // namespace platter
