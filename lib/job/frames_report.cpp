#include "job/frames_report.h"

#include <algorithm>
#include <set>

#include <fmt/format.h>

#include "core/charset.h"
#include "job/file_owners.h"
#include "survey/owners.h"

namespace platter {
namespace {

using framing::AddressStep;
using framing::BadFrame;
using framing::PlainContent;
using sector_code::FrameKind;

// A hostile image can be wrong in every frame; the counts stay exact.
constexpr std::size_t kMostFindings = 100;
constexpr std::size_t kMostOwners = 3;
constexpr std::uint64_t kBlocksPerFrame = sector_code::user_bytes / plan::kBlockBytes;

std::string frames_words(std::uint64_t first, std::uint64_t frames) {
  return frames == 1 ? fmt::format("frame {}", first)
                     : fmt::format("frames {} to {}", first, first + frames - 1);
}

std::string joined(const std::vector<std::string>& words) {
  std::string result;
  for (const std::string& word : words)
    result += (result.empty() ? "" : ", ") + word;
  return result;
}

// Where the user bytes of the bad frames lie in the plain image.
std::vector<ByteRun> plain_runs_of(const framing::Examination& seen) {
  std::vector<ByteRun> runs;
  for (const BadFrame& frame : seen.bad) {
    if (frame.frame < seen.layout.pregap) continue;
    runs.push_back(
        {(frame.frame - seen.layout.pregap) * sector_code::user_bytes, sector_code::user_bytes});
  }
  return runs;
}

class Conclusion {
 public:
  Conclusion(FramesReport& report, const StraightSurvey& straight)
      : report_(report), survey_(straight.survey), files_(straight, plain_runs_of(report.seen)) {
    for (const AddressStep& step : report.seen.steps)
      wrong_addresses_.insert(step.frame);
  }

  void draw() {
    for (const BadFrame& frame : report_.seen.bad)
      add(frame);
    for (const BadFrameRun& run : report_.bad) {
      paint(run);
      tell(run);
    }
    for (const AddressStep& step : report_.seen.steps)
      tell(step);
    for (const Finding& finding : survey_.findings) {
      if (finding.layer == report_.layer && finding.code == FindingCode::frame_cut) {
        report_.findings.push_back(finding);
      }
    }
    tell_what_is_no_sector();
    if (untold_ != 0) {
      report_.findings.push_back(
          {untold_severity_, FindingCode::frame_edc, report_.layer, untold_at_, 0,
           fmt::format("{} more places of this kind follow; the counts include them", untold_)});
    }
    std::ranges::stable_sort(report_.findings, std::ranges::greater{}, &Finding::severity);
  }

 private:
  [[nodiscard]] const framing::FrameLayout& layout() const { return report_.seen.layout; }

  [[nodiscard]] std::vector<std::string> wrong_with(const BadFrame& frame) const {
    if (frame.unreadable) return {"unreadable"};
    if (frame.lost) return {"lost"};
    std::vector<std::string> wrong;
    const auto note = [&](bool is, const char* word) {
      if (is) wrong.emplace_back(word);
    };
    note(!frame.check.sync_ok, "sync");
    note(!frame.check.mode_ok, "mode");
    note(!frame.check.filler_ok, "filler");
    note(!frame.check.address || wrong_addresses_.contains(frame.frame), "address");
    note(frame.edc_bad(), "edc");
    note(frame.ecc_bad(), "ecc");
    return wrong;
  }

  [[nodiscard]] std::string owner_of(std::uint64_t frame) const {
    if (frame < layout().pregap) return "the pause before block 0";
    const std::uint64_t start = (frame - layout().pregap) * sector_code::user_bytes;
    std::vector<Owner> owners = owners_of(survey_.layers, start, sector_code::user_bytes);
    std::string words = files_.words(start);
    // A file says more than the volume that it is in.
    if (!words.empty()) {
      std::erase_if(owners, [](const Owner& owner) { return owner.record == nullptr; });
    }
    for (std::size_t i = 0; i < std::min(owners.size(), kMostOwners); ++i) {
      words += (words.empty() ? "" : "; ") + owner_words(owners[i]);
    }
    return owners.size() > kMostOwners ? words + "; ..." : words;
  }

  void add(const BadFrame& frame) {
    BadFrameRun run{frame.frame,       1,           frame.check.kind,     wrong_with(frame),
                    frame.correctable, frame.plain, owner_of(frame.frame)};
    if (!report_.bad.empty() && report_.bad.back().same_as(run)) {
      ++report_.bad.back().frames;
    } else {
      report_.bad.push_back(std::move(run));
    }
  }

  // Only what is wrong with the user bytes: a map of blocks knows nothing of parity.
  void paint(const BadFrameRun& run) {
    if (run.plain == PlainContent::proven) return;
    const std::uint64_t first = std::max(run.first, layout().pregap) - layout().pregap;
    const std::uint64_t end = std::max(run.first + run.frames, layout().pregap) - layout().pregap;
    plan::BlockState state = plan::BlockState::damaged;
    if (run.wrong.front() == "unreadable") state = plan::BlockState::unreadable;
    if (run.correctable) state = plan::BlockState::correctable;
    report_.blocks.paint(
        {first * kBlocksPerFrame, (end - first) * kBlocksPerFrame, state, run.belongs_to});
  }

  void report(Severity severity, FindingCode code, std::uint64_t first, std::uint64_t frames,
              std::string message) {
    if (++told_ > kMostFindings) {
      if (untold_ == 0) untold_at_ = layout().place_of(first);
      untold_severity_ = std::max(untold_severity_, severity);
      ++untold_;
      return;
    }
    report_.findings.push_back({severity, code, report_.layer, layout().place_of(first),
                                frames * layout().frame_bytes, std::move(message)});
  }

  [[nodiscard]] static FindingCode code_of(const BadFrameRun& run) {
    const auto is = [&](std::string_view word) {
      return std::ranges::find(run.wrong, word) != run.wrong.end();
    };
    if (is("unreadable")) return FindingCode::unreadable;
    if (is("edc")) return FindingCode::frame_edc;
    if (is("ecc")) return FindingCode::frame_ecc;
    if (is("lost") || is("sync") || is("mode") || is("filler")) return FindingCode::frame_sync;
    return FindingCode::frame_address;
  }

  [[nodiscard]] std::string what_is_wrong(const BadFrameRun& run) const {
    if (run.wrong.front() == "unreadable") {
      return "cannot be read: " + printable(report_.seen.reason);
    }
    if (run.wrong.front() == "lost") {
      return run.frames == 1 ? "stands amid data and has no sync"
                             : "stand amid data and have no sync";
    }
    return (run.frames == 1 ? "does not hold: " : "do not hold: ") + joined(run.wrong);
  }

  [[nodiscard]] std::string what_becomes_of_it(const BadFrameRun& run) const {
    if (!framing::user_offset(run.kind) && run.plain == PlainContent::zeros && !run.correctable &&
        run.kind != FrameKind::unknown) {
      return "holds no sector of 2048 bytes";
    }
    const bool written = report_.plain.has_value();
    switch (run.plain) {
      case PlainContent::proven:
        return "the 2048 bytes are good";
      case PlainContent::corrected:
        return written ? "corrected in the plain image" : "parity corrects it";
      case PlainContent::as_stored:
        return written ? "wrong in the plain image, parity corrects it (--repair)"
                       : "parity corrects it (--repair)";
      case PlainContent::zeros:
        break;
    }
    if (run.correctable) return "parity corrects it";
    return written ? "not correctable, zeros in the plain image" : "not correctable";
  }

  void tell(const BadFrameRun& run) {
    std::string message = frames_words(run.first, run.frames);
    if (layout().first_lba) {
      const std::int64_t block = *layout().first_lba + static_cast<std::int64_t>(run.first);
      message += fmt::format(" ({})", framing::address_words(block));
    }
    message += ' ' + what_is_wrong(run) + "; " + what_becomes_of_it(run);
    if (!run.belongs_to.empty()) message += "; belongs to " + run.belongs_to;
    // What the code proves to be right in the file that was asked for is no fault of that file.
    const bool mended = report_.plain && report_.repair && run.correctable;
    report(mended ? Severity::caution : Severity::fault, code_of(run), run.first, run.frames,
           std::move(message));
  }

  void tell(const AddressStep& step) {
    const auto* bad = find_bad(step.frame);
    if (bad != nullptr && !step.lasting) return;  // said with the frame
    std::string message = fmt::format("frame {} ", step.frame);
    const std::string expected = framing::address_words(step.expected);
    if (!step.found) {
      message +=
          fmt::format("has an address that is no binary-coded decimal, expected {}", expected);
    } else {
      message +=
          fmt::format("has address {}, expected {}", framing::address_words(*step.found), expected);
    }
    if (step.lasting && step.found) {
      const std::int64_t distance = *step.found - step.expected;
      message += distance > 0 ? fmt::format("; {} frames are not in this copy", distance)
                              : fmt::format("; it goes back by {} frames", -distance);
    }
    // Between tracks of different kinds a pause is often left out on purpose.
    const bool custom = step.lasting && step.after_other_kind;
    report(custom ? Severity::caution : Severity::fault, FindingCode::frame_address, step.frame, 1,
           std::move(message));
  }

  [[nodiscard]] const BadFrame* find_bad(std::uint64_t frame) const {
    const auto found = std::ranges::lower_bound(report_.seen.bad, frame, {}, &BadFrame::frame);
    return found != report_.seen.bad.end() && found->frame == frame ? &*found : nullptr;
  }

  void tell_what_is_no_sector() {
    const framing::Examination& seen = report_.seen;
    if (seen.data_and_audio()) {
      const std::uint64_t audio = seen.count(FrameKind::audio);
      report_.findings.push_back(
          {Severity::note, FindingCode::raw_frames, report_.layer, layout().lead,
           layout().frames * layout().frame_bytes,
           fmt::format("the disc has data and audio: {} frames of data, {} of audio",
                       layout().frames - audio, audio)});
    }
    std::vector<std::string> kinds;
    for (const FrameKind kind :
         {FrameKind::audio, FrameKind::mode0, FrameKind::mode2_formless, FrameKind::mode2_form2}) {
      if (seen.count(kind) == 0) continue;
      kinds.push_back(fmt::format("{} {}", sector_code::kind_name(kind), seen.count(kind)));
    }
    if (kinds.empty() || !report_.plain) return;
    report_.findings.push_back(
        {Severity::note, FindingCode::raw_frames, report_.layer, layout().lead,
         layout().frames * layout().frame_bytes,
         fmt::format("frames that hold no sector of 2048 bytes are zeros in the plain image: {}",
                     joined(kinds))});
  }

  FramesReport& report_;
  const Survey& survey_;
  FileOwners files_;
  std::set<std::uint64_t> wrong_addresses_;
  std::size_t told_ = 0;
  std::size_t untold_ = 0;
  std::uint64_t untold_at_ = 0;
  Severity untold_severity_ = Severity::note;
};

}  // namespace

FramesReport frames_report(framing::Examination seen, const StraightSurvey& straight,
                           const std::string& layer, bool repair,
                           std::optional<WrittenFile> plain) {
  FramesReport report;
  report.image = straight.survey.image;
  report.layer = layer;
  report.repair = repair;
  report.seen = std::move(seen);
  report.plain = std::move(plain);
  Conclusion(report, straight).draw();
  return report;
}

FramesReport frames_report_of_plain(const Survey& survey, std::optional<WrittenFile> framed) {
  FramesReport report;
  report.image = survey.image;
  if (framed) {
    report.seen.layout.frame_bytes = sector_code::frame_bytes;
    report.seen.layout.frames = framed->bytes / sector_code::frame_bytes;
    report.seen.layout.first_lba = 0;
    report.seen.kinds[static_cast<std::size_t>(FrameKind::mode1)] = report.seen.layout.frames;
  }
  report.framed = std::move(framed);
  return report;
}

std::string_view plain_content_words(PlainContent content) noexcept {
  switch (content) {
    case PlainContent::proven:
      return "good";
    case PlainContent::corrected:
      return "corrected";
    case PlainContent::as_stored:
      return "as stored";
    case PlainContent::zeros:
      break;
  }
  return "zeros";
}

}  // namespace platter
