#include <algorithm>

#include <fmt/format.h>

#include "core/charset.h"
#include "plan/copy_command.h"
#include "report/plan_report.h"
#include "report/writing.h"

namespace platter {
namespace {

constexpr std::size_t kIndent = 2;

std::string line(std::string_view words, const TextStyle& style, std::size_t indent = kIndent) {
  return std::string(indent, ' ') + wrapped(words, indent + 2, indent, style.columns) + '\n';
}

// What belongs to the line above.
std::string detail(std::string_view words, const TextStyle& style) {
  return line(words, style, kIndent + 2);
}

std::string blocks_of(std::uint64_t bytes) {
  return bytes % plan::kBlockBytes == 0 ? grouped(bytes / plan::kBlockBytes)
                                        : fmt::format("{} B", grouped(bytes));
}

std::string geometry_words(const plan::Geometry& geometry) {
  return fmt::format("{} cylinders x {} heads x {} sectors", geometry.cylinders, geometry.heads,
                     geometry.sectors_per_track);
}

std::string findings_block(const std::vector<Finding>& findings, const TextStyle& style) {
  return findings.empty() ? std::string() : '\n' + findings_text(findings, style);
}

constexpr std::string_view kCautions =
    "Before you write: is this the card, and not a disk of this machine? Is there a second copy of "
    "what it holds? Switch old equipment off, unplug it and let it discharge before you open it; "
    "follow your local rules, and leave to qualified people what is theirs.";

// A row of the map: a region or a gap.
struct Stretch {
  std::uint64_t start;
  std::vector<std::string> cells;
};

Stretch stretch_of(const plan::Region& region) {
  std::string what = region.image.empty() ? "blank" : printable(region.image);
  if (region.geometry) what += ", " + geometry_words(*region.geometry);
  if (region.device == plan::Device::optical) {
    what += fmt::format(", {}-byte blocks", region.block_bytes);
  }
  return {region.start,
          {printable(region.name), blocks_of(region.start), blocks_of(region.bytes),
           plan::readable_size(region.bytes),
           fmt::format("{} {}", plan::device_word(region.device), region.bus_id), what}};
}

std::string like_text(const LikeReport& report, std::uint64_t blocks, const TextStyle& style) {
  const plan::GeometryLike& like = report.sizes;
  std::string text =
      line(fmt::format("{} is {} blocks, {}", geometry_words(report.geometry), grouped(like.blocks),
                       plan::readable_size(like.blocks * plan::kBlockBytes)),
           style);
  if (like.below.cylinders != 0) {
    text += line(fmt::format("At most {} blocks: {} cylinders, {} blocks", grouped(blocks),
                             like.below.cylinders, grouped(like.below.blocks())),
                 style);
  }
  return text + line(fmt::format("At least {} blocks: {} cylinders, {} blocks", grouped(blocks),
                                 like.above.cylinders, grouped(like.above.blocks())),
                     style);
}

}  // namespace

std::string geometry_text(const GeometryReport& report, const TextStyle& style) {
  if (report.like) return like_text(*report.like, report.blocks, style);
  std::string text = line(fmt::format("{} blocks, {}", grouped(report.blocks),
                                      plan::readable_size(report.blocks * plan::kBlockBytes)),
                          style);
  if (report.choices.empty()) return text + line("No geometry within these limits.", style);
  const bool exact = report.choices.front().unused_blocks == 0;
  text += line(exact ? "These describe it exactly, best first:"
                     : "None describes it exactly; these lose the fewest blocks, best first:",
               style);
  Table table({{"cylinders", Table::Align::right},
               {"heads", Table::Align::right},
               {"sectors", Table::Align::right},
               {"blocks", Table::Align::right},
               {"unused", Table::Align::right}});
  for (const plan::GeometryChoice& choice : report.choices) {
    table.row({fmt::format("{}", choice.geometry.cylinders),
               fmt::format("{}", choice.geometry.heads),
               fmt::format("{}", choice.geometry.sectors_per_track),
               grouped(choice.geometry.blocks()), grouped(choice.unused_blocks)});
  }
  return text + '\n' + table.text(kIndent, style);
}

std::string plan_text(const CardJob& job, const TextStyle& style) {
  const plan::Plan& plan = job.plan;
  std::string text =
      emphasised(plan.card_path.empty() ? "a card" : printable(plan.card_path), kHeading, style) +
      '\n';
  text += line(fmt::format("{} blocks, {}", blocks_of(plan.card_bytes),
                           plan::readable_size(plan.card_bytes)),
               style);
  std::vector<Stretch> stretches;
  for (const plan::Region& region : plan.regions)
    stretches.push_back(stretch_of(region));
  for (const plan::Gap& gap : plan.gaps) {
    stretches.push_back({gap.start,
                         {"(free)", blocks_of(gap.start), blocks_of(gap.bytes),
                          plan::readable_size(gap.bytes), "", ""}});
  }
  std::ranges::stable_sort(stretches, {}, &Stretch::start);
  Table table({{"region", Table::Align::left},
               {"begins", Table::Align::right},
               {"blocks", Table::Align::right},
               {"size", Table::Align::right},
               {"device", Table::Align::left},
               {"holds", Table::Align::left}});
  for (Stretch& stretch : stretches)
    table.row(std::move(stretch.cells));
  text += '\n' + table.text(kIndent, style) + '\n';
  text += line(any_fault(plan.findings) ? "This plan cannot work as it stands."
               : job.missing.empty()    ? "Nothing overlaps, everything fits."
                                        : "Nothing overlaps; an image could not be read, so nobody "
                                          "knows whether it fits.",
               style);
  return text + findings_block(plan.findings, style);
}

std::string copy_commands_text(const CardJob& job) {
  std::string text;
  for (const plan::Region& region : job.plan.regions) {
    const plan::CopyCommand command = plan::copy_command(job.plan, region, job.plan_path);
    text += command.line.empty()
                ? fmt::format("# {}: {}\n", printable(region.name), printable(command.reason))
                : command.line + '\n';
  }
  return text;
}

std::string place_text(const Placement& placement, const TextStyle& style) {
  std::string text = emphasised(printable(placement.job.plan.card_path), kHeading, style) + '\n';
  for (const PlacedRegion& region : placement.regions) {
    text += line(printable(region.name), style);
    text += detail(
        fmt::format("{} to blocks {} to {}, {} of {}", printable(region.image),
                    grouped(region.place.start / plan::kBlockBytes),
                    grouped((region.place.start + region.place.bytes) / plan::kBlockBytes - 1),
                    plan::readable_size(region.image_bytes),
                    plan::readable_size(region.place.bytes)),
        style);
    if (!region.card_seen && !region.verified) {
      text += detail("the card is not at hand, so nobody knows what lies there", style);
    } else if (region.card_seen && region.holds.empty()) {
      text += detail(placement.wrote ? "nothing that platter knows lay there"
                                     : "nothing that platter knows lies there now",
                     style);
    }
    for (const std::string& layer : region.holds)
      text +=
          detail((placement.wrote ? "lay there: " : "lies there now: ") + printable(layer), style);
    if (region.verified) {
      text += detail(fmt::format("placed and read back equal; {} written",
                                 plan::readable_size(region.written_bytes)),
                     style);
      if (!region.sha256.empty()) text += detail("SHA-256 " + region.sha256, style);
      if (!region.receipt.empty()) text += detail("receipt: " + printable(region.receipt), style);
    }
  }
  if (placement.asked_to_write && !placement.wrote) {
    text += '\n' + line("Nothing was written: the faults below stand in the way.", style);
  } else if (!placement.wrote) {
    text +=
        '\n' + line("Nothing was written. Add --write to do it.", style) + line(kCautions, style);
  }
  return text + findings_block(placement.findings, style);
}

std::string verify_text(const Verification& verification, const TextStyle& style) {
  std::string text = emphasised(printable(verification.job.plan.card_path), kHeading, style) + '\n';
  for (const VerifiedRegion& region : verification.regions) {
    const std::string against = region.by_receipt ? "the receipt (the image is gone)" : "the image";
    text += line(fmt::format("{}: {} {}", printable(region.name),
                             region.equal ? "equal to" : "differs from", against),
                 style);
    std::size_t shown = 0;
    for (const plan::BlockRun& run : region.differing.runs()) {
      if (++shown > 10) {
        text += detail("...", style);
        break;
      }
      text += detail(fmt::format("differs: {} block{} from block {}", grouped(run.blocks),
                                 run.blocks == 1 ? "" : "s", grouped(run.start)),
                     style);
    }
  }
  return text + findings_block(verification.findings, style);
}

}  // namespace platter
