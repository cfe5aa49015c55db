#include "plan/block_map.h"

#include <algorithm>
#include <charconv>

#include <fmt/format.h>

#include "core/charset.h"
#include "core/numbers.h"

namespace platter::plan {
namespace {

struct StateRow {
  std::string_view word;
  std::string_view meaning;
};

constexpr StateRow kStates[] = {
#define BLOCK_STATE(identifier, word, meaning) {word, meaning},
#include "plan/block_states.def"
#undef BLOCK_STATE
};

constexpr std::string_view kTitle = "block map: begins length state note, in 512-byte blocks";

bool joins(const BlockRun& before, const BlockRun& after) {
  return before.end() == after.start && before.state == after.state && before.note == after.note;
}

// Control characters and bytes that are no UTF-8 would break the line or the terminal.
std::string escaped(std::string_view note) {
  const bool text = is_utf8(note);
  std::string result;
  for (const char c : note) {
    const auto byte = static_cast<unsigned char>(c);
    if (c == '\\') {
      result += "\\\\";
    } else if (c == '\n') {
      result += "\\n";
    } else if (c == '\r') {
      result += "\\r";
    } else if (byte < 0x20 || byte == 0x7F || (byte >= 0x80 && !text)) {
      result += fmt::format("\\x{:02X}", byte);
    } else {
      result += c;
    }
  }
  return result;
}

std::optional<std::string> unescaped(std::string_view text) {
  std::string note;
  while (!text.empty()) {
    const char c = text.front();
    text.remove_prefix(1);
    if (c != '\\') {
      note += c;
      continue;
    }
    if (text.empty()) return std::nullopt;
    const char kind = text.front();
    text.remove_prefix(1);
    if (kind == '\\') {
      note += '\\';
    } else if (kind == 'n') {
      note += '\n';
    } else if (kind == 'r') {
      note += '\r';
    } else {
      unsigned value = 0;
      if (kind != 'x' || text.size() < 2) return std::nullopt;
      const auto [end, problem] = std::from_chars(text.data(), text.data() + 2, value, 16);
      if (problem != std::errc{} || end != text.data() + 2) return std::nullopt;
      note += static_cast<char>(value);
      text.remove_prefix(2);
    }
  }
  return note;
}

// Takes one field off the front of a line.
std::string_view next_field(std::string_view& line) {
  const std::size_t space = line.find(' ');
  const std::string_view field = line.substr(0, space);
  line.remove_prefix(space == std::string_view::npos ? line.size() : space + 1);
  return field;
}

std::optional<std::uint64_t> whole_number(std::string_view field) {
  std::uint64_t value = 0;
  const auto [end, problem] = std::from_chars(field.data(), field.data() + field.size(), value);
  if (problem != std::errc{} || end != field.data() + field.size()) return std::nullopt;
  return value;
}

Parsed<BlockRun> run_of(std::string_view line) {
  BlockRun run;
  const auto start = whole_number(next_field(line));
  const auto blocks = whole_number(next_field(line));
  if (!start || !blocks) return {{}, "begins and length must be whole numbers"};
  if (*blocks == 0) return {{}, "a run must have at least one block"};
  if (saturating_add(*start, *blocks) == kLargest) return {{}, "the run ends past 64 bits"};
  const std::string_view word = next_field(line);
  const auto state = find_block_state(word);
  if (!state) return {{}, fmt::format("the state '{}' is unknown", printable(word))};
  auto note = unescaped(line);
  if (!note) return {{}, "the note has an escape that is none"};
  return {BlockRun{*start, *blocks, *state, std::move(*note)}, {}};
}

}  // namespace

std::string_view block_state_word(BlockState state) noexcept {
  return kStates[static_cast<std::size_t>(state)].word;
}

std::string_view block_state_meaning(BlockState state) noexcept {
  return kStates[static_cast<std::size_t>(state)].meaning;
}

std::optional<BlockState> find_block_state(std::string_view word) noexcept {
  const auto* found = std::ranges::find(kStates, word, &StateRow::word);
  if (found == std::end(kStates)) return std::nullopt;
  return static_cast<BlockState>(found - std::begin(kStates));
}

void BlockMap::append(BlockRun run) {
  if (run.blocks == 0) return;
  if (!runs_.empty() && joins(runs_.back(), run)) {
    runs_.back().blocks += run.blocks;
  } else {
    runs_.push_back(std::move(run));
  }
}

void BlockMap::paint(BlockRun run) {
  run.blocks = std::min(run.blocks, kLargest - run.start);
  if (run.blocks == 0) return;
  if (runs_.empty() || runs_.back().end() <= run.start) {
    append(std::move(run));
    return;
  }
  BlockMap painted;
  painted.runs_.push_back(std::move(run));
  *this = united(painted, *this);
}

std::uint64_t BlockMap::blocks() const noexcept {
  std::uint64_t sum = 0;
  for (const BlockRun& run : runs_)
    sum += run.blocks;  // disjoint, so at most 2^64 - 1
  return sum;
}

const BlockRun* BlockMap::at(std::uint64_t block) const noexcept {
  const auto after = std::ranges::upper_bound(runs_, block, {}, &BlockRun::start);
  if (after == runs_.begin()) return nullptr;
  const BlockRun& run = *std::prev(after);
  return block < run.end() ? &run : nullptr;
}

BlockMap BlockMap::only(BlockState state) const {
  BlockMap result;
  for (const BlockRun& run : runs_) {
    if (run.state == state) result.append(run);
  }
  return result;
}

// Walks both maps from boundary to boundary; between two boundaries each map has one run or none.
BlockMap combine(const BlockMap& a, const BlockMap& b, bool only_a, bool only_b, bool both) {
  BlockMap result;
  std::size_t i = 0;
  std::size_t j = 0;
  std::uint64_t at = 0;
  while (i < a.runs_.size() || j < b.runs_.size()) {
    const BlockRun* in_a = i < a.runs_.size() ? &a.runs_[i] : nullptr;
    const BlockRun* in_b = j < b.runs_.size() ? &b.runs_[j] : nullptr;
    const std::uint64_t a_start = in_a != nullptr ? in_a->start : kLargest;
    const std::uint64_t b_start = in_b != nullptr ? in_b->start : kLargest;
    at = std::max(at, std::min(a_start, b_start));
    const bool has_a = a_start <= at;
    const bool has_b = b_start <= at;
    std::uint64_t until = kLargest;
    if (in_a != nullptr) until = std::min(until, has_a ? in_a->end() : a_start);
    if (in_b != nullptr) until = std::min(until, has_b ? in_b->end() : b_start);
    if (has_a ? (has_b ? both : only_a) : only_b) {
      const BlockRun& from = has_a ? *in_a : *in_b;
      result.append({at, until - at, from.state, from.note});
    }
    at = until;
    if (in_a != nullptr && in_a->end() <= at) ++i;
    if (in_b != nullptr && in_b->end() <= at) ++j;
  }
  return result;
}

BlockMap united(const BlockMap& a, const BlockMap& b) {
  return combine(a, b, true, true, true);
}

BlockMap intersected(const BlockMap& a, const BlockMap& b) {
  return combine(a, b, false, false, true);
}

BlockMap subtracted(const BlockMap& a, const BlockMap& b) {
  return combine(a, b, true, false, false);
}

BlockMap complement(const BlockMap& map, std::uint64_t size, BlockState state,
                    const std::string& note) {
  BlockMap all;
  all.paint({0, size, state, note});
  return subtracted(all, map);
}

std::string write_block_map(const BlockMap& map) {
  std::string text = fmt::format("# {}\n", kTitle);
  for (const BlockRun& run : map.runs()) {
    text += fmt::format("{} {} {}", run.start, run.blocks, block_state_word(run.state));
    if (!run.note.empty()) text += " " + escaped(run.note);
    text += '\n';
  }
  return text;
}

Parsed<BlockMap> read_block_map(std::string_view text) {
  struct Numbered {
    BlockRun run;
    std::size_t line;
  };
  std::vector<Numbered> runs;
  for (std::size_t number = 1; !text.empty(); ++number) {
    const std::size_t length = text.find('\n');
    std::string_view line = text.substr(0, length);
    text.remove_prefix(length == std::string_view::npos ? text.size() : length + 1);
    if (line.ends_with('\r')) line.remove_suffix(1);
    if (line.empty() || line.front() == '#') continue;
    auto run = run_of(line);
    if (!run) return {{}, fmt::format("line {}: {}", number, run.error)};
    runs.push_back({std::move(*run.value), number});
  }
  std::ranges::stable_sort(runs, {}, [](const Numbered& one) { return one.run.start; });
  BlockMap map;
  for (std::size_t i = 0; i < runs.size(); ++i) {
    if (i > 0 && runs[i - 1].run.end() > runs[i].run.start) {
      return {{},
              fmt::format("line {}: block {} belongs to the run of line {} already", runs[i].line,
                          runs[i].run.start, runs[i - 1].line)};
    }
    map.paint(runs[i].run);
  }
  return {std::move(map), {}};
}

}  // namespace platter::plan
