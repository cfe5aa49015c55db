#include "survey/survey.h"

#include <algorithm>
#include <map>
#include <set>
#include <utility>

#include <fmt/format.h>

#include "formats.h"
#include "survey/review.h"

namespace platter {
namespace {

// Limits that no real disk comes near; a hostile image must not make the tree grow without end.
constexpr unsigned kDeepest = 6;
constexpr std::size_t kMostLayers = 4096;

// A claim together with the format that made it.
struct Found {
  const Format* format;
  Claim claim;
};

class Walk {
 public:
  /// \param parent id of the framing layer that the view lies behind, "" when there is none
  Walk(const View& image, std::string parent, std::vector<Finding>& findings)
      : image_(image), parent_(std::move(parent)), findings_(findings) {}

  std::vector<Layer> everything() {
    const Context context{.image = image_};
    if (parent_.empty()) {
      for (Found& framing : ask(Stage::framing, image_, context, "")) {
        return {behind_framing(std::move(framing))};
      }
    }
    std::vector<Found> volumes = ask(Stage::filesystem, image_, context, parent_);
    std::vector<Layer> layers;
    // Optical volumes belong to the image; a slice that starts with one is an alias of it.
    for (Found& found : volumes) {
      if (found.format->of_whole_image) {
        layers.push_back(layer_from(std::move(found), parent_, LayerKind::filesystem));
      }
    }
    add_labels(layers, image_, context, parent_, 0);
    // Any other filesystem at the very start belongs to the slice that starts there, if one does.
    for (Found& found : volumes) {
      if (!found.format->of_whole_image && !alias_of(found)) {
        layers.push_back(layer_from(std::move(found), parent_, LayerKind::filesystem));
      }
    }
    drop_shapes_beside_better(layers);
    try {
      for (Finding& finding : review(layers, image_)) findings_.push_back(std::move(finding));
    } catch (const IoError& error) {
      note_unreadable(error, parent_);
    }
    return layers;
  }

 private:
  // Framing is one layer with everything else behind it, in the coordinates of the plain image.
  Layer behind_framing(Found framing) {
    const View plain(framing.claim.framed);
    Layer layer = layer_from(std::move(framing), "", LayerKind::framing);
    layer.layers = Walk(plain, layer.id, findings_).everything();
    return layer;
  }

  std::vector<Found> ask(Stage stage, const View& view, const Context& context,
                         const std::string& parent) {
    std::vector<Found> all;
    for (const Format* format : all_formats()) {
      if (format->stage != stage) continue;
      if (stage == Stage::label && context.slice != nullptr && !format->inside_slices) continue;
      if (format->of_whole_image && context.slice != nullptr && view.start() == image_.start()) continue;
      try {
        for (Claim& claim : format->claims(view, context)) all.push_back({format, std::move(claim)});
      } catch (const IoError& error) {
        note_unreadable(error, parent);
      }
    }
    return all;
  }

  void note_unreadable(const IoError& error, const std::string& layer) {
    if (!unreadable_.insert(error.offset()).second) return;
    findings_.push_back({Severity::fault, FindingCode::unreadable, layer, error.offset(),
                         error.bytes(), error.reason()});
  }

  void add_labels(std::vector<Layer>& layers, const View& view, const Context& context,
                  const std::string& parent, unsigned depth) {
    for (Found& found : ask(Stage::label, view, context, parent)) {
      if (!labels_seen_.insert({found.format, found.claim.start}).second) continue;
      const std::string format_id(found.format->id);
      std::vector<Slice> slices = std::move(found.claim.slices);
      found.claim.slices.clear();
      Layer label = layer_from(std::move(found), parent, LayerKind::label);
      add_slices(label, std::move(slices), format_id, depth);
      layers.push_back(std::move(label));
    }
  }

  void add_slices(Layer& label, std::vector<Slice> slices, const std::string& format, unsigned depth) {
    std::vector<Layer> children;
    for (const Slice& slice : slices) {
      if (++layer_count_ > kMostLayers) break;
      children.push_back({.id = label.id + "/" + slice.id,
                          .kind = LayerKind::slice,
                          .format = format,
                          .start = slice.start,
                          .bytes = slice.bytes,
                          .role = slice.role,
                          .facts = slice.facts});
    }
    // What spans the disk by custom is looked into last, so that a filesystem is reported in the
    // slice that was made for it.
    for (const bool whole : {false, true}) {
      for (std::size_t i = 0; i < children.size(); ++i) {
        if ((slices[i].role == SliceRole::whole_disk) == whole) {
          look_inside(children[i], slices[i], format, depth);
        }
      }
    }
    label.layers = std::move(children);
  }

  void look_inside(Layer& layer, const Slice& slice, const std::string& format, unsigned depth) {
    const bool closed = slice.role == SliceRole::container || slice.role == SliceRole::unused ||
                        slice.role == SliceRole::metadata;
    if (closed || depth >= kDeepest || slice.start >= image_.bytes()) return;
    const View view = slice_view(slice);
    const Context context{.image = image_, .slice = &slice, .label_format = format};
    std::vector<Found> volumes = ask(Stage::filesystem, view, context, layer.id);
    const bool smaller = view.bytes() < image_.bytes();
    if (smaller) add_labels(layer.layers, view, context, layer.id, depth + 1);
    for (Found& found : volumes) {
      if (const std::string* same = alias_of(found)) {
        layer.facts.set("same_as", *same);
        continue;
      }
      if (slice.role == SliceRole::swap) {
        findings_.push_back({Severity::note, FindingCode::typed_swap, layer.id, found.claim.start,
                             found.claim.bytes,
                             fmt::format("slice {} is typed as swap and holds {}", slice.id,
                                         found.claim.title)});
      }
      layer.layers.push_back(layer_from(std::move(found), layer.id, LayerKind::filesystem));
    }
    drop_shapes_beside_better(layer.layers);
    if (view.start() == image_.start()) name_whole_image_volume(layer);
  }

  // The declared range, past the end of the image too: reads there simply come back short.
  [[nodiscard]] View slice_view(const Slice& slice) const {
    return image_.sub(slice.start - image_.start(), slice.bytes);
  }

  void name_whole_image_volume(Layer& layer) const {
    for (const auto& [key, id] : volumes_seen_) {
      if (key.first->of_whole_image && key.second == image_.start()) layer.facts.set("same_as", id);
    }
  }

  [[nodiscard]] const std::string* alias_of(const Found& found) const {
    const auto seen = volumes_seen_.find({found.format, found.claim.start});
    return seen == volumes_seen_.end() ? nullptr : &seen->second;
  }

  Layer layer_from(Found found, const std::string& parent, LayerKind kind) {
    Claim& claim = found.claim;
    std::string id = parent.empty() ? std::string(found.format->id)
                                    : fmt::format("{}/{}", parent, found.format->id);
    // Two labels of one format side by side: the second is told apart by a number.
    const std::size_t twin = ++id_count_[id];
    if (twin > 1) id += fmt::format("-{}", twin);
    if (kind == LayerKind::filesystem) {
      volumes_seen_.emplace(std::pair(found.format, claim.start), id);
    }
    for (Finding& finding : claim.findings) {
      finding.layer = id;
      findings_.push_back(std::move(finding));
    }
    ++layer_count_;
    return {.id = std::move(id),
            .kind = kind,
            .format = std::string(found.format->id),
            .start = claim.start,
            .bytes = claim.bytes,
            .strength = claim.strength,
            .title = std::move(claim.title),
            .facts = std::move(claim.facts),
            .records = std::move(claim.records)};
  }

  // A claim from shape alone never stands beside one with proof for the same bytes.
  static void drop_shapes_beside_better(std::vector<Layer>& layers) {
    const bool better = std::ranges::any_of(layers, [](const Layer& layer) {
      return layer.kind == LayerKind::filesystem && layer.strength > Strength::shape;
    });
    if (!better) return;
    std::erase_if(layers, [](const Layer& layer) {
      return layer.kind == LayerKind::filesystem && layer.strength == Strength::shape;
    });
  }

  View image_;
  std::string parent_;
  std::vector<Finding>& findings_;
  std::size_t layer_count_ = 0;
  std::map<std::string, std::size_t> id_count_;
  std::set<std::pair<const Format*, std::uint64_t>> labels_seen_;
  std::map<std::pair<const Format*, std::uint64_t>, std::string> volumes_seen_;
  std::set<std::uint64_t> unreadable_;
};

void note_archive(Survey& result, const Image& image) {
  if (image.archive_members.empty()) return;
  std::string names;
  constexpr std::size_t kShown = 8;
  for (std::size_t i = 0; i < std::min(image.archive_members.size(), kShown); ++i) {
    names += (i == 0 ? "" : ", ") + printable(image.archive_members[i]);
  }
  if (image.archive_members.size() > kShown) names += ", ...";
  result.findings.push_back({Severity::note, FindingCode::archive_members, "", 0, image.stored_bytes,
                             fmt::format("this is an archive of {} files: {}",
                                         image.archive_members.size(), names)});
}

}  // namespace

std::string_view layer_kind_name(LayerKind kind) noexcept {
  switch (kind) {
    case LayerKind::framing: return "framing";
    case LayerKind::label: return "label";
    case LayerKind::slice: return "slice";
    case LayerKind::filesystem: return "filesystem";
    case LayerKind::boot: return "boot";
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

Survey survey(const Image& image) {
  Survey result;
  result.image = {image.path, image.bytes, image.stored_bytes, image.container, image.member};
  const View whole(image.source);
  result.layers = Walk(whole, "", result.findings).everything();
  note_archive(result, image);
  std::ranges::stable_sort(result.findings, std::ranges::greater{}, &Finding::severity);
  return result;
}

}  // namespace platter
