// Runs the table's images two at a time, and says what platter makes of them.
#include <algorithm>
#include <atomic>
#include <set>
#include <stdexcept>
#include <thread>

#include <fmt/format.h>

#include "boot/boot_case.h"
#include "support/survey.h"
#include "writers/boot_code.h"

namespace platter::test {
namespace {

constexpr std::size_t kAtATime = 2;
// For an image to boot. On a crowded machine three refusals of a good image in a row were seen.
constexpr std::size_t kMostTries = 8;
constexpr std::size_t kMostTriesOfSteady = 3;
constexpr std::size_t kRefusalsAsked = 3;  // where one is no evidence
constexpr std::size_t kMostLate = 3;       // of those that the machine was too busy for

std::size_t most_runs(const BootCase& subject) {
  switch (subject.seen) {
    case Seen::boots:
      return subject.family.refuses_at_random ? kMostTries : kMostTriesOfSteady;
    case Seen::refuses:
      return subject.family.refuses_at_random ? kRefusalsAsked : 1;
    case Seen::unsteady:
      return kRefusalsAsked;
    case Seen::starts:
      return 1;
  }
  return 1;
}

Outcome witness_one(const BootCase& subject) {
  Outcome outcome;
  outcome.subject = &subject;
  const TemporaryDirectory scratch;
  const std::string image = scratch.file("disk.img");
  write_file(image, subject.image());
  const Emulator emulator = subject.family.emulator();
  const std::string line = fixtures::boot_line(subject.family.line);
  std::size_t late = 0;
  while (outcome.runs.size() < most_runs(subject)) {
    Run run = run_emulator(emulator, image, line, scratch.path());
    if (run.answer == Answer::late && ++late < kMostLate) continue;
    outcome.runs.push_back(std::move(run));
    if (outcome.runs.back().answer == Answer::booted && subject.seen != Seen::unsteady) break;
  }
  outcome.firmware = version_of(emulator, outcome.runs.back().console);
  return outcome;
}

// What platter says does not hold, customary conditions in brackets.
std::string failing(const BootVerdict& row) {
  std::string all;
  for (const Evidence& one : row.evidence) {
    if (one.holds) continue;
    const std::string id(one.check);
    all += all.empty() ? "" : " ";
    all += one.demanded ? id : "[" + id + "]";
  }
  return all;
}

std::string differences(const BootCase& subject, const BootVerdict& row) {
  std::string text;
  if (row.verdict != subject.verdict) {
    text = fmt::format("verdict {}, expected {}; ", verdict_name(row.verdict),
                       verdict_name(subject.verdict));
  }
  const auto fails = [](const Evidence& one) { return one.demanded && !one.holds; };
  if (subject.condition.empty()) {
    const auto found = std::ranges::find_if(row.evidence, fails);
    if (found != row.evidence.end()) {
      text += fmt::format("{} does not hold ({}); ", found->check, found->detail);
    }
    return text;
  }
  const auto named = std::ranges::find(row.evidence, subject.condition, &Evidence::check);
  if (named == row.evidence.end()) {
    text += fmt::format("no evidence about {}; ", subject.condition);
  } else if (named->holds) {
    text += fmt::format("{} holds ({}); ", named->check, named->detail);
  }
  return text;
}

}  // namespace

std::vector<const BootCase*> all_boot_cases() {
  std::vector<const BootCase*> all;
  for (const auto& part : {pc_boot_cases(), workstation_boot_cases(), ppc_and_mips_boot_cases()}) {
    for (const BootCase& subject : part)
      all.push_back(&subject);
  }
  return all;
}

bool Outcome::as_recorded() const {
  const auto is = [](Answer answer) {
    return [answer](const Run& run) { return run.answer == answer; };
  };
  if (!trouble.empty() || runs.empty()) return false;
  switch (subject->seen) {
    case Seen::boots:
      return std::ranges::any_of(runs, is(Answer::booted));
    case Seen::refuses:
      return std::ranges::all_of(runs, is(Answer::refused));
    case Seen::starts:
      return std::ranges::all_of(runs, is(Answer::silent));
    case Seen::unsteady:
      return true;
  }
  return false;
}

std::string Outcome::words() const {
  std::string all;
  for (const Run& run : runs) {
    all += all.empty() ? "" : ", ";
    all += answer_name(run.answer);
  }
  return all;
}

std::vector<Outcome> witness(const std::vector<const BootCase*>& cases) {
  std::vector<Outcome> outcomes(cases.size());
  std::atomic<std::size_t> next{0};
  const auto work = [&] {
    for (std::size_t i = next++; i < cases.size(); i = next++) {
      try {
        outcomes[i] = witness_one(*cases[i]);
      } catch (const std::exception& problem) {
        outcomes[i].subject = cases[i];
        outcomes[i].trouble = problem.what();
      }
    }
  };
  std::vector<std::jthread> workers;
  for (std::size_t i = 0; i < kAtATime; ++i)
    workers.emplace_back(work);
  workers.clear();
  return outcomes;
}

Judgement judge(const BootCase& subject) {
  const Survey survey = survey_bytes(subject.image());
  const auto row = std::ranges::find_if(survey.boot, [&](const BootVerdict& one) {
    return one.machine == subject.family.machine && one.as == subject.family.as;
  });
  if (row == survey.boot.end()) {
    return {"no such machine", "", fmt::format("no row for {}", subject.family.machine)};
  }
  return {std::string(verdict_name(row->verdict)), failing(*row), differences(subject, *row)};
}

}  // namespace platter::test
