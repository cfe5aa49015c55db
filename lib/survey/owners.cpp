#include "survey/owners.h"

#include <algorithm>

#include <fmt/format.h>

namespace platter {
namespace {

class Search {
 public:
  Search(std::uint64_t start, std::uint64_t bytes)
      : start_(start), end_(saturating_add(start, bytes)) {}

  std::vector<Owner> run(const std::vector<Layer>& layers) {
    look(layers);
    if (found_.empty() && whole_disk_ != nullptr) found_.push_back({whole_disk_, nullptr});
    return std::move(found_);
  }

 private:
  [[nodiscard]] bool touches(std::uint64_t start, std::uint64_t bytes) const {
    return start < end_ && saturating_add(start, bytes) > start_;
  }

  void look(const std::vector<Layer>& layers) {
    for (const Layer& layer : layers) {
      // Records of a framing count in the bytes as stored.
      if (layer.kind == LayerKind::framing) {
        look(layer.layers);
        continue;
      }
      const std::size_t before = found_.size();
      for (const RecordData& record : layer.records) {
        if (touches(record.start, record.present)) found_.push_back({&layer, &record});
      }
      const bool inside = layer.kind == LayerKind::label || touches(layer.start, layer.bytes);
      if (!inside) continue;
      look(layer.layers);
      if (found_.size() != before || layer.kind == LayerKind::label) continue;
      if (layer.facts.find("same_as") != nullptr) continue;  // its twin owns the bytes
      if (layer.role == SliceRole::whole_disk || layer.role == SliceRole::unused) {
        if (whole_disk_ == nullptr) whole_disk_ = &layer;
        continue;
      }
      found_.push_back({&layer, nullptr});
    }
  }

  std::uint64_t start_;
  std::uint64_t end_;
  std::vector<Owner> found_;
  const Layer* whole_disk_ = nullptr;
};

}  // namespace

std::vector<Owner> owners_of(const std::vector<Layer>& layers, std::uint64_t start,
                             std::uint64_t bytes) {
  return Search(start, bytes).run(layers);
}

std::string owner_words(const Owner& owner) {
  if (owner.record != nullptr) {
    const std::string& role = owner.record->role;
    return fmt::format("{}{}{} of {}", owner.record->structure->name, role.empty() ? "" : ", ",
                       role, owner.layer->id);
  }
  switch (owner.layer->kind) {
    case LayerKind::slice:
      return "slice " + owner.layer->id;
    case LayerKind::filesystem:
      return "volume " + owner.layer->id;
    default:
      return owner.layer->id;
  }
}

}  // namespace platter
