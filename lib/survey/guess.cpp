#include "survey/guess.h"

#include <algorithm>
#include <compare>

namespace platter {
namespace {

bool counts(const Layer& layer) {
  return layer.kind != LayerKind::slice && layer.kind != LayerKind::framing &&
         layer.strength >= Strength::sane;
}

bool is_optical(const Layer& layer) {
  return layer.format == "iso9660" || layer.format == "high-sierra";
}

// How sure the surest layer is, then how many are sure.
struct Evidence {
  Strength strength = Strength::shape;
  std::size_t layers = 0;
  friend auto operator<=>(const Evidence&, const Evidence&) = default;
};

Evidence evidence_of(const std::vector<Layer>& layers) {
  Evidence evidence;
  for_each_layer(layers, [&](const Layer& layer) {
    if (!counts(layer)) return;
    evidence.strength = std::max(evidence.strength, layer.strength);
    ++evidence.layers;
  });
  return evidence;
}

}  // namespace

bool worth_guessing(const std::vector<Layer>& layers) {
  return std::ranges::none_of(layers, [](const Layer& layer) {
    return counts(layer) && (layer.kind == LayerKind::label || is_optical(layer));
  });
}

bool is_better(const std::vector<Layer>& behind, const std::vector<Layer>& without) {
  const Evidence found = evidence_of(behind);
  return found.layers != 0 && found > evidence_of(without);
}

}  // namespace platter
