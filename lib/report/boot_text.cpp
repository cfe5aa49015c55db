#include "report/boot_text.h"

#include <algorithm>

#include <fmt/format.h>

#include "core/charset.h"
#include "report/writing.h"

namespace platter {
namespace {

constexpr std::size_t kIndent = 2;
constexpr std::size_t kHang = 10;

std::string row_name(const BootVerdict& row) {
  return fmt::format("{} ({})", row.machine, row.as == BootAs::disk ? "disk" : "optical");
}

std::string place_words(const Evidence& item) {
  if (item.bytes == 0) return {};
  return fmt::format(" [{} byte{} from byte {}]", grouped(item.bytes), item.bytes == 1 ? "" : "s",
                     grouped(item.start));
}

void add_evidence(std::string& text, const Evidence& item, const TextStyle& style) {
  const bool missing = !item.holds && item.demanded;
  const std::string_view word = item.holds ? "holds" : item.demanded ? "MISSING" : "unusual";
  const std::string_view attribute = item.holds ? kQuiet : missing ? kFault : kCaution;
  const auto add = [&](std::string_view words) {
    text +=
        std::string(kHang + 2, ' ') + wrapped(words, kHang + 2, kHang + 2, style.columns) + '\n';
  };
  text += std::string(kIndent, ' ') + emphasised(fmt::format("{:<8}", word), attribute, style) +
          "  " +
          wrapped(fmt::format("{}: {}", item.check, item.sentence), kHang + 2, kHang + 2,
                  style.columns) +
          '\n';
  if (!item.detail.empty()) add(printable(item.detail) + place_words(item));
  if (item.holds) return;
  if (!item.remedy.empty()) add("What to do: " + printable(item.remedy));
  add(fmt::format("{} ({})", item.demanded ? "Demanded" : "Customary", item.source));
}

std::string_view verdict_words(Verdict verdict) noexcept {
  switch (verdict) {
    case Verdict::ready:
      return "ready: all that the firmware demands is there";
    case Verdict::incomplete:
      return "incomplete: some of it is there";
    case Verdict::none:
      return "none: nothing here is for this machine";
  }
  return "";
}

}  // namespace

std::string boot_text(const BootReport& report, bool asked_by_name, const TextStyle& style) {
  std::string text = emphasised(printable(report.image.path), kHeading, style) + '\n';
  std::string others;
  for (const BootVerdict& row : report.rows) {
    if (row.verdict == Verdict::none && !asked_by_name) {
      others += (others.empty() ? "" : ", ") + row_name(row);
      continue;
    }
    text += '\n' + emphasised(row_name(row), kHeading, style) + " " +
            emphasised(verdict_words(row.verdict),
                       row.verdict == Verdict::ready ? kQuiet : kCaution, style) +
            '\n';
    for (const Evidence& item : row.evidence)
      add_evidence(text, item, style);
  }
  if (!others.empty()) {
    text += '\n' + std::string(kIndent, ' ') +
            wrapped("Nothing for: " + others, kIndent + 2, kIndent, style.columns) + '\n';
  }
  return text;
}

std::vector<std::string> boot_summary(const std::vector<BootVerdict>& rows) {
  struct Group {
    BootAs as;
    std::string missing;
    std::string machines;
  };
  std::string ready;
  std::vector<Group> groups;  // rows that lack the same are said together
  for (const BootVerdict& row : rows) {
    if (row.verdict == Verdict::ready) ready += (ready.empty() ? "" : ", ") + row_name(row);
    if (row.verdict != Verdict::incomplete) continue;
    std::string missing;
    for (const Evidence& item : row.evidence) {
      if (item.demanded && !item.holds)
        missing += (missing.empty() ? "" : ", ") + std::string(item.check);
    }
    const auto same = std::ranges::find_if(
        groups, [&](const Group& group) { return group.as == row.as && group.missing == missing; });
    if (same == groups.end()) {
      groups.push_back({row.as, missing, std::string(row.machine)});
    } else {
      same->machines += ", " + std::string(row.machine);
    }
  }
  std::vector<std::string> lines;
  if (!ready.empty()) lines.push_back("Ready to start " + ready);
  for (const Group& group : groups) {
    lines.push_back(fmt::format("Would not start {} ({}): missing {}", group.machines,
                                boot_as_name(group.as), group.missing));
  }
  return lines;
}

}  // namespace platter
