// platter frames: are the optical frames sound, and what is the plain image behind them?
#include <optional>

#include "command.h"
#include "core/output_file.h"
#include "framing/enframe.h"
#include "framing/examine.h"
#include "framing/framed_source.h"
#include "interrupt.h"
#include "report/frames_json.h"
#include "report/frames_text.h"
#include "survey/survey.h"

namespace platter::tool {
namespace {

struct FramesOptions {
  std::string image;
  std::string plain;
  std::string framed;
  bool repair = false;
  bool force = false;
  int jobs = 0;
  bool json = false;
};

// The framing of the way to the plain image that is optical frames; nullptr when there is none.
const UndoneFraming* frames_of(const StraightSurvey& straight) {
  for (const UndoneFraming& framing : straight.framings) {
    if (dynamic_cast<const framing::FramedSource*>(framing.plain.get()) != nullptr) return &framing;
  }
  return nullptr;
}

int print(const FramesReport& report, const FramesOptions& wanted, Streams& streams) {
  streams.out << (wanted.json ? frames_json(report) : frames_text(report, streams.style));
  return any_fault(report.findings) ? kFaultFound : kDone;
}

int interrupted(Streams& streams) {
  complain(streams, "interrupted; nothing was written");
  return kInterrupted;
}

int put_into_frames(const StraightSurvey& straight, const FramesOptions& wanted, Streams& streams) {
  const std::uint64_t sectors = divide_up(straight.plain->size(), sector_code::user_bytes);
  if (sectors == 0 || sectors > framing::kMostFrames) {
    complain(streams, wanted.image + " has " + std::to_string(sectors) +
                          " sectors; frames have addresses for 1 to " +
                          std::to_string(framing::kMostFrames));
    return kFaultFound;
  }
  const InterruptWatch watch;
  OutputFile out(wanted.framed, wanted.force, wanted.image);
  const bool finished = framing::enframe(
      *straight.plain, static_cast<unsigned>(wanted.jobs),
      [&](std::uint64_t offset, std::span<const std::byte> bytes) { out.write(offset, bytes); },
      [] { return !InterruptWatch::interrupted(); });
  if (!finished) return interrupted(streams);
  const std::uint64_t bytes = sectors * sector_code::frame_bytes;
  out.finish(bytes);
  return print(frames_report_of_plain(straight.survey, WrittenFile{wanted.framed, bytes}), wanted,
               streams);
}

int check_frames(const StraightSurvey& straight, const UndoneFraming& framing,
                 const FramesOptions& wanted, Streams& streams) {
  const auto& source = dynamic_cast<const framing::FramedSource&>(*framing.plain);
  framing::ExamineOptions options;
  options.repair = wanted.repair;
  options.jobs = static_cast<unsigned>(wanted.jobs);
  options.keep_going = [] { return !InterruptWatch::interrupted(); };
  const InterruptWatch watch;
  std::optional<OutputFile> out;
  if (!wanted.plain.empty()) {
    out.emplace(wanted.plain, wanted.force, wanted.image);
    options.write = [&](std::uint64_t offset, std::span<const std::byte> bytes) {
      out->write(offset, bytes);
    };
  }
  framing::Examination seen = framing::examine(*framing.stored, source.layout(), options);
  if (!seen.finished) return interrupted(streams);
  std::optional<WrittenFile> written;
  if (out) {
    out->finish(source.size());
    written = WrittenFile{wanted.plain, source.size()};
  }
  return print(
      frames_report(std::move(seen), straight, framing.id, wanted.repair, std::move(written)),
      wanted, streams);
}

}  // namespace

int run_frames(std::span<const std::string> arguments, Streams& streams) {
  Options options("frames", "Checks the frames of an optical disc, and writes the plain image.",
                  "platter frames disc.bin --plain disc.iso --repair\n"
                  "  platter frames disc.iso --framed disc.bin");
  FramesOptions wanted;
  CLI::App& app = options.app();
  options.add_image(wanted.image);
  auto* plain = app.add_option("--plain", wanted.plain, "write the 2048-byte image to this file")
                    ->option_text("OUT");
  app.add_flag("--repair", wanted.repair, "correct frames from their parity, tell what changes");
  app.add_option("--framed", wanted.framed, "write mode 1 frames of a plain image to this file")
      ->option_text("OUT")
      ->excludes(plain);
  app.add_flag("--force", wanted.force, "replace the file that is to be written");
  app.add_option("--jobs", wanted.jobs, "most threads (default: one for each processor core)")
      ->option_text("N");
  options.add_json();
  options.add_spool_limit();
  if (!options.parse(arguments, streams)) return options.status;
  if (wanted.jobs < 0 || (wanted.jobs == 0 && app.count("--jobs") != 0)) {
    complain(streams, "--jobs: at least 1 is needed");
    return kNotUnderstood;
  }
  wanted.json = options.json;

  const StraightSurvey straight = survey_straight(open_image(wanted.image, options.open_options()));
  const UndoneFraming* framing = frames_of(straight);
  if (framing != nullptr && !wanted.framed.empty()) {
    complain(streams, "--framed: " + wanted.image + " consists of frames already");
    return kNotUnderstood;
  }
  if (!wanted.framed.empty()) return put_into_frames(straight, wanted, streams);
  if (framing != nullptr) return check_frames(straight, *framing, wanted, streams);
  if (!wanted.plain.empty()) {
    complain(streams, "--plain: " + wanted.image + " has no optical frames to take it from");
    return kNotUnderstood;
  }
  return print(frames_report_of_plain(straight.survey, std::nullopt), wanted, streams);
}

}  // namespace platter::tool
