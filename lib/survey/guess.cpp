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
struct Support {
  Strength strength = Strength::shape;
  std::size_t layers = 0;
  friend auto operator<=>(const Support&, const Support&) = default;
};

Support support_of(const std::vector<Layer>& layers) {
  Support support;
  for_each_layer(layers, [&](const Layer& layer) {
    if (!counts(layer)) return;
    support.strength = std::max(support.strength, layer.strength);
    ++support.layers;
  });
  return support;
}

}  // namespace

bool worth_guessing(const std::vector<Layer>& layers) {
  return std::ranges::none_of(layers, [](const Layer& layer) {
    return counts(layer) && (layer.kind == LayerKind::label || is_optical(layer));
  });
}

bool is_better(const std::vector<Layer>& behind, const std::vector<Layer>& without) {
  const Support found = support_of(behind);
  return found.layers != 0 && found > support_of(without);
}

}  // namespace platter
