#include "framing/examine.h"

#include <algorithm>
#include <cstring>
#include <mutex>

#include "core/numbers.h"
#include "framing/sequence.h"
#include "framing/stream.h"

namespace platter::framing {
namespace {

namespace code = sector_code;

// Frames of one piece of work: they and their plain bytes stay in the cache of a processor core.
constexpr std::uint64_t kPiece = 64;

// Buffers and results of one thread.
struct Bench {
  std::vector<std::byte> stored;
  std::vector<std::byte> plain;
  std::vector<BadFrame> bad;
};

class Examiner {
 public:
  Examiner(const ByteSource& image, const FrameLayout& layout, const ExamineOptions& options)
      : stream_(image),
        options_(options),
        stored_frame_(code::frame_bytes - missing_head(layout.headless())),
        notes_(layout.frames) {
    result_.layout = layout;
  }

  Examination run() {
    const std::uint64_t pieces = divide_up(layout().frames, kPiece);
    const unsigned jobs = suitable_jobs(layout().frames * layout().frame_bytes, options_.jobs);
    std::vector<Bench> benches(jobs);
    for (Bench& bench : benches) {
      bench.stored.resize(kPiece * layout().frame_bytes);
      if (options_.write) bench.plain.resize(kPiece * code::user_bytes);
    }
    result_.finished =
        share_out(pieces, jobs, options_.keep_going,
                  [&](unsigned worker, std::uint64_t piece) { look_at(benches[worker], piece); });
    if (!result_.finished) return std::move(result_);
    for (Bench& bench : benches) {
      std::ranges::move(bench.bad, std::back_inserter(result_.bad));
    }
    if (!layout().headless()) {
      result_.steps = find_steps(notes_);
      for (const Suspects& suspects : find_suspects(notes_)) {
        if (options_.keep_going && !options_.keep_going()) {
          result_.finished = false;
          return std::move(result_);
        }
        question(suspects, benches.front());
      }
    }
    std::ranges::sort(result_.bad, {}, &BadFrame::frame);
    result_.runs = find_runs(notes_);
    count();
    return std::move(result_);
  }

 private:
  [[nodiscard]] const FrameLayout& layout() const noexcept { return result_.layout; }

  void look_at(Bench& bench, std::uint64_t piece) {
    const std::uint64_t first = piece * kPiece;
    const std::uint64_t count = std::min(kPiece, layout().frames - first);
    const auto bytes = static_cast<std::size_t>((count - 1) * layout().frame_bytes + stored_frame_);
    const auto stored = std::span(bench.stored).first(bytes);
    bool whole = false;
    try {
      whole = stream_.read(layout().place_of(first), stored) == bytes;
    } catch (const IoError&) {
      whole = false;  // frame by frame, to lose no more than must be
    }
    for (std::uint64_t i = 0; i < count; ++i) {
      const auto frame =
          stored.subspan(static_cast<std::size_t>(i * layout().frame_bytes), stored_frame_);
      if (whole || read_alone(first + i, frame)) {
        take(bench, first + i, frame, plain_of(bench, i));
      } else {
        lose(bench, first + i, plain_of(bench, i));
      }
    }
    write_plain(bench, first, count);
  }

  bool read_alone(std::uint64_t frame, std::span<std::byte> out) {
    std::string reason = "the image became shorter while it was read";
    try {
      if (stream_.read(layout().place_of(frame), out) == out.size()) return true;
    } catch (const IoError& error) {
      reason = error.reason();
    }
    const std::lock_guard lock(mutex_);
    if (result_.reason.empty()) result_.reason = reason;
    return false;
  }

  // Where the user bytes of the i-th frame of a piece go; empty when no plain image is wanted.
  static std::span<std::byte> plain_of(Bench& bench, std::uint64_t i) {
    if (bench.plain.empty()) return {};
    return std::span(bench.plain)
        .subspan(static_cast<std::size_t>(i * code::user_bytes), code::user_bytes);
  }

  void write_plain(const Bench& bench, std::uint64_t first, std::uint64_t count) const {
    if (!options_.write || first + count <= layout().pregap) return;
    const std::uint64_t skipped = layout().pregap > first ? layout().pregap - first : 0;
    const auto bytes = std::span(bench.plain)
                           .first(static_cast<std::size_t>(count * code::user_bytes))
                           .subspan(static_cast<std::size_t>(skipped * code::user_bytes));
    options_.write((first + skipped - layout().pregap) * code::user_bytes, bytes);
  }

  void lose(Bench& bench, std::uint64_t frame, std::span<std::byte> plain) {
    notes_[frame].unreadable = true;
    std::ranges::fill(plain, std::byte{0});
    BadFrame bad{.frame = frame, .unreadable = true};
    bad.check.kind = code::FrameKind::unknown;
    bench.bad.push_back(std::move(bad));
  }

  void take(Bench& bench, std::uint64_t frame, std::span<const std::byte> stored,
            std::span<std::byte> plain) {
    if (!layout().headless()) {
      take_full(bench, frame, stored.first<code::frame_bytes>(), plain);
      return;
    }
    code::Frame whole;
    full_frame(stored, true, whole);
    take_full(bench, frame, whole, plain);
  }

  void take_full(Bench& bench, std::uint64_t frame, code::FrameView view,
                 std::span<std::byte> plain) {
    const code::FrameCheck check = code::check(view, options_.path);
    FrameNote& note = notes_[frame];
    note.kind = check.kind;
    if (check.address) note.lba = *check.address;
    if (check.kind == code::FrameKind::audio) {
      note.constant = std::memcmp(view.data(), view.data() + 1, view.size() - 1) == 0;
      std::ranges::fill(plain, std::byte{0});
      return;
    }
    if (check.sound()) {
      give(view, user_offset(check.kind), plain);
      return;
    }
    BadFrame bad{.frame = frame, .check = check};
    settle(bad, view, plain);
    bench.bad.push_back(std::move(bad));
  }

  static void give(code::FrameView frame, std::optional<std::size_t> offset,
                   std::span<std::byte> plain) {
    if (plain.empty()) return;
    if (offset) {
      std::memcpy(plain.data(), frame.data() + *offset, code::user_bytes);
    } else {
      std::ranges::fill(plain, std::byte{0});
    }
  }

  // Some programs leave the codes empty: then there is nothing to correct from, and looking for it
  // in every frame would take minutes.
  static bool has_parity(code::FrameView frame) {
    return std::ranges::any_of(frame.subspan<2076>(),
                               [](std::byte byte) { return byte != std::byte{0}; });
  }

  // Finds out whether parity corrects a frame, and decides what the plain image gets.
  void settle(BadFrame& bad, code::FrameView stored, std::span<std::byte> plain) const {
    code::Frame repaired;
    std::ranges::copy(stored, repaired.begin());
    code::RepairResult result;
    if (!bad.edc_bad() || has_parity(stored)) result = code::repair(repaired);
    bad.correctable = result.outcome == code::RepairOutcome::corrected;
    std::optional<std::size_t> offset;
    bool proven = false;
    if (bad.correctable) {
      offset = user_offset(result.kind);
      proven = offset && std::memcmp(stored.data() + *offset, repaired.data() + *offset,
                                     code::user_bytes) == 0;
      bad.changes = std::move(result.changes);
    } else {
      proven = bad.check.edc == code::EdcState::good;
      if (proven) offset = user_offset(bad.check.kind);
    }
    if (!offset) {
      bad.plain = PlainContent::zeros;
    } else if (proven) {
      bad.plain = PlainContent::proven;
    } else {
      bad.plain = options_.repair ? PlainContent::corrected : PlainContent::as_stored;
    }
    give(bad.plain == PlainContent::corrected ? code::FrameView{repaired} : stored, offset, plain);
  }

  // Frames without sync that may have been data.
  void question(const Suspects& suspects, Bench& bench) {
    for (std::uint64_t i = 0; i < suspects.frames; ++i) {
      const std::uint64_t frame = suspects.first + i;
      const auto stored = std::span(bench.stored).first(code::frame_bytes);
      if (!read_alone(frame, stored)) continue;
      const code::FrameView view = stored.first<code::frame_bytes>();
      BadFrame bad{.frame = frame, .lost = true};
      bad.check.kind = code::FrameKind::unknown;
      const auto plain = plain_of(bench, 0);
      if (notes_[frame].constant) {
        bad.plain = PlainContent::zeros;  // nothing is left to correct
      } else {
        settle(bad, view, plain);
      }
      if (!bad.correctable && !suspects.certain) continue;
      notes_[frame].kind = code::FrameKind::unknown;
      if (bad.plain != PlainContent::zeros) write_plain(bench, frame, 1);
      result_.bad.push_back(std::move(bad));
    }
  }

  void count() {
    for (const FrameNote& note : notes_) {
      const code::FrameKind kind = note.unreadable ? code::FrameKind::unknown : note.kind;
      ++result_.kinds[static_cast<std::size_t>(kind)];
    }
    result_.address_bad = result_.steps.size();
    for (const BadFrame& bad : result_.bad) {
      result_.correctable += bad.correctable ? 1U : 0U;
      if (bad.unreadable) {
        ++result_.unreadable;
        continue;
      }
      result_.edc_bad += bad.edc_bad() ? 1U : 0U;
      result_.ecc_bad += bad.ecc_bad() ? 1U : 0U;
      const bool shape = bad.check.sync_ok && bad.check.mode_ok && bad.check.filler_ok;
      result_.sync_bad += shape ? 0U : 1U;
    }
  }

  const Stream stream_;
  const ExamineOptions& options_;
  const std::size_t stored_frame_;
  std::vector<FrameNote> notes_;
  std::mutex mutex_;
  Examination result_;
};

}  // namespace

bool Examination::data_and_audio() const noexcept {
  const std::uint64_t audio = count(code::FrameKind::audio);
  return audio != 0 && audio != layout.frames;
}

std::uint64_t Examination::hopeless() const noexcept {
  return static_cast<std::uint64_t>(std::ranges::count_if(bad, [](const BadFrame& frame) {
    return !frame.correctable && frame.plain == PlainContent::zeros;
  }));
}

Examination examine(const ByteSource& image, const FrameLayout& layout,
                    const ExamineOptions& options) {
  return Examiner(image, layout, options).run();
}

}  // namespace platter::framing
