#include "job/fit.h"

#include <algorithm>
#include <limits>

#include <fmt/format.h>

namespace platter {
namespace {

constexpr std::uint64_t kBlock = 512;

std::int64_t difference(std::uint64_t a, std::uint64_t b) {
  constexpr auto kMost = static_cast<std::uint64_t>(std::numeric_limits<std::int64_t>::max());
  return a >= b ? static_cast<std::int64_t>(std::min(a - b, kMost))
                : -static_cast<std::int64_t>(std::min(b - a, kMost));
}

// That it fits does not make it readable: a machine sees the stored bytes, not what is behind them.
void add_framings(const std::vector<Layer>& layers, std::uint64_t start,
                  std::vector<Finding>& findings) {
  for (const Layer& layer : layers) {
    if (layer.kind != LayerKind::framing) continue;
    const bool swapped = layer.format.starts_with("swap");
    findings.push_back({Severity::caution,
                        swapped ? FindingCode::bytes_swapped : FindingCode::raw_frames, layer.id,
                        start, layer.bytes,
                        fmt::format("{}: no machine starts from it as it stands", layer.title)});
    add_framings(layer.layers, start, findings);
  }
}

}  // namespace

Reach claimed_reach(const std::vector<Layer>& layers) {
  Reach reach;
  for_each_layer(layers, [&](const Layer& layer) {
    const bool counts = layer.kind == LayerKind::filesystem ||
                        (layer.kind == LayerKind::slice && layer.role != SliceRole::unused);
    const std::uint64_t end = saturating_add(layer.start, layer.bytes);
    if (counts && end > reach.bytes) reach = {end, &layer};
  });
  return reach;
}

Fit fit(const Survey& survey, std::uint64_t start, std::uint64_t bytes) {
  Fit result;
  result.image_bytes = survey.image.bytes;
  result.region_start = start;
  result.region_bytes = bytes;
  result.spare_bytes = difference(bytes, survey.image.bytes);
  const Reach reach = claimed_reach(survey.layers);
  result.claimed_bytes = reach.bytes;
  if (survey.image.bytes > bytes) {
    const std::uint64_t missing = survey.image.bytes - bytes;
    result.findings.push_back(
        {Severity::fault, FindingCode::region_too_small, "", saturating_add(start, bytes), missing,
         fmt::format("the image needs {} blocks, the region has {}: {} are missing",
                     divide_up(survey.image.bytes, kBlock), bytes / kBlock,
                     divide_up(survey.image.bytes, kBlock) - bytes / kBlock)});
  }
  // Said apart only when the claim asks for more than the image itself: otherwise it is one fault.
  if (reach.layer != nullptr && reach.bytes > bytes && reach.bytes > survey.image.bytes) {
    result.findings.push_back(
        {Severity::fault, FindingCode::region_too_small, reach.layer->id,
         saturating_add(start, bytes), reach.bytes - bytes,
         fmt::format("{} reaches to block {} of the disk, the region has {} blocks",
                     reach.layer->id, divide_up(reach.bytes, kBlock), bytes / kBlock)});
  }
  result.fits = result.findings.empty();
  add_framings(survey.layers, start, result.findings);
  return result;
}

}  // namespace platter
