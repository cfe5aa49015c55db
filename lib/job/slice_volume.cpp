#include "job/slice_volume.h"

#include <algorithm>

namespace platter {
namespace {

bool is_boot_image(const Layer& parent, const Layer& child) noexcept {
  return parent.kind == LayerKind::boot && child.kind == LayerKind::boot &&
         child.format == parent.format;
}

bool is_file(const Layer& parent, const Layer& child) noexcept {
  return (child.kind == LayerKind::slice && child.role == SliceRole::file) ||
         is_boot_image(parent, child);
}

std::string last_part(const std::string& id) {
  return id.substr(id.rfind('/') + 1);
}

}  // namespace

bool has_slices_as_files(const Layer& layer) noexcept {
  return std::ranges::any_of(layer.layers,
                             [&](const Layer& child) { return is_file(layer, child); });
}

SliceVolume::SliceVolume(const Layer& layer) {
  for (const Layer& child : layer.layers) {
    if (!is_file(layer, child)) continue;
    if (is_boot_image(layer, child)) {
      files_.push_back({&child, last_part(child.id) + ".img", Charset::ascii});
      continue;
    }
    const FactValue* value = child.facts.find("name");
    const auto* name = value == nullptr ? nullptr : std::get_if<DiskText>(value);
    if (name == nullptr || name->raw.empty()) {
      files_.push_back({&child, last_part(child.id), Charset::ascii});
    } else {
      files_.push_back({&child, name->raw, name->charset});
    }
  }
}

Attributes SliceVolume::attributes(NodeId node) {
  Attributes attributes;
  if (node == 0) attributes.type = NodeType::directory;
  if (node == 0 || node > files_.size()) return attributes;
  const Layer& slice = *files_[static_cast<std::size_t>(node - 1)].slice;
  attributes.type = NodeType::file;
  attributes.bytes = slice.bytes;
  attributes.identity = node;
  for (const std::string_view fact : {"created", "modified"}) {
    const FactValue* value = slice.facts.find(fact);
    const auto* time = value == nullptr ? nullptr : std::get_if<Timestamp>(value);
    if (time != nullptr) attributes.modified = *time;
  }
  return attributes;
}

void SliceVolume::each_entry(NodeId directory, FunctionRef<bool(const Entry&)> visit) {
  if (directory != 0) return;
  for (std::size_t i = 0; i < files_.size(); ++i) {
    const File& file = files_[i];
    if (!visit({file.name, file.charset, i + 1, file.slice->start})) return;
  }
}

void SliceVolume::each_extent(NodeId node, FunctionRef<bool(const Extent&)> visit) {
  if (node == 0 || node > files_.size()) return;
  const Layer& slice = *files_[static_cast<std::size_t>(node - 1)].slice;
  if (slice.bytes != 0) visit({0, slice.start, slice.bytes, false});
}

}  // namespace platter
