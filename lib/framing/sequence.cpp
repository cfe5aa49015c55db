#include "framing/sequence.h"

#include <algorithm>
#include <optional>

namespace platter::framing {
namespace {

// No audio track is so short (four seconds are 300 frames; from memory).
constexpr std::uint64_t kShortRun = 16;
// Frames looked at on each side for an address.
constexpr std::uint64_t kReach = 4;

// Block that frame 0 would have if the addresses counted on from this frame.
std::int64_t origin_of(const FrameNote& note, std::uint64_t frame) {
  return note.lba - static_cast<std::int64_t>(frame);
}

// The origin that the frames behind `frame` count from.
std::optional<std::int64_t> origin_behind(std::span<const FrameNote> notes, std::uint64_t frame) {
  const std::uint64_t end = std::min<std::uint64_t>(notes.size(), frame + 1 + kReach);
  for (std::uint64_t k = frame + 1; k < end; ++k) {
    if (notes[k].addressed()) return origin_of(notes[k], k);
  }
  return std::nullopt;
}

std::optional<std::int64_t> origin_before(std::span<const FrameNote> notes, std::uint64_t frame) {
  for (std::uint64_t k = frame; k > 0 && frame - k < kReach; --k) {
    if (notes[k - 1].addressed()) return origin_of(notes[k - 1], k - 1);
  }
  return std::nullopt;
}

// The first origin that two frames agree on, else the first there is.
std::optional<std::int64_t> first_origin(std::span<const FrameNote> notes) {
  std::optional<std::int64_t> first;
  for (std::uint64_t k = 0; k < notes.size(); ++k) {
    if (!notes[k].addressed()) continue;
    const std::int64_t origin = origin_of(notes[k], k);
    if (!first) first = origin;
    if (origin_behind(notes, k) == origin) return origin;
  }
  return first;
}

}  // namespace

std::vector<AddressStep> find_steps(std::span<const FrameNote> notes) {
  std::vector<AddressStep> steps;
  std::optional<std::int64_t> origin = first_origin(notes);
  if (!origin) return steps;
  for (std::uint64_t k = 0; k < notes.size(); ++k) {
    const FrameNote& note = notes[k];
    if (!note.framed()) continue;
    AddressStep step{.frame = k, .expected = *origin + static_cast<std::int64_t>(k)};
    if (note.addressed()) {
      const std::int64_t own = origin_of(note, k);
      if (own == *origin) continue;
      step.found = note.lba;
      step.lasting = origin_behind(notes, k) == own;
      if (step.lasting) origin = own;
    }
    step.after_other_kind = k > 0 && notes[k - 1].kind != note.kind;
    steps.push_back(step);
  }
  return steps;
}

std::vector<Suspects> find_suspects(std::span<const FrameNote> notes) {
  std::vector<Suspects> all;
  for (std::uint64_t k = 0; k < notes.size();) {
    if (!notes[k].without_sync()) {
      ++k;
      continue;
    }
    const std::uint64_t first = k;
    bool constant = true;
    for (; k < notes.size() && notes[k].without_sync(); ++k)
      constant = constant && notes[k].constant;
    const auto before = origin_before(notes, first);
    const bool amid = before && origin_behind(notes, k - 1) == before;
    const bool few = k - first <= kShortRun;
    if (few || (amid && constant)) all.push_back({first, k - first, amid});
  }
  return all;
}

std::vector<FrameRun> find_runs(std::span<const FrameNote> notes) {
  std::vector<FrameRun> runs;
  for (std::uint64_t k = 0; k < notes.size(); ++k) {
    const bool audio = notes[k].without_sync();
    if (runs.empty() || runs.back().audio != audio) runs.push_back({k, 0, audio});
    ++runs.back().frames;
  }
  return runs;
}

}  // namespace platter::framing
