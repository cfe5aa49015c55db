#include "job/card_job.h"

#include <sys/stat.h>

#include <algorithm>
#include <iterator>
#include <optional>

#include <fmt/format.h>

#include "job/fit.h"

namespace platter {
namespace {

constexpr std::uint64_t kOpticalSector = 2048;

std::string text_of_file(const std::string& path) {
  constexpr std::uint64_t kMostText = 16U << 20U;
  const Image file = open_image(path);
  if (file.bytes > kMostText) throw IoError(path, 0, 0, "is far too large for a plan file");
  const auto bytes = View(file.source).read_vector(0, file.bytes);
  return {reinterpret_cast<const char*>(bytes.data()), bytes.size()};
}

std::optional<std::uint64_t> measured_card(const std::string& path) {
  struct stat status {};
  if (stat(path.c_str(), &status) != 0) return std::nullopt;
  if (S_ISREG(status.st_mode)) return static_cast<std::uint64_t>(status.st_size);
  if (S_ISBLK(status.st_mode)) return open_device(path)->size();
  return std::nullopt;
}

const Layer* outermost_label(const std::vector<Layer>& layers) {
  for (const Layer& layer : layers) {
    if (layer.kind == LayerKind::label) return &layer;
    if (layer.kind == LayerKind::framing) return outermost_label(layer.layers);
  }
  return nullptr;
}

void judge_boot_of(plan::KnownImage& known, const Survey& survey,
                   const plan::WrittenRegion& region) {
  const BootAs as = region.device == plan::Device::optical ? BootAs::optical : BootAs::disk;
  for (const BootVerdict& row : survey.boot) {
    if (row.machine != region.machine->value || row.as != as) continue;
    known.boot_verdict = verdict_name(row.verdict);
    const auto missing = std::ranges::find_if(
        row.evidence, [](const Evidence& item) { return item.demanded && !item.holds; });
    if (missing != row.evidence.end()) {
      known.boot_reason = fmt::format("{}: {}", missing->check, missing->detail);
    }
  }
}

// A machine that nobody knows would never be judged, and nobody would notice.
void expect_known_machine(const plan::WrittenRegion& region,
                          std::vector<plan::Complaint>& complaints) {
  if (!region.machine || find_machine(region.machine->value) != nullptr) return;
  std::string known;
  for (const Machine* machine : all_machines())
    known += fmt::format(" {}", machine->id);
  complaints.push_back({region.machine->place, fmt::format("there is no machine '{}'; there are{}",
                                                           region.machine->value, known)});
}

}  // namespace

plan::KnownImage known_image(const Survey& survey) {
  plan::KnownImage known;
  known.bytes = survey.image.bytes;
  known.container = survey.image.container;
  known.member = survey.image.member;
  const Reach reach = claimed_reach(survey.layers);
  known.claimed_bytes = reach.bytes;
  if (reach.layer != nullptr) known.claimed_by = reach.layer->id;
  if (const Layer* label = outermost_label(survey.layers)) {
    known.label_format = label->format;
    const std::uint64_t cylinders = label->facts.number("cylinders");
    const std::uint64_t heads = label->facts.number("heads");
    const std::uint64_t sectors = label->facts.number("sectors_per_track");
    if (cylinders != 0 && heads != 0 && sectors != 0) {
      known.geometry = plan::Geometry{cylinders, heads, sectors};
    }
    known.block_bytes = label->facts.number("sector_bytes");
  }
  for (const Layer& layer : survey.layers) {
    if (layer.kind == LayerKind::framing) known.framing = layer.format;
    if (layer.format == "iso9660" || layer.format == "high-sierra")
      known.block_bytes = kOpticalSector;
  }
  return known;
}

CardJob load_card_job(const std::string& plan_path, const OpenOptions& options) {
  CardJob job;
  job.plan_path = plan_path;
  plan::ReadPlan read = plan::read_plan(text_of_file(plan_path));
  if (!read.complaints.empty()) {
    job.complaints = std::move(read.complaints);
    return job;
  }
  plan::Known known;
  if (read.plan.card_path) {
    known.card_bytes = measured_card(plan::beside(plan_path, read.plan.card_path->value));
  }
  for (const plan::WrittenRegion& region : read.plan.regions) {
    known.images.emplace_back();
    expect_known_machine(region, job.complaints);
    if (!region.image) continue;
    try {
      const Survey seen = survey(open_image(plan::beside(plan_path, region.image->value), options));
      known.images.back() = known_image(seen);
      if (region.machine) judge_boot_of(*known.images.back(), seen, region);
    } catch (const IoError& error) {
      job.missing.emplace_back(error.what());
    }
  }
  plan::Resolution resolution = plan::resolve(read.plan, known);
  job.plan = std::move(resolution.plan);
  std::ranges::move(resolution.complaints, std::back_inserter(job.complaints));
  return job;
}

const plan::Region* find_region(const plan::Plan& plan, const std::string& name) noexcept {
  const auto found = std::ranges::find(plan.regions, name, &plan::Region::name);
  return found == plan.regions.end() ? nullptr : &*found;
}

}  // namespace platter
