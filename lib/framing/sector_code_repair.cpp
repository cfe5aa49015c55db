// Repair of a frame from its P and Q words.
//
// Every symbol stands in one P and one Q word (the Q parity symbols in a Q word only). A word with
// one unknown symbol tells its place and value; where the other code marks two places, a word gives
// both values. A word with more damage than that may point at an innocent symbol, so nothing here
// is believed until the EDC and all words hold; several orders of work are tried, each from the
// frame as it came.
#include <algorithm>

#include "framing/sector_code.h"

namespace platter::sector_code {
namespace {

constexpr std::size_t p_symbols = 26;
constexpr std::size_t q_symbols = 45;
constexpr std::size_t q_data_symbols = 43;
constexpr std::size_t mode_offset = 15;
constexpr std::size_t header_end = 16;
constexpr unsigned field_order = 255;  // of the multiplicative group of GF(2^8)

// Powers and logarithms of alpha = 2 in GF(2^8) modulo 0x11D. `log[0]` has no meaning.
struct FieldTables {
  std::array<std::uint8_t, std::size_t{2} * field_order> power{};
  std::array<std::uint8_t, 256> log{};
};

constexpr FieldTables make_field_tables() {
  FieldTables tables;
  unsigned value = 1;
  for (unsigned exponent = 0; exponent < field_order; ++exponent) {
    tables.power[exponent] = static_cast<std::uint8_t>(value);
    tables.power[exponent + field_order] = static_cast<std::uint8_t>(value);
    tables.log[value] = static_cast<std::uint8_t>(exponent);
    value <<= 1;
    if (value > 0xFF) {
      value ^= 0x11DU;
    }
  }
  return tables;
}

constexpr FieldTables field = make_field_tables();

std::uint8_t multiply(std::uint8_t a, std::uint8_t b) noexcept {
  if (a == 0 || b == 0) {
    return 0;
  }
  return field.power[static_cast<std::size_t>(field.log[a]) + field.log[b]];
}

// `divisor` is not zero.
std::uint8_t divide(std::uint8_t dividend, std::uint8_t divisor) noexcept {
  if (dividend == 0) {
    return 0;
  }
  return field
      .power[static_cast<std::size_t>(field.log[dividend]) + field_order - field.log[divisor]];
}

std::ptrdiff_t count_bad_words(const FrameSyndromes& words) {
  return std::ranges::count_if(words.p, &Syndrome::bad) +
         std::ranges::count_if(words.q, &Syndrome::bad);
}

// The frame under repair. Its syndromes are those of the last `refresh`.
class Workpiece {
 public:
  Workpiece(FrameView frame, FrameKind kind) : kind_(kind) {
    std::ranges::copy(frame, frame_.begin());
    refresh();
  }

  [[nodiscard]] const Frame& frame() const { return frame_; }
  [[nodiscard]] const Syndrome& p(std::size_t word) const { return syndromes_.p[word]; }
  [[nodiscard]] const Syndrome& q(std::size_t word) const { return syndromes_.q[word]; }
  [[nodiscard]] std::ptrdiff_t bad_words() const { return count_bad_words(syndromes_); }

  // The header of a form 1 frame counts as zero whatever it holds, so it can be no culprit.
  [[nodiscard]] bool may_change(std::size_t offset) const {
    return kind_ != FrameKind::mode2_form1 || offset >= header_end;
  }

  void change(std::size_t offset, std::uint8_t difference) {
    frame_[offset] ^= std::byte{difference};
  }

  void refresh() { syndromes_ = syndromes(frame_, kind_); }

 private:
  FrameKind kind_;
  Frame frame_{};
  FrameSyndromes syndromes_;
};

// The one symbol whose error explains `syndrome` in a word of `length`, if there is such.
std::optional<std::size_t> single_error(const Syndrome& syndrome, std::size_t length) noexcept {
  if (syndrome.sum == 0 || syndrome.weighted == 0) {
    return std::nullopt;
  }
  const std::size_t from_end = field.log[divide(syndrome.weighted, syndrome.sum)];
  if (from_end >= length) {
    return std::nullopt;
  }
  return length - 1 - from_end;
}

// The Q word through symbol `row` of P word `p_word`; there is always one, as Q covers P's parity.
std::size_t q_word_through(std::size_t p_word, std::size_t row) noexcept {
  const std::size_t column = p_word / 2;
  const std::size_t diagonal = (row + 2 * p_symbols - column) % p_symbols;
  return 2 * diagonal + p_word % 2;
}

// The P word through symbol `index` of Q word `q_word`; `index` is below 43.
std::size_t p_word_through(std::size_t q_word, std::size_t index) noexcept {
  return 2 * index + q_word % 2;
}

// Corrects the words with one wrong symbol. With `confirmed`, only where the word of the other code
// through that symbol is bad as well. Returns whether anything changed.
bool correct_single_p(Workpiece& piece, bool confirmed) {
  bool changed = false;
  for (std::size_t word = 0; word < p_word_count; ++word) {
    const auto row = single_error(piece.p(word), p_symbols);
    if (!row || (confirmed && !piece.q(q_word_through(word, *row)).bad())) {
      continue;
    }
    const std::size_t offset = p_symbol_offset(word, *row);
    if (piece.may_change(offset)) {
      piece.change(offset, piece.p(word).sum);
      changed = true;
    }
  }
  piece.refresh();
  return changed;
}

bool correct_single_q(Workpiece& piece, bool confirmed) {
  bool changed = false;
  for (std::size_t word = 0; word < q_word_count; ++word) {
    const auto index = single_error(piece.q(word), q_symbols);
    if (!index) {
      continue;
    }
    const bool is_data = *index < q_data_symbols;
    if (confirmed && is_data && !piece.p(p_word_through(word, *index)).bad()) {
      continue;
    }
    const std::size_t offset = q_symbol_offset(word, *index);
    if (piece.may_change(offset)) {
      piece.change(offset, piece.q(word).sum);
      changed = true;
    }
  }
  piece.refresh();
  return changed;
}

// Indexes of the symbols of one word that the other code marks.
struct Marks {
  std::array<std::size_t, 2> index{};
  std::size_t count = 0;  // may exceed 2, then only the first two are kept

  void add(std::size_t symbol) {
    if (count < index.size()) {
      index[count] = symbol;
    }
    ++count;
  }
};

// The errors at two known places of a word of `length`: their sum is `sum`, and weighted with
// alpha^(length-1-index) it is `weighted`.
std::array<std::uint8_t, 2> two_errors(const Syndrome& syndrome, const Marks& marks,
                                       std::size_t length) noexcept {
  const std::uint8_t first_weight = field.power[length - 1 - marks.index[0]];
  const std::uint8_t second_weight = field.power[length - 1 - marks.index[1]];
  const auto numerator =
      static_cast<std::uint8_t>(syndrome.weighted ^ multiply(second_weight, syndrome.sum));
  const auto denominator = static_cast<std::uint8_t>(first_weight ^ second_weight);
  const std::uint8_t first = divide(numerator, denominator);
  return {first, static_cast<std::uint8_t>(syndrome.sum ^ first)};
}

// Solves the bad P words in which exactly two symbols stand in bad Q words.
bool correct_marked_p(Workpiece& piece) {
  bool changed = false;
  for (std::size_t word = 0; word < p_word_count; ++word) {
    if (!piece.p(word).bad()) {
      continue;
    }
    Marks marks;
    for (std::size_t row = 0; row < p_symbols; ++row) {
      if (piece.q(q_word_through(word, row)).bad() &&
          piece.may_change(p_symbol_offset(word, row))) {
        marks.add(row);
      }
    }
    if (marks.count == 2) {
      const auto errors = two_errors(piece.p(word), marks, p_symbols);
      piece.change(p_symbol_offset(word, marks.index[0]), errors[0]);
      piece.change(p_symbol_offset(word, marks.index[1]), errors[1]);
      changed = true;
    }
  }
  piece.refresh();
  return changed;
}

// Solves the bad Q words in which exactly two symbols stand in bad P words, or none at all: then
// only their own two parity symbols are left to blame.
bool correct_marked_q(Workpiece& piece) {
  bool changed = false;
  for (std::size_t word = 0; word < q_word_count; ++word) {
    if (!piece.q(word).bad()) {
      continue;
    }
    Marks marks;
    for (std::size_t index = 0; index < q_data_symbols; ++index) {
      if (piece.p(p_word_through(word, index)).bad() &&
          piece.may_change(q_symbol_offset(word, index))) {
        marks.add(index);
      }
    }
    if (marks.count == 0) marks = {{q_data_symbols, q_data_symbols + 1}, 2};
    if (marks.count == 2) {
      const auto errors = two_errors(piece.q(word), marks, q_symbols);
      piece.change(q_symbol_offset(word, marks.index[0]), errors[0]);
      piece.change(q_symbol_offset(word, marks.index[1]), errors[1]);
      changed = true;
    }
  }
  piece.refresh();
  return changed;
}

struct Strategy {
  bool confirmed_p;   // believe a P word only where Q complains too
  bool confirmed_q;   // believe a Q word only where P complains too
  bool marked_first;  // use the marks before the single errors
};

// Few wrong symbols fall to one of the first two. The others are for errors that happen to form a
// word of one code, which therefore does not complain: of Q, then of P.
constexpr std::array<Strategy, 4> strategies{
    {{true, true, true}, {true, true, false}, {false, true, false}, {false, false, false}}};

// Rounds without fewer bad words than ever before. Wrong guesses can chase each other for ever, and
// audio taken for damaged data must not cost much.
constexpr int most_idle_rounds = 3;

void work_through(Workpiece& piece, const Strategy& strategy) {
  std::ptrdiff_t fewest = piece.bad_words();
  for (int idle_rounds = 0; fewest > 0 && idle_rounds < most_idle_rounds;) {
    bool changed = false;
    if (strategy.marked_first) {
      changed |= correct_marked_p(piece);
      changed |= correct_marked_q(piece);
    }
    changed |= correct_single_p(piece, strategy.confirmed_p);
    changed |= correct_single_q(piece, strategy.confirmed_q);
    if (!changed && !strategy.marked_first) {
      changed |= correct_marked_p(piece);
      changed |= correct_marked_q(piece);
    }
    if (!changed) return;
    const std::ptrdiff_t bad = piece.bad_words();
    idle_rounds = bad < fewest ? 0 : idle_rounds + 1;
    fewest = std::min(fewest, bad);
  }
}

bool all_zero(std::span<const std::byte> bytes) noexcept {
  return std::ranges::all_of(bytes, [](std::byte byte) { return byte == std::byte{0}; });
}

unsigned mode_of(FrameView frame) noexcept {
  return std::to_integer<unsigned>(frame[mode_offset]) & 0x1FU;
}

// Whether `repaired` is beyond doubt a frame of `kind`.
bool proven(FrameView repaired, FrameKind kind) noexcept {
  if (edc_state(repaired, kind) != EdcState::good) {
    return false;
  }
  if (count_bad_words(syndromes(repaired, kind)) != 0) return false;
  // The filler is outside the EDC. Were other values let through, three errors in it and its P
  // parity, to which P is blind, could be sealed with new Q parity.
  if (kind == FrameKind::mode1) {
    return mode_of(repaired) == 1 && all_zero(repaired.subspan<2068, 8>());
  }
  return !all_zero(repaired.subspan<header_end, 2060>());
}

// `frame` with its sync restored, repaired as `kind` (mode 1 or form 1).
std::optional<Frame> repaired_as(FrameView frame, FrameKind kind) {
  Frame with_sync;
  std::ranges::copy(frame, with_sync.begin());
  std::ranges::copy(sync_pattern, with_sync.begin());
  if (edc_state(with_sync, kind) == EdcState::good) {
    // Only parity can be wrong, and filler; both follow from what the EDC has proved.
    if (kind == FrameKind::mode1) std::fill_n(with_sync.begin() + 2068, 8, std::byte{0});
    write_parity(with_sync, kind);
  }
  for (const Strategy& strategy : strategies) {
    Workpiece piece(with_sync, kind);
    work_through(piece, strategy);
    if (proven(piece.frame(), kind)) {
      Frame result = piece.frame();
      if (kind == FrameKind::mode2_form1 && mode_of(result) != 2) {
        result[mode_offset] = std::byte{2};
      }
      return result;
    }
  }
  return std::nullopt;
}

// Form 2 has nothing to repair its content from, but an EDC that holds proves sync and mode byte.
std::optional<Frame> repaired_as_form2(FrameView frame) {
  constexpr std::byte form2_bit{0x20};
  if ((frame[18] & frame[22] & form2_bit) != form2_bit ||
      edc_state(frame, FrameKind::mode2_form2) != EdcState::good) {
    return std::nullopt;
  }
  Frame result;
  std::ranges::copy(frame, result.begin());
  std::ranges::copy(sync_pattern, result.begin());
  if (mode_of(frame) != 2) {
    result[mode_offset] = std::byte{2};
  }
  return result;
}

RepairResult accept(MutableFrameView frame, const Frame& repaired, FrameKind kind) {
  RepairResult result{RepairOutcome::corrected, kind, {}};
  for (std::size_t offset = 0; offset < frame_bytes; ++offset) {
    if (frame[offset] != repaired[offset]) {
      result.changes.push_back(
          ChangedByte{static_cast<std::uint16_t>(offset), frame[offset], repaired[offset]});
    }
  }
  // The codes hold, yet the check was not content: an address that no code covers.
  if (result.changes.empty()) result.outcome = RepairOutcome::not_correctable;
  std::ranges::copy(repaired, frame.begin());
  return result;
}

}  // namespace

RepairResult repair(MutableFrameView frame) {
  const FrameCheck found = check(frame);
  if (found.sound() && found.edc == EdcState::good) {
    return {RepairOutcome::sound, found.kind, {}};
  }
  if (found.kind == FrameKind::mode0 && found.filler_ok && found.sync_ok) {
    return {RepairOutcome::unprotected, found.kind, {}};
  }
  std::array<FrameKind, 2> candidates{FrameKind::mode1, FrameKind::mode2_form1};
  if (found.kind == FrameKind::mode2_form1) std::ranges::reverse(candidates);
  for (const FrameKind kind : candidates) {
    if (const auto repaired = repaired_as(frame, kind)) return accept(frame, *repaired, kind);
  }
  if (const auto repaired = repaired_as_form2(frame)) {
    return accept(frame, *repaired, FrameKind::mode2_form2);
  }
  const bool unprotected = found.edc == EdcState::absent && found.kind != FrameKind::unknown;
  return {
      unprotected ? RepairOutcome::unprotected : RepairOutcome::not_correctable, found.kind, {}};
}

}  // namespace platter::sector_code
