// platter inspect: what is this, is it whole, what does it hold?
#include <algorithm>

#include "command.h"
#include "report/json.h"
#include "survey/survey.h"

namespace platter::tool {

int run_inspect(std::span<const std::string> arguments, Streams& streams) {
  Options options(
      "inspect", "Says what an image is, whether it is whole and what it holds.",
      "platter inspect install.iso.gz\n  platter inspect --json collection.zip::disc.iso");
  std::vector<std::string> paths;
  options.app()
      .add_option("IMAGE", paths, kImageMeaning)
      ->required()
      ->option_text("... (required)");
  options.add_json();
  options.add_spool_limit();
  if (!options.parse(arguments, streams)) return options.status;

  int status = kDone;
  std::vector<Survey> surveys;
  for (const std::string& path : paths) {
    try {
      surveys.push_back(survey(open_image(path, options.open_options())));
      if (any_fault(surveys.back().findings)) status = std::max(status, kFaultFound);
    } catch (const IoError& error) {
      complain(streams, error.what());
      status = kInputOutput;
      continue;
    }
    if (options.json) continue;
    if (surveys.size() > 1) streams.out << '\n';
    streams.out << survey_text(surveys.back(), streams.style);
  }
  if (options.json && (!surveys.empty() || paths.size() > 1)) {
    streams.out << (paths.size() == 1 ? survey_json(surveys.front()) : surveys_json(surveys));
  }
  return status;
}

}  // namespace platter::tool
