// platter extract: give me the files.
#include <algorithm>
#include <optional>
#include <stdexcept>

#include <fmt/format.h>

#include "command.h"
#include "core/charset.h"
#include "files/cut_watch.h"
#include "files/sink.h"
#include "plan/size.h"
#include "progress.h"
#include "volume_options.h"

namespace platter::tool {
namespace {

struct ExtractRequest {
  std::string image;
  std::string directory;
  std::string archive;
  bool show = false;
  SinkOptions sink;
};

std::string words_for(const TakenOut& taken) {
  std::string words =
      fmt::format("{} file{}, {} director{}", taken.files, taken.files == 1 ? "" : "s",
                  taken.directories, taken.directories == 1 ? "y" : "ies");
  if (taken.links != 0)
    words += fmt::format(", {} link{}", taken.links, taken.links == 1 ? "" : "s");
  if (taken.others != 0) words += fmt::format(", {} devices and pipes", taken.others);
  words += ", " + plan::readable_size(taken.bytes);
  if (taken.left_out != 0) words += fmt::format("; {} left out", taken.left_out);
  return words;
}

// A volume's own directory, when several are taken out: its layer's id, without what makes paths.
std::string directory_for(const Layer& layer) {
  std::string name = layer.id;
  std::ranges::replace(name, '/', '.');
  return is_unusable_name(name) ? "volume" : name;
}

struct ShownFile {
  OpenVolume* open = nullptr;
  NodeId node = 0;
  std::string path;
  Charset charset = Charset::ascii;
  Attributes attributes;
};

std::string words_for_no_content(const ShownFile& file) {
  std::string words = fmt::format("'{}' is a {}", file.path, node_type_name(file.attributes.type));
  if (file.attributes.type == NodeType::symlink) {
    const std::string target = file.open->volume->link_target(file.node);
    words += fmt::format(" to '{}'", decode_text(target, file.charset).utf8);
  }
  return words + ", which has no content of its own to show";
}

// Prints the content of a file. Holes are zeros.
int show_content(const ShownFile& file, Streams& streams) {
  static const std::string zeros(64 * 1024, '\0');
  std::uint64_t done = 0;
  const auto fill = [&](std::uint64_t until) {
    while (done < until && streams.out) {
      const std::uint64_t count = std::min<std::uint64_t>(zeros.size(), until - done);
      streams.out.write(zeros.data(), static_cast<std::streamsize>(count));
      done += count;
    }
  };
  const auto missing =
      read_content(*file.open->volume, file.open->view, file.node,
                   [&](std::uint64_t offset, std::uint64_t, std::span<const std::byte> bytes) {
                     fill(offset);
                     streams.out.write(reinterpret_cast<const char*>(bytes.data()),
                                       static_cast<std::streamsize>(bytes.size()));
                     done = offset + bytes.size();
                     return static_cast<bool>(streams.out);
                   });
  fill(file.attributes.bytes);
  streams.out.flush();
  std::vector<Finding> findings = file.open->volume->take_findings();
  if (!missing.empty()) {
    findings.push_back(missing_finding(file.path, file.attributes.bytes, missing, false));
  }
  return tell_findings(std::move(findings), streams) ? kFaultFound : kDone;
}

// Prints one file: the only one that is meant.
int show_file(Volumes& volumes, const VolumeChoice& choice, Streams& streams) {
  if (choice.paths.size() != 1) {
    complain(streams, "--show needs one PATH");
    return kNotUnderstood;
  }
  Selection selection = choice.selection();
  std::vector<Finding> findings;  // of the way to the file; what matters comes with its content
  ShownFile shown;
  for (OpenVolume& open : volumes.open) {
    std::optional<std::string> other;
    selection.walk(
        *open.volume,
        [&](const FileVisit& file) {
          if (shown.open != nullptr) {
            other = file.path;
            return Step::stop;
          }
          shown = {&open, file.entry.node, std::string(file.path), file.entry.charset,
                   file.attributes};
          return file.attributes.type == NodeType::directory ? Step::stop : Step::go_on;
        },
        findings);
    if (!other) continue;
    complain(
        streams,
        fmt::format("'{}' means more than one file: '{}' in {} and '{}' in {}; --show prints "
                    "one, and --in chooses the volume",
                    choice.paths[0], shown.path, shown.open->layer->id, *other, open.layer->id));
    return kNotUnderstood;
  }
  if (shown.open == nullptr) {
    tell_unanswered(selection, streams);
    return kFaultFound;
  }
  if (shown.attributes.type != NodeType::file) {
    complain(streams, words_for_no_content(shown));
    return kFaultFound;
  }
  return show_content(shown, streams);
}

int take_out(const StraightSurvey& survey, Volumes& volumes, const VolumeChoice& choice,
             const ExtractRequest& request, Streams& streams) {
  StatusLine status(streams);
  SinkOptions options = request.sink;
  options.on_progress = [&](const TakenOut& taken) {
    if (status.due()) status.show(words_for(taken));
    return !StatusLine::interrupted();
  };
  const std::unique_ptr<FileSink> sink =
      request.archive.empty() ? directory_sink(request.directory, options)
                              : archive_sink(request.archive, survey.survey.image.path, options);
  Selection selection = choice.selection();
  std::vector<Finding> findings;
  for (OpenVolume& open : volumes.open) {
    const std::size_t before = findings.size();
    sink->begin_volume(volumes.open.size() > 1 ? directory_for(*open.layer) : std::string());
    CutWatch watch(*open.volume, open.view, open.layer->bytes);
    selection.walk(
        *open.volume,
        [&](const FileVisit& file) {
          watch.look(file);
          sink->add(file, *open.volume, open.view, findings);
          return Step::go_on;
        },
        findings, sink->order());
    watch.tell(findings);
    for (std::size_t i = before; i < findings.size(); ++i)
      findings[i].layer = open.layer->id;
  }
  sink->finish(findings);
  const bool fault = tell_findings(std::move(findings), streams);
  streams.out << fmt::format(
      "{}: {}\n", printable(request.archive.empty() ? request.directory : request.archive),
      words_for(sink->taken_out()));
  return tell_unanswered(selection, streams) || fault ? kFaultFound : kDone;
}

}  // namespace

int run_extract(std::span<const std::string> arguments, Streams& streams) {
  Options options(
      "extract",
      "Takes files out of an image, into a directory or an archive, with their modes and "
      "times. Damaged files are taken out as far as the image has them.",
      "platter extract disk.img --to rescued\n"
      "  platter extract --in sun/a/ffs disk.img 'etc/rc*' --archive files.tar.zst\n"
      "  platter extract install.iso README --show");
  ExtractRequest request;
  CLI::App& app = options.app();
  options.add_image(request.image);
  VolumeChoice choice(options);
  app.add_option("PATH", choice.paths, "only these files (see platter files --help)")
      ->option_text("...");
  auto* to =
      app.add_option("--to", request.directory, "directory to put them into")->option_text("DIR");
  auto* archive = app.add_option("--archive", request.archive,
                                 "write an archive: .tar .tar.gz .tar.zst .zip .cpio")
                      ->option_text("FILE");
  auto* show = app.add_flag("--show", request.show, "print the content of one file");
  to->excludes(archive)->excludes(show);
  archive->excludes(show);
  app.add_flag("--owner", request.sink.owner, "give files their owners (needs root)");
  app.add_flag("--devices", request.sink.devices,
               "make device nodes, pipes and sockets too (needs root)");
  app.add_flag("--strict", request.sink.strict, "leave out files whose content is not whole");
  app.add_flag("--force", request.sink.replace, "replace files that are there already");
  options.add_spool_limit();
  if (!options.parse(arguments, streams)) return options.status;
  if (request.directory.empty() && request.archive.empty() && !request.show) {
    complain(streams,
             "say where to: --to DIR, --archive FILE or --show (see platter extract --help)");
    return kNotUnderstood;
  }

  const Image opened = open_image(request.image, options.open_options());
  if (tell_archive(opened, streams)) return kFaultFound;
  try {
    const StraightSurvey survey = survey_straight(opened);
    Volumes volumes = open_volumes(survey, choice.in, choice.volume_options());
    if (volumes.open.empty()) return tell_no_volume(survey.survey, volumes, choice.in, streams);
    return request.show ? show_file(volumes, choice, streams)
                        : take_out(survey, volumes, choice, request, streams);
  } catch (const Interrupted&) {
    complain(streams, "interrupted; the file that was being written is gone");
    return kInterrupted;
  } catch (const std::invalid_argument& error) {
    complain(streams, error.what());
    return kNotUnderstood;
  }
}

}  // namespace platter::tool
