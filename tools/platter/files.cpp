// platter files: what files are in it?
#include <stdexcept>

#include <fmt/format.h>

#include "command.h"
#include "files/check.h"
#include "plan/size.h"
#include "report/file_lines.h"
#include "volume_options.h"

namespace platter::tool {
namespace {

struct FilesRequest {
  bool tree = false;
  bool details = false;
  bool check = false;
};

// Goes through every volume instead of listing it.
int check(const Volumes& volumes, Streams& streams) {
  std::vector<Finding> findings;
  for (const OpenVolume& open : volumes.open) {
    VolumeCheck checked = check_volume(*open.volume, open.view);
    const auto many = [](std::uint64_t count, std::string_view one, std::string_view more) {
      return fmt::format("{} {}", count, count == 1 ? one : more);
    };
    streams.out << fmt::format("{}: {}, {}, {} owned by them, {}\n", printable(open.layer->id),
                               many(checked.files, "file", "files"),
                               many(checked.directories, "directory", "directories"),
                               plan::readable_size(checked.owned_bytes),
                               many(checked.findings.size(), "finding", "findings"));
    for (Finding& finding : checked.findings) {
      finding.layer = open.layer->id;
      findings.push_back(std::move(finding));
    }
  }
  streams.out.flush();
  return tell_findings(std::move(findings), streams) ? kFaultFound : kDone;
}

int list(const StraightSurvey& survey, const VolumeChoice& choice, const Options& options,
         const FilesRequest& request, Streams& streams) {
  Volumes volumes = open_volumes(survey, choice.in, choice.volume_options());
  if (volumes.open.empty()) return tell_no_volume(survey.survey, volumes, choice.in, streams);
  if (request.check) return check(volumes, streams);
  const FileListing listing = options.json   ? FileListing::json
                              : request.tree ? FileListing::tree
                                             : FileListing::paths;
  Selection selection = choice.selection();
  FileLines lines(streams.out, listing, request.details, streams.style);
  std::vector<Finding> findings;
  for (OpenVolume& open : volumes.open) {
    const std::size_t before = findings.size();
    lines.list(open, volumes.open.size() > 1, selection, findings);
    for (std::size_t i = before; i < findings.size(); ++i)
      findings[i].layer = open.layer->id;
  }
  lines.flush();
  streams.out.flush();
  const bool fault = tell_findings(std::move(findings), streams);
  return tell_unanswered(selection, streams) || fault ? kFaultFound : kDone;
}

}  // namespace

int run_files(std::span<const std::string> arguments, Streams& streams) {
  Options options(
      "files",
      "Lists the files of every filesystem in an image. A PATH may be a pattern: '*' and "
      "'?' stand for parts of a name, '**' for any run of directories; a directory "
      "stands for everything in it. Put patterns in quotes.",
      "platter files install.iso.gz\n"
      "  platter files --long disk.img 'etc/rc*'\n"
      "  platter files --json --in sun/a/ffs disk.img");
  std::string image;
  FilesRequest request;
  CLI::App& app = options.app();
  options.add_image(image);
  VolumeChoice choice(options);
  app.add_option("PATH", choice.paths, "only these files")->option_text("...");
  app.add_flag("-l,--long", request.details, "type, mode, links, owner, size and time in front");
  app.add_flag("--tree", request.tree, "names indented below their directory");
  auto* checked = app.add_flag("--check", request.check,
                               "compare all files and maps of a volume, list nothing");
  auto* json = app.add_flag("--json", options.json, "print one JSON object a line for each file");
  checked->excludes(json);
  options.add_spool_limit();
  if (!options.parse(arguments, streams)) return options.status;
  if (request.check && !choice.paths.empty()) {
    complain(streams, "--check goes through whole volumes, so it takes no PATH; --in chooses one");
    return kNotUnderstood;
  }

  const Image opened = open_image(image, options.open_options());
  if (tell_archive(opened, streams)) return kFaultFound;
  try {
    return list(survey_straight(opened), choice, options, request, streams);
  } catch (const std::invalid_argument& error) {
    complain(streams, error.what());
    return kNotUnderstood;
  }
}

}  // namespace platter::tool
