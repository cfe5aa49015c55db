#include "job/volumes.h"

#include <algorithm>
#include <stdexcept>

#include <fmt/format.h>

#include "formats.h"
#include "job/slice_volume.h"

namespace platter {
namespace {

class Opening {
 public:
  Opening(const StraightSurvey& survey, std::string_view in, const VolumeOptions& options)
      : image_(survey.plain), in_(in), options_(options) {}

  void look(const std::vector<Layer>& layers, const Layer* slice, bool inside) {
    for (const Layer& layer : layers) {
      const bool here = inside || layer.id == in_;
      found_ = found_ || layer.id == in_;
      if (layer.kind == LayerKind::filesystem && here) open(layer, slice);
      // Boot images lie in the volume already, so they are shown only to those who ask for them.
      const bool wanted = layer.kind == LayerKind::label ? here : layer.id == in_;
      if (wanted && has_slices_as_files(layer)) {
        volumes_.open.push_back({&layer, image_, std::make_unique<SliceVolume>(layer), {}});
      }
      const bool holds = layer.kind == LayerKind::slice || layer.kind == LayerKind::boot;
      look(layer.layers, holds ? &layer : slice, here);
    }
  }

  [[nodiscard]] bool found() const noexcept { return found_; }
  Volumes take() { return std::move(volumes_); }

 private:
  // A volume that claims more than its slice is followed past the slice's end, and one that claims
  // less may still have files behind what it claims (some discs): as far as either goes.
  void open(const Layer& layer, const Layer* slice) {
    std::uint64_t end = saturating_add(layer.start, layer.bytes);
    if (slice != nullptr) {
      end = std::max(end, saturating_add(slice->start, slice->bytes));
    } else {
      end = std::max(end, image_.bytes());
    }
    const View view = image_.sub(layer.start, end - layer.start);
    const Format* format = find_format(layer.format);
    auto volume =
        format == nullptr || format->open == nullptr ? nullptr : format->open(view, options_);
    if (volume == nullptr) {
      volumes_.not_listed.push_back(&layer);
    } else {
      auto again = [open = format->open, view, options = options_] { return open(view, options); };
      volumes_.open.push_back({&layer, view, std::move(volume), std::move(again)});
    }
  }

  View image_;
  std::string_view in_;
  const VolumeOptions& options_;
  bool found_ = false;
  Volumes volumes_;
};

}  // namespace

Volumes open_volumes(const StraightSurvey& survey, std::string_view in,
                     const VolumeOptions& options) {
  Opening opening(survey, in, options);
  opening.look(survey.survey.layers, nullptr, in.empty());
  if (!in.empty() && !opening.found()) {
    std::string known;
    for (const OpenVolume& open : open_volumes(survey, "", options).open) {
      known += (known.empty() ? "; these have files: " : ", ") + open.layer->id;
    }
    throw std::invalid_argument(
        fmt::format("there is no layer '{}' in this image{}", in, printable(known)));
  }
  return opening.take();
}

}  // namespace platter
