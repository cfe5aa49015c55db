// One layer of what was found in an image.
#pragma once

#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

#include "core/claim.h"

namespace platter {

enum class LayerKind : std::uint8_t { framing, label, slice, filesystem, boot };
[[nodiscard]] std::string_view layer_kind_name(LayerKind kind) noexcept;

/// One layer of the tree. A plain value: it owns no source and may outlive the image.
struct Layer {
  std::string id;  ///< path of ids from the top, e.g. "sun/a/ffs"
  LayerKind kind = LayerKind::label;
  std::string format;       ///< released format id; a slice has its label's
  std::uint64_t start = 0;  ///< image bytes
  std::uint64_t bytes = 0;  ///< as declared, even past the end of the image
  Strength strength = Strength::sane;
  SliceRole role = SliceRole::data;  ///< slices only
  std::string title = {};            ///< a few words for a person
  Facts facts = {};
  std::vector<RecordData> records = {};
  std::vector<Layer> layers = {};
};

/// The layer with that id, or nullptr.
[[nodiscard]] const Layer* find_layer(const std::vector<Layer>& layers,
                                      std::string_view id) noexcept;

/// Calls `visit(layer)` for every layer, parents before children.
template <typename Visit>
void for_each_layer(const std::vector<Layer>& layers, Visit visit) {
  for (const Layer& layer : layers) {
    visit(layer);
    for_each_layer(layer.layers, visit);
  }
}

}  // namespace platter
