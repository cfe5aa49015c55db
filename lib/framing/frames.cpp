// Optical frames: rows of the registry for every distance from frame to frame that dumps have.
#include <algorithm>
#include <array>
#include <cstring>
#include <utility>

#include <fmt/format.h>

#include "core/claim.h"
#include "framing/frame_header.h"
#include "framing/frame_layout.h"
#include "framing/framed_source.h"

namespace platter::framing {
namespace {

namespace code = sector_code;

// Frames that are looked at to say what an image holds; `platter frames` looks at all.
constexpr std::uint64_t kSamples = 128;

struct Sampled {
  std::array<bool, 7> kinds{};  // indexed by FrameKind
  bool audio = false;

  [[nodiscard]] bool has(code::FrameKind kind) const {
    return kinds[static_cast<std::size_t>(kind)];
  }
};

code::FrameKind kind_of(const View& image, const FrameLayout& layout, std::uint64_t frame) {
  std::array<std::byte, code::frame_bytes> stored{};
  const std::size_t bytes = code::frame_bytes - missing_head(layout.headless());
  image.read(layout.place_of(frame), std::span(stored).first(bytes));
  code::Frame whole;
  full_frame(std::span(stored).first(bytes), layout.headless(), whole);
  const auto kind = kind_of_head(std::span(whole).first<kHeadBytes>());
  return kind ? *kind : code::classify(whole);
}

bool is_audio(const View& image, const FrameLayout& layout, std::uint64_t frame) {
  return frame < layout.frames && kind_of(image, layout, frame) == code::FrameKind::audio;
}

Sampled sample(const View& image, const FrameLayout& layout) {
  Sampled found;
  const std::uint64_t count = std::min(kSamples, layout.frames);
  for (std::uint64_t i = 0; i < count; ++i) {
    const std::uint64_t frame =
        count == 1 ? 0 : layout.frames / count * i + layout.frames % count * i / count;
    const code::FrameKind kind = kind_of(image, layout, frame);
    if (kind != code::FrameKind::audio) {
      found.kinds[static_cast<std::size_t>(kind)] = true;
      continue;
    }
    // One frame alone has rather lost its sync.
    const bool neighbour =
        (frame > 0 && is_audio(image, layout, frame - 1)) || is_audio(image, layout, frame + 1);
    if (!neighbour) continue;
    found.audio = true;
    found.kinds[static_cast<std::size_t>(code::FrameKind::audio)] = true;
  }
  return found;
}

std::string kinds_words(const Sampled& sampled) {
  std::string words;
  for (std::size_t i = 0; i < sampled.kinds.size(); ++i) {
    if (!sampled.kinds[i]) continue;
    words += fmt::format("{}{}", words.empty() ? "" : ", ",
                         code::kind_name(static_cast<code::FrameKind>(i)));
  }
  return words;
}

std::string title_of(const FrameLayout& layout, const Sampled& sampled) {
  std::string title = fmt::format("optical frames of {} bytes: {} frame{}", layout.frame_bytes,
                                  layout.frames, layout.frames == 1 ? "" : "s");
  if (layout.first_lba) title += " from " + address_words(*layout.first_lba);
  const std::string kinds = kinds_words(sampled);
  if (!kinds.empty()) title += ", " + kinds;
  if (sampled.audio) title += "; a disc with data and audio tracks";
  return title;
}

void add_findings(Claim& claim, const FrameLayout& layout) {
  claim.find(Severity::caution, FindingCode::raw_frames, layout.lead,
             layout.frames * layout.frame_bytes,
             fmt::format("each sector of 2048 bytes is wrapped in a frame of {} bytes; no machine "
                         "starts from the image as it is",
                         layout.frame_bytes));
  if (layout.lead != 0) {
    claim.find(Severity::caution, FindingCode::frame_cut, 0, layout.lead,
               fmt::format("the image begins inside a frame: {} bytes stand before the first whole "
                           "frame of {}",
                           layout.lead, layout.frame_bytes));
  }
  if (layout.rest != 0) {
    claim.find(Severity::fault, FindingCode::frame_cut, layout.place_of(layout.frames), layout.rest,
               fmt::format("the image ends inside a frame: {} bytes of {} are there", layout.rest,
                           layout.frame_bytes));
  }
}

std::vector<Claim> claims(const View& view, std::uint32_t frame_bytes) {
  if (view.start() != 0) return {};
  const auto layout = find_layout(view, frame_bytes);
  if (!layout) return {};
  const Sampled sampled = sample(view, *layout);
  Claim claim;
  claim.strength = layout->proven ? Strength::proven : Strength::sane;
  claim.bytes = layout->plain_bytes();
  claim.title = title_of(*layout, sampled);
  claim.facts.set("frame_bytes", layout->frame_bytes).set("frames", layout->frames);
  if (layout->first_lba) claim.facts.set("first_address", address_words(*layout->first_lba));
  claim.facts.set("modes", kinds_words(sampled)).set("audio", sampled.audio);
  claim.facts.set("first_frame", layout->place_of(layout->pregap));
  const bool mode1 = sampled.has(code::FrameKind::mode1);
  const bool form1 = sampled.has(code::FrameKind::mode2_form1);
  if (mode1 != form1) {
    const std::size_t offset =
        *user_offset(mode1 ? code::FrameKind::mode1 : code::FrameKind::mode2_form1);
    claim.facts.set("user_offset", offset - missing_head(layout->headless()));
  }
  if (layout->pregap != 0) claim.facts.set("pregap_frames", layout->pregap);
  if (!layout->headless()) {
    claim.records.push_back(
        view.record<kFrameHeader>(layout->place_of(layout->pregap), ByteOrder::big).keep());
  }
  add_findings(claim, *layout);
  claim.framed = std::make_shared<FramedSource>(view.source(), *layout);
  std::vector<Claim> all;
  all.push_back(std::move(claim));
  return all;
}

}  // namespace

extern const Format frames2352_format;
const Format frames2352_format = {
    .id = "frames-2352",
    .title = "optical frames of 2352 bytes",
    .stage = Stage::framing,
    .claims = [](const View& view, const Context&) { return claims(view, 2352); }};

extern const Format frames2336_format;
const Format frames2336_format = {
    .id = "frames-2336",
    .title = "optical frames of 2336 bytes, without sync and header",
    .stage = Stage::framing,
    .claims = [](const View& view, const Context&) { return claims(view, kHeadlessFrame); }};

extern const Format frames2368_format;
const Format frames2368_format = {
    .id = "frames-2368",
    .title = "optical frames of 2352 bytes with 16 bytes of sub-channel",
    .stage = Stage::framing,
    .claims = [](const View& view, const Context&) { return claims(view, 2368); }};

extern const Format frames2448_format;
const Format frames2448_format = {
    .id = "frames-2448",
    .title = "optical frames of 2352 bytes with 96 bytes of sub-channel",
    .stage = Stage::framing,
    .claims = [](const View& view, const Context&) { return claims(view, 2448); }};

}  // namespace platter::framing
