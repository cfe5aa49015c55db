#include "report/frames_text.h"

#include <algorithm>

#include <fmt/format.h>

#include "core/charset.h"
#include "plan/size.h"
#include "report/writing.h"

namespace platter {
namespace {

using framing::BadFrame;
using Align = Table::Align;

constexpr std::size_t kIndent = 2;
// What is listed for a person; JSON lists everything.
constexpr std::size_t kMostRows = 200;

class Page {
 public:
  Page(const FramesReport& report, const TextStyle& style)
      : report_(report), seen_(report.seen), layout_(report.seen.layout), style_(style) {}

  std::string all() {
    text_ += emphasised(printable(report_.image.path), kHeading, style_) + '\n';
    if (layout_.frames == 0) {
      line("No optical frames: these are plain bytes, so there is no frame to check.");
      return std::move(text_);
    }
    if (report_.framed) {
      line(fmt::format("{} mode 1 frames of {} bytes from {} written to {}, {} bytes",
                       grouped(layout_.frames), layout_.frame_bytes,
                       framing::address_words(*layout_.first_lba), printable(report_.framed->path),
                       grouped(report_.framed->bytes)));
      return std::move(text_);
    }
    summary();
    runs();
    counts();
    blocks();
    if (report_.repair) corrections();
    verdict();
    return std::move(text_);
  }

 private:
  void line(std::string_view words, std::size_t indent = kIndent) {
    text_ += std::string(indent, ' ') + wrapped(words, indent + 2, indent, style_.columns) + '\n';
  }

  void heading(std::string_view words) {
    text_ += '\n' + std::string(kIndent, ' ') + emphasised(words, kHeading, style_) + '\n';
  }

  void summary() {
    std::string words =
        fmt::format("{} frames of {} bytes", grouped(layout_.frames), layout_.frame_bytes);
    if (layout_.first_lba) words += " from " + framing::address_words(*layout_.first_lba);
    std::string kinds;
    for (std::size_t i = 0; i < framing::kFrameKinds; ++i) {
      if (seen_.kinds[i] == 0) continue;
      kinds += fmt::format("{}{} {}", kinds.empty() ? "" : ", ",
                           sector_code::kind_name(static_cast<sector_code::FrameKind>(i)),
                           grouped(seen_.kinds[i]));
    }
    line(words + ": " + kinds);
    if (layout_.pregap != 0) {
      line(fmt::format("{} frames before block 0 are no part of the plain image",
                       grouped(layout_.pregap)));
    }
  }

  void runs() {
    if (!seen_.data_and_audio()) return;
    heading("A disc with data and audio");
    Table table({{"content", Align::left},
                 {"first frame", Align::right},
                 {"frames", Align::right},
                 {"", Align::left}});
    std::size_t rows = 0;
    for (const framing::FrameRun& run : seen_.runs) {
      if (++rows > kMostRows) break;
      table.row({run.audio ? "audio" : "data", grouped(run.first), grouped(run.frames), ""});
    }
    text_ += table.text(kIndent + 2, style_);
    more(seen_.runs.size());
  }

  void more(std::size_t total) {
    if (total > kMostRows) {
      line(fmt::format("and {} more; --json lists them all", grouped(total - kMostRows)),
           kIndent + 2);
    }
  }

  void counts() {
    heading("Checked");
    Table table({{"check", Align::left}, {"bad frames", Align::right}, {"", Align::left}});
    const auto row = [&](const char* check, std::uint64_t bad) {
      table.row({check, grouped(bad), ""});
    };
    row("sync, mode, filler", seen_.sync_bad);
    row("address", seen_.address_bad);
    row("error detection code", seen_.edc_bad);
    row("P and Q parity", seen_.ecc_bad);
    if (seen_.unreadable != 0) row("readable", seen_.unreadable);
    text_ += table.text(kIndent + 2, style_);
  }

  void blocks() {
    if (report_.blocks.empty()) return;
    heading("Blocks of the plain image");
    Table table({{"begins", Align::right},
                 {"blocks", Align::right},
                 {"state", Align::left},
                 {"belongs to", Align::left}});
    std::size_t rows = 0;
    for (const plan::BlockRun& run : report_.blocks.runs()) {
      if (++rows > kMostRows) break;
      table.row({grouped(run.start), grouped(run.blocks),
                 std::string(plan::block_state_word(run.state)),
                 run.note.empty() ? "-" : printable(run.note)});
    }
    text_ += table.text(kIndent + 2, style_);
    more(report_.blocks.runs().size());
  }

  // Byte for byte; neighbours stand on one line.
  void corrections() {
    if (seen_.correctable == 0) return;
    heading("Corrections (byte of the image: before -> after)");
    for (const BadFrame& frame : seen_.bad) {
      if (!frame.correctable) continue;
      const auto& changes = frame.changes;
      for (std::size_t i = 0; i < changes.size();) {
        std::size_t end = i + 1;
        while (end < changes.size() && end - i < 16 &&
               changes[end].offset == changes[end - 1].offset + 1) {
          ++end;
        }
        std::string before;
        std::string after;
        for (std::size_t k = i; k < end; ++k) {
          before += fmt::format(" {:02x}", std::to_integer<unsigned>(changes[k].before));
          after += fmt::format(" {:02x}", std::to_integer<unsigned>(changes[k].after));
        }
        line(fmt::format("frame {}, {}:{} ->{}", grouped(frame.frame),
                         grouped(layout_.place_of(frame.frame) + changes[i].offset -
                                 framing::missing_head(layout_.headless())),
                         before, after),
             kIndent + 2);
        i = end;
      }
    }
  }

  void verdict() {
    text_ += '\n';
    if (report_.plain) {
      line(fmt::format("Plain image: {}, {} bytes, {}", printable(report_.plain->path),
                       grouped(report_.plain->bytes), plan::readable_size(report_.plain->bytes)));
    }
    const bool faulty = any_fault(report_.findings);
    if (!faulty && report_.bad.empty()) {
      line("Sound: every frame's sync, address and codes hold.");
    } else if (!faulty) {
      line("Mended: what was wrong is corrected in the plain image, and the codes prove it.");
    } else {
      line(emphasised("Not sound:", kFault, style_) + " see the faults below.");
    }
    if (!report_.findings.empty()) text_ += '\n' + findings_text(report_.findings, style_);
  }

  const FramesReport& report_;
  const framing::Examination& seen_;
  const framing::FrameLayout& layout_;
  const TextStyle& style_;
  std::string text_;
};

}  // namespace

std::string frames_text(const FramesReport& report, const TextStyle& style) {
  return Page(report, style).all();
}

}  // namespace platter
