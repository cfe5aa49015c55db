// The word somebody may have meant.
#pragma once

#include <span>
#include <string_view>

namespace platter::plan {

/// The candidate with the fewest single-character insertions, deletions, replacements and swaps of
/// neighbours away from `word`; the first of several. `candidates` must not be empty.
[[nodiscard]] std::string_view nearest_word(std::string_view word,
                                            std::span<const std::string_view> candidates);

}  // namespace platter::plan
