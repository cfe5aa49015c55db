// The page docs/boot-evidence.md.
#include <algorithm>

#include <fmt/format.h>

#include "boot/boot_case.h"

namespace platter::test {
namespace {

constexpr std::string_view kIntroduction = R"(# What boot firmware did with our images

This page is written by the witness tests (`tests/boot`, see `DEVELOPERS.md`). Each image is made by
the fixture writers, holds a few instructions that print one line, and is started in an emulated
machine. One image of a kind is good; in the others one thing is spoiled. The last column is the
verdict of `platter boot` for the same image.

How far this goes:

* The firmware is what the emulators bring, a reimplementation, and not the ROM of an old machine.
  Where it boots, our layout and code are right. Where it tolerates something spoiled, a ROM may
  not, so platter's verdict may be stricter than what was seen.
* For pmax and SGI there is no firmware at all: the emulator's own code reads the disk. That shows
  that the layout works, and nothing about what a ROM checks.
* OpenBIOS with a disk on IDE (sparc64, ppc) now and then refuses a good image. There a good image
  gets up to eight tries, and a refusal counts when it comes three times.
* *silent* means that control was handed over and our line never came. Most of these images have
  nothing sensible to run, which the firmware did not notice.
* Three images are refused here though platter calls them ready, because these emulators ask for
  more than any document does: `chrp-no-map` (OpenBIOS finds the script only inside a map entry),
  `prep-third` (OpenBIOS looks at the first entry of the table only) and `sgi-sash-short` (gxemul
  loads no file below 512 bytes).

Times are from the start of the emulator to its answer, with two machines at a time.
)";

std::string answers(const Outcome& outcome) {
  if (!outcome.trouble.empty()) return "not run: " + outcome.trouble;
  std::string text = outcome.words();
  const std::string& said = outcome.runs.back().said;
  if (!said.empty()) text += ": `" + said + "`";
  return text;
}

}  // namespace

std::string evidence_page(const std::vector<Outcome>& unsorted) {
  std::vector<Outcome> outcomes = unsorted;
  const auto rank = [&](const Outcome& outcome) {
    const auto same = [&](const Outcome& other) {
      return &other.subject->family == &outcome.subject->family;
    };
    return std::ranges::find_if(unsorted, same) - unsorted.begin();
  };
  std::ranges::stable_sort(outcomes, {}, rank);
  std::string page{kIntroduction};
  std::string_view family;
  for (const Outcome& outcome : outcomes) {
    const BootCase& subject = *outcome.subject;
    if (family != subject.family.name) {
      family = subject.family.name;
      page += fmt::format("\n## {}\n\nMachine `{}`, as {}: {}\n\n", family, subject.family.machine,
                          boot_as_name(subject.family.as), outcome.firmware);
      page += "| image | spoiled | firmware | s | platter |\n|---|---|---|---|---|\n";
    }
    const auto took =
        outcome.runs.empty() ? std::chrono::milliseconds(0) : outcome.runs.back().took;
    const auto seconds = std::chrono::round<std::chrono::seconds>(took).count();
    page += fmt::format("| {} | {} | {} | {} | {} |\n", subject.name, subject.words,
                        answers(outcome), seconds, judge(subject).verdict);
  }
  return page;
}

}  // namespace platter::test
