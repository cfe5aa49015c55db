// Structures that a layer keeps, found again by their table.
#pragma once

#include <cstdint>
#include <optional>
#include <string_view>

#include "core/layer.h"

namespace platter::machine {

/// A structure of a layer; as long as the layer lives.
template <const Structure& S>
struct Kept {
  FieldReader<S> fields;
  std::uint64_t start;  ///< image bytes

  template <FieldName N>
  [[nodiscard]] auto get() const noexcept {
    return fields.template get<N>();
  }
  template <FieldName N>
  [[nodiscard]] std::uint64_t place_of() const noexcept {
    return start + FieldReader<S>::template offset_of<N>();
  }
};

/// The first structure of that table that the layer keeps.
template <const Structure& S>
[[nodiscard]] std::optional<Kept<S>> kept(const Layer& layer) {
  for (const RecordData& record : layer.records) {
    if (record.structure != &S || record.bytes.size() < S.bytes) continue;
    return Kept<S>{FieldReader<S>(record.bytes.data(), record.order), record.start};
  }
  return std::nullopt;
}

/// The first layer of that kind and format for which `fits(layer)` is true, parents before
/// children.
template <typename Fits>
[[nodiscard]] const Layer* first_layer(const std::vector<Layer>& layers, LayerKind kind,
                                       std::string_view format, Fits fits) {
  const Layer* found = nullptr;
  for_each_layer(layers, [&](const Layer& layer) {
    if (found == nullptr && layer.kind == kind && layer.format == format && fits(layer)) {
      found = &layer;
    }
  });
  return found;
}

}  // namespace platter::machine
