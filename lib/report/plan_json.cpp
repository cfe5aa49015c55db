#include "plan/copy_command.h"
#include "report/json_values.h"
#include "report/plan_report.h"

namespace platter {
namespace {

Json geometry_value(const plan::Geometry& geometry) {
  return {{"cylinders", geometry.cylinders},
          {"heads", geometry.heads},
          {"sectors_per_track", geometry.sectors_per_track}};
}

Json sized_geometry(const plan::Geometry& geometry) {
  Json value = geometry_value(geometry);
  value["blocks"] = geometry.blocks();
  return value;
}

Json region_value(const CardJob& job, const plan::Region& region) {
  Json value = {{"name", json_text(region.name)}, {"device", plan::device_word(region.device)},
                {"bus_id", region.bus_id},        {"start", region.start},
                {"bytes", region.bytes},          {"block_bytes", region.block_bytes}};
  value["geometry"] = region.geometry ? geometry_value(*region.geometry) : Json(nullptr);
  value["image"] = json_text(region.image);
  const plan::CopyCommand command = plan::copy_command(job.plan, region, job.plan_path);
  value["copy_command"] = command.line;
  if (!command.reason.empty() && !region.image.empty()) {
    value["no_copy_command"] = json_text(command.reason);
  }
  return value;
}

Json hex_or_null(const std::string& digest) {
  return digest.empty() ? Json(nullptr) : Json(digest);
}

}  // namespace

std::string geometry_json(const GeometryReport& report) {
  Json choices = Json::array();
  for (const plan::GeometryChoice& choice : report.choices) {
    Json value = sized_geometry(choice.geometry);
    value["unused_blocks"] = choice.unused_blocks;
    choices.push_back(std::move(value));
  }
  std::vector<Finding> findings;
  if (report.choices.empty()) {
    findings.push_back({Severity::fault, FindingCode::geometry_differs, "", 0,
                        saturating_mul(report.blocks, plan::kBlockBytes),
                        "no geometry within these limits describes that size"});
  }
  Json document = {{"schema", "platter.geometry/1"},
                   {"blocks", report.blocks},
                   {"choices", choices},
                   {"findings", findings_value(findings)}};
  if (report.like) {
    document["like"] = sized_geometry(report.like->geometry);
    document["like"]["below"] = sized_geometry(report.like->sizes.below);
    document["like"]["above"] = sized_geometry(report.like->sizes.above);
  }
  return document_text(document);
}

std::string plan_json(const CardJob& job) {
  Json regions = Json::array();
  for (const plan::Region& region : job.plan.regions)
    regions.push_back(region_value(job, region));
  Json gaps = Json::array();
  for (const plan::Gap& gap : job.plan.gaps) {
    gaps.push_back({{"start", gap.start}, {"bytes", gap.bytes}});
  }
  return document_text(
      {{"schema", "platter.plan/1"},
       {"card", {{"path", json_text(job.plan.card_path)}, {"bytes", job.plan.card_bytes}}},
       {"regions", regions},
       {"gaps", gaps},
       {"findings", findings_value(job.plan.findings)}});
}

std::string place_json(const Placement& placement) {
  Json regions = Json::array();
  for (const PlacedRegion& region : placement.regions) {
    Json holds = Json::array();
    for (const std::string& layer : region.holds)
      holds.push_back(json_text(layer));
    regions.push_back({{"name", json_text(region.name)},
                       {"start", region.place.start},
                       {"bytes", region.place.bytes},
                       {"image", json_text(region.image)},
                       {"image_bytes", region.image_bytes},
                       {"holds", holds},
                       {"written_bytes", region.written_bytes},
                       {"verified", region.verified},
                       {"sha256", hex_or_null(region.sha256)},
                       {"receipt", json_text(region.receipt)}});
  }
  return document_text({{"schema", "platter.place/1"},
                        {"wrote", placement.wrote},
                        {"regions", regions},
                        {"findings", findings_value(placement.findings)}});
}

std::string verify_json(const Verification& verification) {
  Json regions = Json::array();
  for (const VerifiedRegion& region : verification.regions) {
    Json runs = Json::array();
    for (const plan::BlockRun& run : region.differing.runs()) {
      runs.push_back(
          {{"start", run.start * plan::kBlockBytes}, {"bytes", run.blocks * plan::kBlockBytes}});
    }
    Json value = {
        {"name", json_text(region.name)},
        {"equal", region.equal},
        {"differing_blocks", region.differing.blocks()},
        {"first_difference", region.equal ? Json(nullptr) : Json(region.first_difference)},
        {"differing", runs}};
    if (region.by_receipt) value["by_receipt"] = true;
    regions.push_back(std::move(value));
  }
  return document_text({{"schema", "platter.verify/1"},
                        {"regions", regions},
                        {"findings", findings_value(verification.findings)}});
}

}  // namespace platter
