#include "survey/review.h"

#include <algorithm>
#include <optional>

#include <fmt/format.h>

namespace platter {
namespace {

constexpr std::uint64_t kBlock = 512;
constexpr std::uint64_t kOpticalSector = 2048;
// Writers of optical discs append up to 150 sectors (the run-out); common practice, ECMA-130 gives
// the 150-sector pause between tracks.
constexpr std::uint64_t kRunOut = 150 * kOpticalSector;
constexpr std::size_t kMostOverlaps = 16;

// "3 blocks", or bytes when it is no whole number of blocks.
std::string amount(std::uint64_t bytes) {
  if (bytes % kBlock != 0) return fmt::format("{} bytes", bytes);
  return fmt::format("{} block{}", bytes / kBlock, bytes == kBlock ? "" : "s");
}

class Review {
 public:
  Review(const std::vector<Layer>& layers, const View& image) : layers_(layers), image_(image) {}

  std::vector<Finding> all() {
    length_is_whole_blocks();
    nothing_ends_past_the_image();
    nothing_follows();
    for_each_layer(layers_, [this](const Layer& layer) {
      if (layer.kind == LayerKind::label) slices_do_not_overlap(layer);
      volumes_fit_their_slice(layer);
      one_volume_a_place(layer.layers, layer.id);
    });
    one_volume_a_place(layers_, "");
    geometries_agree(layers_);
    return std::move(findings_);
  }

 private:
  void add(Severity severity, FindingCode code, const Layer& layer, std::uint64_t start,
           std::uint64_t bytes, std::string message) {
    findings_.push_back({severity, code, layer.id, start, bytes, std::move(message)});
  }

  [[nodiscard]] std::uint64_t image_bytes() const noexcept { return image_.bytes(); }

  static bool is_volume(const Layer& layer) { return layer.kind == LayerKind::filesystem; }
  static bool is_optical(const Layer& layer) {
    return is_volume(layer) && (layer.format == "iso9660" || layer.format == "high-sierra");
  }
  static std::uint64_t end_of(const Layer& layer) {
    return saturating_add(layer.start, layer.bytes);
  }

  // Whether anything tells how the image is laid out; a boot sector alone does not.
  [[nodiscard]] bool describes_disk() const {
    return std::ranges::any_of(layers_,
                               [](const Layer& layer) { return layer.kind != LayerKind::boot; });
  }

  void length_is_whole_blocks() {
    if (!describes_disk()) return;
    const bool optical = std::ranges::any_of(layers_, is_optical);
    const std::uint64_t unit = optical ? kOpticalSector : kBlock;
    const std::uint64_t rest = image_bytes() % unit;
    if (rest == 0) return;
    add(Severity::caution, FindingCode::image_odd_size, layers_.front(), image_bytes() - rest, rest,
        fmt::format("the image has {} bytes: {} whole {}-byte blocks and {} bytes more",
                    image_bytes(), image_bytes() / unit, unit, rest));
  }

  // One finding says that the image is short and by how much; one for each slice that loses data
  // says which. A slice that spans the disk by custom loses nothing of its own.
  void nothing_ends_past_the_image() {
    const Layer* furthest = nullptr;
    for_each_layer(layers_, [&](const Layer& layer) {
      // A label's own blocks hold no data: the protective entry of a GPT disk, for one, may claim
      // more than any disk has.
      const bool counts = (layer.kind == LayerKind::slice && layer.role != SliceRole::unused &&
                           layer.role != SliceRole::metadata && layer.bytes != 0) ||
                          (is_volume(layer) && is_top_level(layer));
      if (!counts || end_of(layer) <= image_bytes()) return;
      if (furthest == nullptr || end_of(layer) > end_of(*furthest)) furthest = &layer;
      // What is the same as a volume of the whole image is said once, with that volume.
      const bool has_data = layer.kind == LayerKind::slice && layer.role != SliceRole::whole_disk &&
                            layer.role != SliceRole::container &&
                            layer.facts.find("same_as") == nullptr;
      if (has_data) report_beyond_end(layer);
    });
    if (furthest != nullptr) {
      const std::uint64_t missing = end_of(*furthest) - image_bytes();
      add(Severity::fault, FindingCode::image_short, *furthest, image_bytes(), missing,
          fmt::format("{} ends {} past the end of the image", name_of_layer(*furthest),
                      amount(missing)));
      return;
    }
    for (const Layer& layer : layers_) {
      if (layer.kind != LayerKind::label || end_of(layer) <= image_bytes()) continue;
      const std::uint64_t missing = end_of(layer) - image_bytes();
      add(Severity::note, FindingCode::image_short, layer, image_bytes(), missing,
          fmt::format("the label's geometry describes a disk that is {} larger than the image; "
                      "every slice lies inside the image",
                      amount(missing)));
    }
  }

  void report_beyond_end(const Layer& slice) {
    const std::uint64_t missing = end_of(slice) - std::max(image_bytes(), slice.start);
    const std::string message =
        slice.start >= image_bytes()
            ? fmt::format("{} lies wholly past the end of the image", name_of_layer(slice))
            : fmt::format("{} ends {} past the end of the image", name_of_layer(slice),
                          amount(missing));
    add(Severity::fault, FindingCode::slice_beyond_end, slice, std::max(image_bytes(), slice.start),
        missing, message);
  }

  static std::string name_of_layer(const Layer& layer) {
    if (layer.kind == LayerKind::slice) {
      return fmt::format("slice {}", layer.id.substr(layer.id.find_last_of('/') + 1));
    }
    return fmt::format("the {} volume", layer.format);
  }

  [[nodiscard]] bool is_top_level(const Layer& layer) const {
    return std::ranges::any_of(layers_, [&](const Layer& top) { return &top == &layer; });
  }

  void nothing_follows() {
    if (!describes_disk()) return;
    std::uint64_t end = 0;
    bool bounded = true;  // whether every top layer says where it ends
    for_each_layer(layers_, [&](const Layer& layer) {
      if (layer.role != SliceRole::unused) end = std::max(end, end_of(layer));
    });
    for (const Layer& layer : layers_)
      bounded = bounded && layer.bytes != 0;
    if (!bounded || end >= image_bytes()) return;
    const std::uint64_t tail = image_bytes() - end;
    const Layer& layer = layers_.front();
    if (layer.kind == LayerKind::label) {
      add(Severity::note, FindingCode::image_long, layer, end, tail,
          fmt::format("{} follow behind the disk that the label describes", amount(tail)));
      return;
    }
    const bool padding = tail <= kRunOut && all_zero(image_, end, tail);
    add(padding ? Severity::note : Severity::caution, FindingCode::image_long, layer, end, tail,
        padding ? fmt::format("{} of zero padding follow the volume", amount(tail))
                : fmt::format("{} follow behind the end of the volume", amount(tail)));
  }

  void slices_do_not_overlap(const Layer& label) {
    std::vector<const Layer*> slices;
    for (const Layer& slice : label.layers) {
      // Boot code below a label lies in slices, or in front of them; it is no slice.
      const bool exclusive = slice.kind == LayerKind::slice &&
                             (slice.role == SliceRole::data || slice.role == SliceRole::swap);
      // A slice that is the disc's own volume covers everything else on a hybrid disc by design.
      if (exclusive && slice.bytes != 0 && slice.facts.find("same_as") == nullptr) {
        slices.push_back(&slice);
      }
    }
    std::ranges::stable_sort(slices, {}, &Layer::start);
    std::size_t reported = 0;
    for (std::size_t i = 0; i < slices.size(); ++i) {
      for (std::size_t j = i + 1; j < slices.size(); ++j) {
        if (slices[j]->start >= end_of(*slices[i])) break;
        if (++reported > kMostOverlaps) return;
        const std::uint64_t shared =
            std::min(end_of(*slices[i]), end_of(*slices[j])) - slices[j]->start;
        add(Severity::fault, FindingCode::slice_overlap, *slices[j], slices[j]->start, shared,
            fmt::format("{} and {} share {}", name_of_layer(*slices[i]), name_of_layer(*slices[j]),
                        amount(shared)));
      }
    }
  }

  void volumes_fit_their_slice(const Layer& slice) {
    if (slice.kind != LayerKind::slice) return;
    for (const Layer& volume : slice.layers) {
      if (!is_volume(volume) || end_of(volume) <= end_of(slice)) continue;
      const std::uint64_t excess = end_of(volume) - end_of(slice);
      add(Severity::fault, FindingCode::filesystem_exceeds_slice, volume, end_of(slice), excess,
          fmt::format("the {} volume claims {}, {} more than its slice has", volume.format,
                      amount(volume.bytes), amount(excess)));
    }
  }

  void one_volume_a_place(const std::vector<Layer>& layers, const std::string&) {
    for (std::size_t i = 0; i < layers.size(); ++i) {
      if (!is_volume(layers[i]) || is_optical(layers[i])) continue;
      for (std::size_t j = i + 1; j < layers.size(); ++j) {
        if (!is_volume(layers[j]) || is_optical(layers[j])) continue;
        if (layers[i].start != layers[j].start || layers[i].strength != layers[j].strength)
          continue;
        add(Severity::caution, FindingCode::ambiguous, layers[j], layers[j].start,
            std::min(layers[i].bytes, layers[j].bytes),
            fmt::format("the same place reads as {} and as {}", layers[i].format,
                        layers[j].format));
      }
    }
  }

  void geometries_agree(const std::vector<Layer>& layers) {
    const Layer* first = nullptr;
    for (const Layer& layer : layers) {
      const bool has = layer.kind == LayerKind::label && layer.facts.number("heads") != 0 &&
                       layer.facts.number("sectors_per_track") != 0;
      if (!has) continue;
      if (first == nullptr) {
        first = &layer;
        continue;
      }
      const auto same = [&](std::string_view fact) {
        return first->facts.number(fact) == layer.facts.number(fact);
      };
      if (same("heads") && same("sectors_per_track")) continue;
      add(Severity::note, FindingCode::geometry_differs, layer, layer.start, kBlock,
          fmt::format("{} has {} heads x {} sectors, {} has {} x {}", layer.format,
                      layer.facts.number("heads"), layer.facts.number("sectors_per_track"),
                      first->format, first->facts.number("heads"),
                      first->facts.number("sectors_per_track")));
    }
  }

  const std::vector<Layer>& layers_;
  const View& image_;
  std::vector<Finding> findings_;
};

}  // namespace

std::vector<Finding> review(const std::vector<Layer>& layers, const View& image) {
  return Review(layers, image).all();
}

}  // namespace platter
