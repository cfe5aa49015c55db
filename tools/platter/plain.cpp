// platter plain: the image as a machine reads it, out of its containers, frames and swaps.
#include <algorithm>
#include <vector>

#include "command.h"
#include "core/output_file.h"
#include "framing/examine.h"
#include "framing/framed_source.h"
#include "framing/stream.h"
#include "interrupt.h"
#include "report/plain_report.h"
#include "survey/survey.h"

namespace platter::tool {
namespace {

constexpr std::uint64_t kPiece = std::uint64_t{1} << 20U;

bool going_on() {
  return !InterruptWatch::interrupted();
}

// False when interrupted.
bool copy(const ByteSource& from, const OutputFile& to, unsigned jobs) {
  const framing::Stream stream(from);
  const unsigned workers = framing::suitable_jobs(from.size(), jobs);
  std::vector<std::vector<std::byte>> buffers(workers, std::vector<std::byte>(kPiece));
  return framing::share_out(
      divide_up(from.size(), kPiece), workers, going_on, [&](unsigned worker, std::uint64_t piece) {
        const auto bytes =
            std::span(buffers[worker])
                .first(static_cast<std::size_t>(std::min(kPiece, from.size() - piece * kPiece)));
        if (stream.read(piece * kPiece, bytes) != bytes.size()) {
          throw IoError(to.path(), piece * kPiece, bytes.size(),
                        "the image became shorter while it was read");
        }
        to.write(piece * kPiece, bytes);
      });
}

// Frames are checked on the way; what is wrong with them is added to `findings`.
bool write_plain(const StraightSurvey& straight, const OutputFile& out, unsigned jobs,
                 std::vector<Finding>& findings) {
  bool written = false;
  for (const UndoneFraming& framing : straight.framings) {
    const auto* frames = dynamic_cast<const framing::FramedSource*>(framing.plain.get());
    if (frames == nullptr) continue;
    const bool last = framing.plain == straight.plain;
    framing::ExamineOptions options;
    options.jobs = jobs;
    options.keep_going = going_on;
    if (last) {
      options.write = [&](std::uint64_t offset, std::span<const std::byte> bytes) {
        out.write(offset, bytes);
      };
    }
    framing::Examination seen = framing::examine(*framing.stored, frames->layout(), options);
    if (!seen.finished) return false;
    FramesReport report = frames_report(std::move(seen), straight, framing.id, false,
                                        WrittenFile{out.path(), straight.plain->size()});
    std::ranges::move(report.findings, std::back_inserter(findings));
    written = last;
  }
  return written || copy(*straight.plain, out, jobs);
}

}  // namespace

int run_plain(std::span<const std::string> arguments, Streams& streams) {
  Options options("plain", "Writes an image without its containers, frames and swaps.",
                  "platter plain swapped-dump.img.gz --to disk.img");
  std::string path;
  std::string to;
  bool force = false;
  int jobs = 0;
  CLI::App& app = options.app();
  options.add_image(path);
  app.add_option("--to", to, "the file to write (required)")->required()->option_text("OUT");
  app.add_flag("--force", force, "replace the file that is to be written");
  app.add_option("--jobs", jobs, "most threads (default: one for each processor core)")
      ->option_text("N");
  options.add_json();
  options.add_spool_limit();
  if (!options.parse(arguments, streams)) return options.status;
  if (jobs < 0 || (jobs == 0 && app.count("--jobs") != 0)) {
    complain(streams, "--jobs: at least 1 is needed");
    return kNotUnderstood;
  }

  const StraightSurvey straight = survey_straight(open_image(path, options.open_options()));
  PlainReport report;
  report.image = straight.survey.image;
  for (const UndoneFraming& framing : straight.framings) {
    report.undone.push_back(find_layer(straight.survey.layers, framing.id));
  }
  const InterruptWatch watch;
  OutputFile out(to, force, path);
  if (!write_plain(straight, out, static_cast<unsigned>(jobs), report.findings)) {
    complain(streams, "interrupted; nothing was written");
    return kInterrupted;
  }
  report.plain = {to, straight.plain->size()};
  out.finish(report.plain.bytes);
  streams.out << (options.json ? plain_json(report) : plain_text(report, streams.style));
  return any_fault(report.findings) ? kFaultFound : kDone;
}

}  // namespace platter::tool
