// platter place: copy the images of a plan into their regions of the card, verified.
#include <ctime>
#include <functional>
#include <stdexcept>

#include "command.h"
#include "plan_options.h"
#include "report/plan_report.h"

namespace platter::tool {

int run_place(std::span<const std::string> arguments, Streams& streams) {
  Options options("place",
                  "Copies images into their regions of a card and reads them back. Without --write "
                  "it only says what it would do.",
                  "platter place card.toml\n"
                  "  platter place card.toml --region 'install disc' --write");
  std::string path;
  PlaceRequest request;
  std::string digest = "sha256";
  CLI::App& app = options.app();
  app.add_option("PLAN", path, "plan file (docs/plan-file.md)")
      ->required()
      ->option_text("(required)");
  app.add_option("--region", request.regions, "only this region (can be repeated)")
      ->option_text("NAME");
  app.add_flag("--write", request.write, "really write");
  app.add_option("--overwrite", request.overwrite,
                 "this region's content may be lost (can be repeated)")
      ->option_text("NAME");
  app.add_flag("--changed-only", request.changed_only, "read first, write only what differs");
  app.add_flag("--fill", request.fill, "zeros to the end of optical regions");
  app.add_flag("--create", request.create, "make the card file when it does not exist");
  app.add_option("--digest", digest, "of each image, for its receipt (default sha256)")
      ->option_text("sha256|none")
      ->check(CLI::IsMember({"sha256", "none"}));
  options.add_json();
  options.add_spool_limit();
  if (!options.parse(arguments, streams)) return options.status;
  request.digest = digest == "sha256";
  request.open = options.open_options();
  request.time = std::time(nullptr);

  try {
    ProgressLine progress(streams);
    const Placement placement = place(path, request, std::ref(progress));
    if (complained(placement.job, streams)) return kNotUnderstood;
    if (!placement.finished) {
      complain(streams, "interrupted; the region is not proven and has no receipt");
      return kInterrupted;
    }
    streams.out << (options.json ? place_json(placement) : place_text(placement, streams.style));
    return any_fault(placement.findings) ? kFaultFound : kDone;
  } catch (const std::invalid_argument& error) {
    complain(streams, error.what());
    return kNotUnderstood;
  }
}

}  // namespace platter::tool
