// Every specimen cut at every length up to 4 KiB and at every structure's edge, and every byte of
// every record flipped. The survey must come back each time, with places that lie where they can,
// and must never allocate by a claimed size. Run under the sanitizers, where a wild read would end
// the test.
#include "hostile/damage.h"

#include <algorithm>
#include <set>

#include <catch2/catch.hpp>

#include "report/json.h"
#include "report/text.h"
#include "support/hexfile.h"
#include "support/survey.h"

namespace platter::test {
namespace {

// What must hold of any survey, however damaged its image is.
void check_invariants(const Survey& survey) {
  std::set<std::string> ids;
  for_each_layer(survey.layers, [&](const Layer& layer) {
    CHECK(ids.insert(layer.id).second);
    CHECK_FALSE(layer.format.empty());
  });
  CHECK(ids.size() <= 4096);
  CHECK(survey.findings.size() <= 1000);
  for (const Finding& finding : survey.findings)
    CHECK_FALSE(finding.message.empty());
}

// The sanitizers make a case ten times as slow. They see every sixth, from another one on for each
// specimen; the plain build sees all of them.
#ifdef __SANITIZE_ADDRESS__
constexpr std::size_t kStride = 6;
#else
constexpr std::size_t kStride = 1;
#endif

std::vector<std::size_t> every_stride(const std::set<std::size_t>& all, const std::string& name) {
  std::vector<std::size_t> some;
  std::size_t number = name.size();
  for (const std::size_t value : all) {
    if (number++ % kStride == 0) some.push_back(value);
  }
  return some;
}

std::vector<std::size_t> cut_lengths(const Specimen& specimen, const Survey& whole) {
  std::set<std::size_t> lengths;
  for (std::size_t length = 0; length <= std::min<std::size_t>(4096, specimen.bytes.size());
       ++length) {
    lengths.insert(length);
  }
  for_each_layer(whole.layers, [&](const Layer& layer) {
    for (const RecordData& record : layer.records) {
      for (const std::uint64_t edge : {record.start, record.start + record.structure->bytes}) {
        for (std::uint64_t at = edge == 0 ? 0 : edge - 1; at <= edge + 1; ++at) {
          if (at <= specimen.bytes.size()) lengths.insert(static_cast<std::size_t>(at));
        }
      }
    }
  });
  return every_stride(lengths, specimen.name);
}

std::vector<std::size_t> record_bytes(const Survey& whole, const Specimen& specimen) {
  const std::size_t size = specimen.bytes.size();
  std::set<std::size_t> places;
  for_each_layer(whole.layers, [&](const Layer& layer) {
    for (const RecordData& record : layer.records) {
      for (std::uint32_t i = 0; i < record.present; ++i) {
        if (record.start + i < size) places.insert(static_cast<std::size_t>(record.start + i));
      }
    }
  });
  return every_stride(places, specimen.name);
}

TEST_CASE("every specimen is recognised while it is whole") {
  for (const Specimen& specimen : specimens()) {
    CAPTURE(specimen.name);
    const Survey whole = survey_bytes(specimen.bytes);
    CHECK_FALSE(whole.layers.empty());
    check_invariants(whole);
  }
}

TEST_CASE("no cut makes the survey crash, hang or invent") {
  for (const Specimen& specimen : specimens()) {
    CAPTURE(specimen.name);
    const Survey whole = survey_bytes(specimen.bytes);
    for (const std::size_t length : cut_lengths(specimen, whole)) {
      CAPTURE(length);
      const auto source = std::make_shared<Damaged>(specimen.bytes, length);
      check_invariants(survey_of(source));
      // However little is left, nothing may be read over and over.
      CHECK(source->bytes_read() <= 2'000'000 + 40 * length);
    }
  }
}

TEST_CASE("no flipped byte makes the survey crash, hang or invent") {
  for (const Specimen& specimen : specimens()) {
    CAPTURE(specimen.name);
    const Survey whole = survey_bytes(specimen.bytes);
    const auto places = record_bytes(whole, specimen);
    CHECK_FALSE(places.empty());
    for (const std::size_t place : places) {
      CAPTURE(place);
      const std::byte original = specimen.bytes[place];
      for (const std::byte value :
           {original ^ std::byte{0xFF}, std::byte{0}, original ^ std::byte{0x80}}) {
        const Survey damaged = survey_of(std::make_shared<Damaged>(specimen.bytes, place, value));
        check_invariants(damaged);
      }
    }
  }
}

TEST_CASE("damaged surveys can be put into words and JSON") {
  for (const Specimen& specimen : specimens()) {
    CAPTURE(specimen.name);
    const auto places = record_bytes(survey_bytes(specimen.bytes), specimen);
    for (std::size_t i = 0; i < places.size(); i += 37) {
      const Survey damaged = survey_of(std::make_shared<Damaged>(
          specimen.bytes, places[i], specimen.bytes[places[i]] ^ std::byte{0xFF}));
      CHECK_FALSE(survey_json(damaged).empty());
      const std::string words = survey_text(damaged, {});
      CHECK(std::ranges::none_of(words, [](char c) { return c == '\x1B' || c == '\0'; }));
    }
  }
}

}  // namespace
}  // namespace platter::test
