// platter fit: does the image fit the region it is assigned?
#include "job/fit.h"

#include <fmt/format.h>

#include "command.h"
#include "job/card_job.h"
#include "plan/size.h"
#include "plan_options.h"
#include "report/json.h"

namespace platter::tool {

int run_fit(std::span<const std::string> arguments, Streams& streams) {
  Options options("fit", "Says whether an image fits the run of blocks it is assigned.",
                  "platter fit install.iso --region 2048+700MiB\n"
                  "  platter fit install.iso --plan card.toml --region 'install disc'");
  std::string path;
  std::string region_words;
  std::string plan_path;
  options.add_image(path);
  options.app()
      .add_option("--region", region_words, "blocks or with a unit; with --plan a name (required)")
      ->required()
      ->option_text("START+LENGTH");
  options.app()
      .add_option("--plan", plan_path, "plan file that names the region")
      ->option_text("PLAN");
  options.add_json();
  options.add_spool_limit();
  if (!options.parse(arguments, streams)) return options.status;

  plan::Extent region;
  if (plan_path.empty()) {
    const auto parsed = plan::parse_extent(region_words);
    if (!parsed.value) {
      complain(streams, "--region " + region_words + ": " + parsed.error);
      return kNotUnderstood;
    }
    region = *parsed.value;
  } else {
    const CardJob job = load_card_job(plan_path, options.open_options());
    const plan::Region* named = find_region(job.plan, region_words);
    if (complained(job, streams)) return kNotUnderstood;
    if (named == nullptr) {
      complain(streams, fmt::format("{} has no region named '{}'", plan_path, region_words));
      return kNotUnderstood;
    }
    region = {named->start, named->bytes};
  }
  const Survey found = survey(open_image(path, options.open_options()));
  const Fit result = fit(found, region.start, region.bytes);
  streams.out << (options.json ? fit_json(result) : fit_text(found, result, streams.style));
  return result.fits ? kDone : kFaultFound;
}

}  // namespace platter::tool
