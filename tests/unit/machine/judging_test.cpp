#include "machine/judging.h"

#include <set>

#include <catch2/catch.hpp>

#include "pc_verdicts.h"

namespace platter::machine {
namespace {

constexpr Condition kOwn{"own", "it belongs to the machine", "our own", true, true};
constexpr Condition kCommon{"common", "any image may have it", "our own"};
constexpr Condition kCustom{"custom", "it is usual", "our own", false};

Verdict verdict(bool own, bool common, bool custom) {
  Judging judging("test", BootAs::disk);
  judging.add(kOwn, own, 0, 1, "");
  judging.add(kCommon, common, 0, 1, "");
  judging.add(kCustom, custom, 0, 1, "");
  return std::move(judging).verdict().verdict;
}

TEST_CASE("judging: demanded conditions make ready, specific ones incomplete") {
  CHECK(verdict(true, true, true) == Verdict::ready);
  CHECK(verdict(true, true, false) == Verdict::ready);
  CHECK(verdict(true, false, true) == Verdict::incomplete);
  CHECK(verdict(false, true, true) == Verdict::none);
  CHECK(verdict(false, false, true) == Verdict::none);
}

TEST_CASE("judging: nothing demanded is never ready, and what is ruled out is none") {
  CHECK(Judging("test", BootAs::disk).verdict().verdict == Verdict::none);
  Judging custom("test", BootAs::disk);
  custom.add(kCustom, true, 0, 1, "");
  CHECK(std::move(custom).verdict().verdict == Verdict::none);
  Judging ruled_out("test", BootAs::optical);
  ruled_out.add(kOwn, true, 0, 1, "");
  ruled_out.add(kCommon, false, 0, 1, "");
  ruled_out.rule_out();
  CHECK(std::move(ruled_out).verdict().verdict == Verdict::none);
}

TEST_CASE("judging: evidence keeps order and place, and a remedy only where one is needed") {
  Judging judging("test", BootAs::optical);
  CHECK(judging.add(kOwn, true, 10, 2, "found", "do this"));
  CHECK_FALSE(judging.add(kCommon, false, 20, 4, "found", "do that"));
  const BootVerdict verdict = std::move(judging).verdict();
  CHECK(verdict.machine == "test");
  CHECK(verdict.as == BootAs::optical);
  REQUIRE(verdict.evidence.size() == 2);
  CHECK(verdict.evidence[0].check == "own");
  CHECK(verdict.evidence[0].remedy.empty());
  CHECK(verdict.evidence[1].start == 20);
  CHECK(verdict.evidence[1].bytes == 4);
  CHECK(verdict.evidence[1].remedy == "do that");
}

// Blank bytes, noise, and text; the verdicts of machines that this file does not know count as
// well.
std::vector<test::Bytes> no_media() {
  std::vector<test::Bytes> all{{}, test::Bytes(1U << 20U)};
  test::Bytes noise(300'000);
  std::uint32_t state = 1;
  for (std::byte& b : noise) {
    state = state * 1664525U + 1013904223U;
    b = static_cast<std::byte>(state >> 24U);
  }
  all.push_back(noise);
  test::Bytes text;
  const std::string_view line = "Notes of the Gannet Point Computing Museum, an invented place.\n";
  while (text.size() < 100'000) {
    for (const char c : line)
      text.push_back(static_cast<std::byte>(c));
  }
  all.push_back(text);
  all.emplace_back(100'000, std::byte{0xFF});
  return all;
}

TEST_CASE("no machine starts from blank, random or text images, and no boot layer is seen") {
  for (const test::Bytes& bytes : no_media()) {
    const Survey survey = test::survey_bytes(bytes);
    CHECK(survey.layers.empty());
    CHECK(survey.findings.empty());
    for (const BootVerdict& row : survey.boot) {
      CAPTURE(row.machine, boot_as_name(row.as), bytes.size());
      CHECK(row.verdict == Verdict::none);
      CHECK_FALSE(row.evidence.empty());
    }
  }
}

TEST_CASE("every machine has each condition once, with a source, and places inside any image") {
  std::set<std::string_view> names;
  for (const Machine* machine : all_machines()) {
    CHECK(names.insert(machine->id).second);
    CHECK_FALSE(machine->firmware.empty());
    for (const BootAs as : {BootAs::disk, BootAs::optical}) {
      const Survey survey = test::survey_bytes(test::Bytes(1U << 20U));
      const BootVerdict& row = test::verdict_row(survey, machine->id, as);
      std::set<std::string_view> checks;
      for (const Evidence& item : row.evidence) {
        CAPTURE(machine->id, item.check);
        CHECK(checks.insert(item.check).second);
        CHECK_FALSE(item.sentence.empty());
        CHECK_FALSE(item.source.empty());
        CHECK_FALSE(item.detail.empty());
        CHECK(item.check.find_first_not_of("abcdefghijklmnopqrstuvwxyz0123456789-") ==
              std::string_view::npos);
      }
    }
  }
}

}  // namespace
}  // namespace platter::machine
