#include "job/place_job.h"

#include <sys/stat.h>

#include <algorithm>
#include <stdexcept>

#include <fmt/format.h>

#include "plan/card.h"
#include "plan/in_use.h"
#include "plan/place_region.h"
#include "plan/receipt.h"

namespace platter {
namespace {

bool exists(const std::string& path) {
  struct stat status {};
  return stat(path.c_str(), &status) == 0;
}

bool is_block_device(const std::string& path) {
  struct stat status {};
  return stat(path.c_str(), &status) == 0 && S_ISBLK(status.st_mode);
}

// The regions that are meant, in the plan's order.
std::vector<const plan::Region*> chosen(const CardJob& job, const std::vector<std::string>& names) {
  for (const std::string& name : names) {
    if (find_region(job.plan, name) == nullptr) {
      throw std::invalid_argument(fmt::format("{} has no region named '{}'", job.plan_path, name));
    }
  }
  std::vector<const plan::Region*> regions;
  for (const plan::Region& region : job.plan.regions) {
    const bool named = std::ranges::find(names, region.name) != names.end();
    if (named && region.image.empty()) {
      throw std::invalid_argument(fmt::format("region '{}' has no image", region.name));
    }
    if (named || (names.empty() && !region.image.empty())) regions.push_back(&region);
  }
  return regions;
}

std::string card_path_of(const CardJob& job) {
  if (job.plan.card_path.empty()) {
    throw std::invalid_argument(fmt::format("{} names no card: [card] has no path", job.plan_path));
  }
  return plan::beside(job.plan_path, job.plan.card_path);
}

// What a region of the card holds now, by a survey of just these bytes.
std::vector<std::string> what_lies_there(const std::string& card_path, const plan::Extent& place) {
  Image image;
  image.path = card_path;
  image.source = range_of(is_block_device(card_path) ? open_device(card_path) : map_file(card_path),
                          place.start, place.bytes);
  image.bytes = image.stored_bytes = image.source->size();
  const Survey found = survey(image);
  std::vector<std::string> layers;
  for_each_layer(found.layers, [&](const Layer& layer) {
    if (layer.kind == LayerKind::slice) return;
    const std::string name = layer.facts.words("volume_name");
    layers.push_back(fmt::format("{}: {}{}", layer.id, layer.title,
                                 name.empty() ? "" : fmt::format(" \"{}\"", name)));
  });
  return layers;
}

void refuse_a_card_in_use(const std::string& card_path) {
  const auto reasons = plan::reasons_in_use(card_path);
  if (reasons.empty()) return;
  std::string words;
  for (const std::string& reason : reasons)
    words += (words.empty() ? "" : "; ") + reason;
  throw IoError(card_path, 0, 0, "is in use: " + words);
}

void refuse_another_device(const plan::Card& card, const plan::Plan& plan) {
  if (!card.is_device() || !plan.written_card_bytes) return;
  if (card.size() == *plan.written_card_bytes) return;
  throw IoError(card.path(), 0, 0,
                fmt::format("has {} bytes, the plan says {}: is it the right device?", card.size(),
                            *plan.written_card_bytes));
}

// The image could not be read when the plan was filled in: trying again tells why.
[[noreturn]] void throw_why_unknown(const plan::Region& region, const std::string& plan_path,
                                    const OpenOptions& open) {
  const std::string path = plan::beside(plan_path, region.image);
  (void)survey(open_image(path, open));
  throw IoError(path, 0, 0, "could not be read a moment ago; try again");
}

void look_at_target(Placement& placement, PlacedRegion& placed, const std::string& card_path,
                    const PlaceRequest& request) {
  if (!exists(card_path)) return;
  placed.card_seen = true;
  placed.holds = what_lies_there(card_path, placed.place);
  if (placed.holds.empty()) return;
  const bool allowed = std::ranges::find(request.overwrite, placed.name) != request.overwrite.end();
  std::string holds;
  for (const std::string& layer : placed.holds)
    holds += (holds.empty() ? "" : "; ") + layer;
  const Severity severity = request.write && !allowed ? Severity::fault : Severity::caution;
  placement.findings.push_back(
      {severity, FindingCode::card_holds_data, placed.name, placed.place.start, placed.place.bytes,
       allowed ? fmt::format("this will be lost: {}", holds)
               : fmt::format("this would be lost: {}; to lose it, name the region with --overwrite",
                             holds)});
}

void write_regions(Placement& placement, const std::vector<const plan::Region*>& regions,
                   const std::string& card_path, const PlaceRequest& request,
                   const RegionProgress& on_progress) {
  plan::Card card(
      card_path,
      {.write = true, .create = request.create, .create_bytes = placement.job.plan.card_bytes});
  refuse_another_device(card, placement.job.plan);
  placement.wrote = true;
  for (std::size_t i = 0; i < regions.size(); ++i) {
    const plan::Region& region = *regions[i];
    PlacedRegion& placed = placement.regions[i];
    const std::string image_path = plan::beside(placement.job.plan_path, region.image);
    plan::RegionJob job;
    job.region = region.name;
    job.image_path = image_path;
    job.image_stamp = plan::image_stamp(image_path);
    job.receipt_path = plan::receipt_path(placement.job.plan_path, region.name);
    job.place = placed.place;
    job.options = {.changed_only = request.changed_only,
                   .fill = request.fill && region.device == plan::Device::optical,
                   .digest = request.digest};
    job.time = request.time;
    const Image image = open_image(image_path, request.open);
    const plan::RegionResult result =
        plan::place_region(*image.source, card, job, [&](const plan::Progress& progress) {
          return !on_progress || on_progress(region.name, progress);
        });
    placed.written_bytes = result.placed.written_bytes;
    placed.verified = result.placed.verified;
    placed.sha256 = result.placed.sha256;
    if (result.receipt_stored) placed.receipt = job.receipt_path;
    if (!result.placed.finished) {
      placement.finished = false;
      return;
    }
    if (!placed.verified) {
      placement.findings.push_back({Severity::fault, FindingCode::card_differs, region.name,
                                    placed.place.start, placed.place.bytes,
                                    fmt::format("{} blocks read back differ from what was written",
                                                result.placed.differing.blocks())});
    }
  }
}

void add_difference(Verification& verification, const plan::Region& region,
                    const VerifiedRegion& verified, const std::vector<Layer>& layers) {
  if (verified.equal) return;
  std::string message = "the region differs from the receipt's SHA-256";
  if (!verified.by_receipt) {
    const Layer* layer = innermost_layer_at(layers, verified.first_difference - region.start);
    message = fmt::format(
        "{} block{} differ{}{}", verified.differing.blocks(),
        verified.differing.blocks() == 1 ? "" : "s", verified.differing.blocks() == 1 ? "s" : "",
        layer == nullptr ? "" : fmt::format("; the first belongs to {}", layer->id));
  }
  verification.findings.push_back({Severity::fault, FindingCode::card_differs, region.name,
                                   verified.first_difference, plan::kBlockBytes,
                                   std::move(message)});
}

}  // namespace

const Layer* innermost_layer_at(const std::vector<Layer>& layers, std::uint64_t byte) noexcept {
  const Layer* best = nullptr;
  for (const Layer& layer : layers) {
    const bool holds = byte >= layer.start && byte - layer.start < layer.bytes;
    const Layer* inside = innermost_layer_at(layer.layers, byte);
    if (inside == nullptr && holds) inside = &layer;
    if (inside != nullptr && (best == nullptr || inside->bytes < best->bytes)) best = inside;
  }
  return best;
}

Placement place(const std::string& plan_path, const PlaceRequest& request,
                const RegionProgress& on_progress) {
  Placement placement;
  placement.asked_to_write = request.write;
  placement.job = load_card_job(plan_path, request.open);
  if (!placement.job.complaints.empty()) return placement;
  for (const std::string& name : request.overwrite) {
    if (find_region(placement.job.plan, name) == nullptr) {
      throw std::invalid_argument(fmt::format("{} has no region named '{}'", plan_path, name));
    }
  }
  const auto regions = chosen(placement.job, request.regions);
  const std::string card_path = card_path_of(placement.job);
  placement.findings = placement.job.plan.findings;
  for (const plan::Region* region : regions) {
    PlacedRegion placed;
    placed.name = region->name;
    placed.place = {region->start, region->bytes};
    placed.image = region->image;
    if (!region->known) throw_why_unknown(*region, plan_path, request.open);
    placed.image_bytes = region->known->bytes;
    look_at_target(placement, placed, card_path, request);
    placement.regions.push_back(std::move(placed));
  }
  if (!request.write || any_fault(placement.findings)) return placement;
  refuse_a_card_in_use(card_path);
  write_regions(placement, regions, card_path, request, on_progress);
  return placement;
}

Verification verify(const std::string& plan_path, const std::vector<std::string>& names,
                    const OpenOptions& open, const RegionProgress& on_progress) {
  Verification verification;
  verification.job = load_card_job(plan_path, open);
  if (!verification.job.complaints.empty()) return verification;
  const auto regions = chosen(verification.job, names);
  plan::Card card(card_path_of(verification.job), {});
  for (const plan::Region* region : regions) {
    const plan::Extent place{region->start, region->bytes};
    const auto progress = [&](const plan::Progress& step) {
      return !on_progress || on_progress(region->name, step);
    };
    VerifiedRegion verified;
    verified.name = region->name;
    std::vector<Layer> layers;
    plan::VerifyResult result;
    const std::string image_path = plan::beside(plan_path, region->image);
    if (exists(image_path)) {
      const Image image = open_image(image_path, open);
      result = plan::verify_image(*image.source, image_path, card, place, progress);
      if (!result.equal) layers = survey(image).layers;
    } else {
      const auto receipt = plan::load_receipt(plan::receipt_path(plan_path, region->name));
      if (!receipt || receipt->sha256.empty()) {
        throw IoError(image_path, 0, 0, "is gone, and there is no receipt with a digest for it");
      }
      verified.by_receipt = true;
      result = plan::verify_digest(receipt->sha256, receipt->image_bytes, card, place, progress);
    }
    if (!result.finished) {
      verification.finished = false;
      return verification;
    }
    verified.equal = result.equal;
    verified.differing = result.differing;
    verified.first_difference = result.first_difference;
    add_difference(verification, *region, verified, layers);
    verification.regions.push_back(std::move(verified));
  }
  return verification;
}

}  // namespace platter
