// Plan 9 tables: text in the second sector of an MBR slice or of the disk, or, in older systems, in
// the last or second-last sector of the disk.
#include <algorithm>
#include <charconv>
#include <optional>
#include <string_view>
#include <vector>

#include <fmt/format.h>

#include "core/claim.h"
#include "label/mbr_label.h"
#include "label/plan9_label.h"
#include "label/slice_id.h"

namespace platter::label {
namespace {

constexpr std::uint64_t kBlock = 512;
constexpr std::uint64_t kMbrType = 0x39;

struct Line {
  std::string_view name;
  std::uint64_t start = 0;  // sectors
  std::uint64_t end = 0;    // exclusive
  std::size_t at = 0;       // in the sector
  std::size_t length = 0;
};

bool is_letter_or_digit(char c) {
  return (c >= '0' && c <= '9') || (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z');
}

bool is_name(std::string_view name) {
  return !name.empty() && std::ranges::all_of(name, [](char c) {
    return is_letter_or_digit(c) || c == '.' || c == '_' || c == '-';
  });
}

// As strtoul with base 0, which the loader uses: 0x for hexadecimal, 0 for octal, else decimal.
std::optional<std::uint64_t> number_of(std::string_view text) {
  int base = 10;
  if (text.starts_with("0x") || text.starts_with("0X")) {
    base = 16;
    text.remove_prefix(2);
  } else if (text.size() > 1 && text[0] == '0') {
    base = 8;
    text.remove_prefix(1);
  }
  std::uint64_t value = 0;
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), value, base);
  if (error != std::errc() || end != text.data() + text.size()) return std::nullopt;
  return value;
}

/// The field up to the next blank, taken off the front.
std::string_view next_field(std::string_view& rest) {
  const std::size_t blank = std::min(rest.find(' '), rest.size());
  const std::string_view field = rest.substr(0, blank);
  rest.remove_prefix(std::min(blank + 1, rest.size()));
  return field;
}

std::optional<Line> line_from(std::string_view text) {
  Line line;
  line.name = next_field(text);
  const auto start = number_of(next_field(text));
  const auto end = number_of(next_field(text));
  if (!is_name(line.name) || !start || !end || !text.empty()) return std::nullopt;
  line.start = *start;
  line.end = *end;
  return line;
}

struct Text {
  std::vector<Line> lines;
  std::size_t stopped_at = 0;  // a line that begins like the others and is none; 0: there is none
};

/// Lines from `at` on, each behind `prefix`, up to a zero byte, the first other line or the limit.
Text read_lines(std::string_view sector, std::size_t at, std::string_view prefix) {
  Text text;
  sector = sector.substr(0, sector.find('\0'));
  while (at < sector.size() && text.lines.size() < kPlan9MostSlices) {
    const std::size_t end = std::min(sector.find('\n', at), sector.size());
    std::string_view content = sector.substr(at, end - at);
    if (!content.starts_with(prefix) || content.empty()) break;
    content.remove_prefix(prefix.size());
    auto line = line_from(content);
    if (!line) {
      text.stopped_at = at;
      break;
    }
    line->at = at;
    line->length = end - at;
    text.lines.push_back(*line);
    at = end + 1;
  }
  return text;
}

template <const Structure& S>
std::string_view text_of(const Record<S>& sector) {
  const auto all = sector.all();
  return {reinterpret_cast<const char*>(all.data()), sector.present()};
}

void add_slices(Claim& claim, const Text& text, std::uint64_t base, std::uint64_t sector_place) {
  for (const Line& line : text.lines) {
    if (line.start >= line.end) {
      claim.find(Severity::fault, FindingCode::label_field, sector_place + line.at, line.length,
                 fmt::format("slice {} of the Plan 9 table ends at sector {}, not behind its start "
                             "at sector {}; the loader stops there",
                             line.name, line.end, line.start));
      return;
    }
    Slice slice;
    slice.id = slice_id(claim.slices, std::string(line.name), "slice");
    slice.start = saturating_add(base, saturating_mul(line.start, kBlock));
    slice.bytes = saturating_mul(line.end - line.start, kBlock);
    if (line.name == "swap") slice.role = SliceRole::swap;
    slice.facts.set_text("name", std::string(line.name));
    claim.slices.push_back(std::move(slice));
  }
  if (text.stopped_at == 0) return;
  claim.find(Severity::caution, FindingCode::label_field, sector_place + text.stopped_at, 1,
             "a line of the Plan 9 table has no name and two numbers; the loader stops there");
}

template <const Structure& S>
Claim claim_from(const Record<S>& sector, const Text& text, const View& view, std::uint64_t base,
                 std::string_view form) {
  Claim claim;
  claim.strength = Strength::sane;
  claim.start = view.start();
  claim.title = "Plan 9 table";
  claim.facts.set("checksum", "none")
      .set("sector_bytes", kBlock)
      .set("form", form)
      .set("label_start", sector.start());
  claim.records.push_back(sector.keep());
  add_slices(claim, text, base, sector.start());
  return claim;
}

// Where an MBR has slices of the type, the tables stand in those and not behind the MBR.
bool may_have_new_form(const View& view, const Context& context) {
  if (context.slice != nullptr) {
    return context.label_format == "mbr" && context.slice->type == kMbrType;
  }
  const auto mbr = view.record<kMbr>(0, ByteOrder::little);
  if (mbr.get<"signature">() != kMbrSignature) return true;
  for (std::size_t i = 0; i < mbr.count_of<"entry">(); ++i) {
    if (mbr.sub<"entry">(i).get<"type">() == kMbrType) return false;
  }
  return true;
}

void check_end(Claim& claim, const Text& text, const Context& context, std::uint64_t place) {
  if (context.slice == nullptr) return;
  const std::uint64_t sectors = context.slice->bytes / kBlock;
  for (const Line& line : text.lines) {
    if (line.start >= line.end) return;
    if (line.end <= sectors) continue;
    claim.find(Severity::caution, FindingCode::label_field, place + line.at, line.length,
               fmt::format("slice {} of the Plan 9 table ends at sector {}, its MBR slice has only "
                           "{}",
                           line.name, line.end, sectors));
  }
}

std::optional<Claim> new_form(const View& view, const Context& context) {
  if (!view.holds(kBlock, kPlan9Line) || !may_have_new_form(view, context)) return std::nullopt;
  const auto sector = view.record<kPlan9Table>(kBlock, ByteOrder::little);
  const Text text = read_lines(text_of(sector), 0, kPlan9Line);
  if (text.lines.empty()) return std::nullopt;
  Claim claim = claim_from(sector, text, view, view.start(), "new");
  check_end(claim, text, context, sector.start());
  return claim;
}

std::optional<Claim> old_form(const View& view, const Context& context) {
  const std::uint64_t sectors = view.bytes() / kBlock;
  if (context.slice != nullptr || sectors < 3) return std::nullopt;
  for (const std::uint64_t from_end : {2U, 1U}) {
    const std::uint64_t place = (sectors - from_end) * kBlock;
    if (!view.holds(place, kPlan9OldTitle)) continue;
    const auto sector = view.record<kPlan9OldTable>(place, ByteOrder::little);
    const std::string_view all = text_of(sector);
    const std::size_t first = std::min(all.find('\n'), all.size() - 1) + 1;
    const Text text = read_lines(all, first, "");
    if (text.lines.empty()) continue;
    return claim_from(sector, text, view, view.start(), "old");
  }
  return std::nullopt;
}

std::vector<Claim> claims(const View& view, const Context& context) {
  std::vector<Claim> result;
  if (auto claim = new_form(view, context)) {
    result.push_back(std::move(*claim));
  } else if (auto old = old_form(view, context)) {
    result.push_back(std::move(*old));
  }
  return result;
}

}  // namespace

extern const Format plan9_format;
const Format plan9_format = {.id = "plan9",
                             .title = "Plan 9 table",
                             .stage = Stage::label,
                             .inside_slices = true,
                             .claims = claims};

}  // namespace platter::label
