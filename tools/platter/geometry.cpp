// platter geometry: which cylinders x heads x sectors describe this size?
#include "plan/geometry.h"

#include <fmt/format.h>

#include "command.h"
#include "plan/size.h"
#include "report/plan_report.h"

namespace platter::tool {

int run_geometry(std::span<const std::string> arguments, Streams& streams) {
  Options options(
      "geometry", "Finds the cylinders, heads and sectors that describe a disk size.",
      "platter geometry 2097152 --label sun\n  platter geometry 1GiB --like 2048/16/63");
  std::string size_words;
  std::string label;
  std::string like_words;
  std::size_t at_most = 10;
  plan::GeometryLimits limits;
  CLI::App& app = options.app();
  app.add_option("BLOCKS", size_words, "size in blocks, or with a unit")
      ->required()
      ->option_text("(required)");
  app.add_option("--max-cylinders", limits.max_cylinders, "most cylinders")
      ->option_text("N")
      ->check(CLI::PositiveNumber);
  app.add_option("--max-heads", limits.max_heads, "most heads")
      ->option_text("N")
      ->check(CLI::PositiveNumber);
  app.add_option("--max-sectors", limits.max_sectors, "most sectors per track")
      ->option_text("N")
      ->check(CLI::PositiveNumber);
  app.add_option("--heads", limits.heads, "exactly so many heads")->option_text("N");
  app.add_option("--sectors-per-track", limits.sectors_per_track,
                 "exactly so many sectors per track")
      ->option_text("N");
  app.add_option("--label", label, "no more than the fields of that label can say")
      ->option_text("sun|sgi|bsd|dlv|mbr");
  app.add_option("--at-most", at_most, "so many choices (default 10)")
      ->option_text("N")
      ->check(CLI::PositiveNumber);
  app.add_option("--like", like_words, "what this geometry amounts to, and the nearest sizes")
      ->option_text("C/H/S");
  options.add_json();
  if (!options.parse(arguments, streams)) return options.status;

  const std::uint64_t blocks = bytes_from_words(size_words) / plan::kBlockBytes;
  if (!label.empty()) {
    const plan::LabelWidths* widths = plan::find_label_widths(label);
    if (widths == nullptr) {
      complain(streams, fmt::format("--label: '{}' has no known field widths", label));
      return kNotUnderstood;
    }
    limits = plan::narrowed(limits, *widths);
  }
  GeometryReport report;
  report.blocks = blocks;
  if (!like_words.empty()) {
    const auto geometry = plan::parse_geometry(like_words);
    if (!geometry.value) {
      complain(streams, fmt::format("--like {}: {}", like_words, geometry.error));
      return kNotUnderstood;
    }
    report.like = LikeReport{*geometry.value, plan::geometry_like(*geometry.value, blocks)};
  }
  report.choices = plan::solve_geometry(blocks, limits, at_most);
  streams.out << (options.json ? geometry_json(report) : geometry_text(report, streams.style));
  const bool choices_told = options.json || !report.like;
  return report.choices.empty() && choices_told ? kFaultFound : kDone;
}

}  // namespace platter::tool
