// Firmware that nobody here wrote starts images that the fixture writers made.
//
// Outside references: SeaBIOS, its fork for hppa, and OpenBIOS, as the emulators bring them; for
// pmax and SGI the emulator's own code. What they were seen to do is held in the table of
// expectations.
#include <cstdlib>
#include <fstream>
#include <map>
#include <set>

#include <catch2/catch.hpp>

#include "boot/boot_case.h"
#include "support/survey.h"

using namespace platter;
using namespace platter::test;

namespace {

std::string environment(const char* name) {
  const char* value = std::getenv(name);
  return value == nullptr ? "" : value;
}

// PLATTER_WITNESSES=all: every image; some, or not set: a good image of each kind and a few spoiled
// ones; anything else: the images whose names begin so.
std::vector<const BootCase*> chosen_cases() {
  const std::string choice = environment("PLATTER_WITNESSES");
  std::vector<const BootCase*> cases = all_boot_cases();
  if (choice == "all") return cases;
  std::erase_if(cases, [&](const BootCase* subject) {
    return choice.empty() || choice == "some" ? !subject->quick
                                              : !subject->name.starts_with(choice);
  });
  return cases;
}

// Refused by an emulator that asks for more than any document does, and ready for platter. Reasons
// stand in the introduction of docs/boot-evidence.md.
const std::set<std::string_view> kStricterEmulator = {"chrp-no-map", "prep-third",
                                                      "sgi-sash-short"};

}  // namespace

TEST_CASE("the table of boot images makes sense", "[table]") {
  std::set<std::string_view> names;
  std::map<std::string_view, int> good;
  std::map<std::string_view, int> quick;
  for (const BootCase* subject : all_boot_cases()) {
    INFO(subject->name);
    CHECK(names.insert(subject->name).second);
    if (subject->spoil == nullptr) {
      good[subject->family.name] += 1;
      CHECK(subject->seen == Seen::boots);
      CHECK(subject->verdict == Verdict::ready);
    } else {
      CHECK(subject->image() != subject->family.good());
    }
    if (subject->condition.empty()) CHECK(subject->verdict == Verdict::ready);
    if (subject->seen == Seen::refuses || subject->seen == Seen::starts) {
      CHECK((subject->verdict != Verdict::ready) == !kStricterEmulator.contains(subject->name));
    }
    if (subject->quick) quick[subject->family.machine] += 1;
    if (subject->spoil == nullptr) CHECK(subject->quick);
  }
  for (const BootCase* subject : all_boot_cases()) {
    INFO(subject->family.name);
    CHECK(good[subject->family.name] == 1);
    CHECK(quick[subject->family.machine] >= 2);
  }
}

TEST_CASE("platter judges the boot images as the table has it", "[verdict]") {
  for (const BootCase* subject : all_boot_cases()) {
    const Judgement judgement = judge(*subject);
    INFO(subject->name << ": " << subject->words << ": " << judgement.differs);
    INFO(judgement.verdict << ", does not hold: " << judgement.failing);
    CHECK(judgement.differs.empty());
  }
}

TEST_CASE("firmware boots the good images and treats the spoiled ones as recorded", "[firmware]") {
  const std::vector<Outcome> outcomes = witness(chosen_cases());
  REQUIRE(!outcomes.empty());
  for (const Outcome& outcome : outcomes) {
    const std::string console = outcome.runs.empty() ? "" : outcome.runs.back().console;
    INFO(outcome.subject->name << ": " << outcome.subject->words);
    INFO(outcome.words() << outcome.trouble);
    INFO(console.substr(console.size() > 600 ? console.size() - 600 : 0));
    CHECK(outcome.as_recorded());
  }
  const std::string page = environment("PLATTER_BOOT_EVIDENCE");
  if (page.empty()) return;
  std::ofstream file(page, std::ios::binary | std::ios::trunc);
  file << evidence_page(outcomes);
  REQUIRE(file.flush().good());
}
