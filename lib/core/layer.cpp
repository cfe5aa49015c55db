#include "core/layer.h"

namespace platter {

std::string_view layer_kind_name(LayerKind kind) noexcept {
  switch (kind) {
    case LayerKind::framing:
      return "framing";
    case LayerKind::label:
      return "label";
    case LayerKind::slice:
      return "slice";
    case LayerKind::filesystem:
      return "filesystem";
    case LayerKind::boot:
      return "boot";
  }
  return "";
}

const Layer* find_layer(const std::vector<Layer>& layers, std::string_view id) noexcept {
  for (const Layer& layer : layers) {
    if (layer.id == id) return &layer;
    if (const Layer* inside = find_layer(layer.layers, id)) return inside;
  }
  return nullptr;
}

}  // namespace platter
