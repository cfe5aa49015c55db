// platter verify: does the card hold what the plan says, byte for byte?
#include <functional>
#include <stdexcept>

#include "command.h"
#include "plan_options.h"
#include "report/plan_report.h"

namespace platter::tool {

int run_verify(std::span<const std::string> arguments, Streams& streams) {
  Options options(
      "verify",
      "Compares a card with the images of its plan, or with the receipts of images that "
      "are gone.",
      "platter verify card.toml");
  std::string path;
  std::vector<std::string> regions;
  options.app()
      .add_option("PLAN", path, "plan file (docs/plan-file.md)")
      ->required()
      ->option_text("(required)");
  options.app()
      .add_option("--region", regions, "only this region (can be repeated)")
      ->option_text("NAME");
  options.add_json();
  options.add_spool_limit();
  if (!options.parse(arguments, streams)) return options.status;

  try {
    ProgressLine progress(streams);
    const Verification result = verify(path, regions, options.open_options(), std::ref(progress));
    if (complained(result.job, streams)) return kNotUnderstood;
    if (!result.finished) {
      complain(streams, "interrupted");
      return kInterrupted;
    }
    streams.out << (options.json ? verify_json(result) : verify_text(result, streams.style));
    return any_fault(result.findings) ? kFaultFound : kDone;
  } catch (const std::invalid_argument& error) {
    complain(streams, error.what());
    return kNotUnderstood;
  }
}

}  // namespace platter::tool
