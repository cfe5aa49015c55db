// Receipts stay true: whatever moment the program is killed at.
#include "plan/place_region.h"

#include <unistd.h>

#include <algorithm>
#include <random>
#include <string>
#include <vector>

#include <catch2/catch.hpp>

#include "core/digest.h"
#include "support/files.h"
#include "support/noise.h"
#include "unit/plan/faulty_calls.h"

namespace {

using namespace platter;
using namespace platter::plan;
using platter::test::FaultyCalls;
using platter::test::noise;
using platter::test::read_file;
using platter::test::run_and_kill;
using platter::test::TemporaryDirectory;
using platter::test::write_file;

using Bytes = std::vector<std::byte>;

struct Setup {
  TemporaryDirectory scratch;
  std::string card = scratch.file("card");
  std::string image = scratch.file("image");
  std::string receipt = receipt_path(scratch.file("plan.toml"), "system disk");
  Extent region{51200, 3000000};

  RegionResult place(bool changed_only, CardCalls& calls = CardCalls::real(),
                     bool digest = true) const {
    RegionJob job{"system disk", image, image_stamp(image), receipt, region, {}, 1000000000};
    job.options.changed_only = changed_only;
    job.options.digest = digest;
    const auto source = map_file(image);
    Card open_card(card, {true, false, 0}, calls);
    return place_region(*source, open_card, job);
  }
  // Whether the region holds the image.
  [[nodiscard]] bool is_placed() const {
    const Bytes card_bytes = read_file(card);
    const Bytes image_bytes = read_file(image);
    return std::equal(image_bytes.begin(), image_bytes.end(),
                      card_bytes.begin() + static_cast<std::ptrdiff_t>(region.start));
  }
};

TEST_CASE("receipt: written after the copy, with all that was asked for") {
  std::mt19937 random(1);
  Setup setup;
  const Bytes image = noise(random, 2999999);
  write_file(setup.card, noise(random, 4000000));
  write_file(setup.image, image);
  CHECK(setup.place(false).receipt_stored);
  const auto receipt = load_receipt(setup.receipt);
  REQUIRE(receipt);
  Sha256 digest;
  digest.update(image);
  CHECK(receipt->sha256 == digest.finish());
  CHECK(receipt->region == "system disk");
  CHECK(receipt->place == setup.region);
  CHECK(receipt->image_bytes == 2999999);
  CHECK(receipt->tool == "platter " PLATTER_VERSION);
  CHECK(receipt->time == 1000000000);
  const Bytes text = read_file(setup.receipt);
  const std::string json(reinterpret_cast<const char*>(text.data()), text.size());
  CHECK(json.find("\"schema\": \"platter.receipt/1\"") != std::string::npos);
  CHECK(json.find("\"first_block\": 100,") != std::string::npos);
  CHECK(json.find("\"last_block\": 5959\n") != std::string::npos);
  CHECK(json.find("\"time\": \"2001-09-09T01:46:40Z\"") != std::string::npos);
}

TEST_CASE("receipt: a copy that failed or came back different has none, an old one goes") {
  std::mt19937 random(2);
  Setup setup;
  write_file(setup.card, noise(random, 4000000));
  write_file(setup.image, noise(random, 3000000));
  REQUIRE(setup.place(false).receipt_stored);
  write_file(setup.image, noise(random, 3000000));
  FaultyCalls failing;
  failing.fail_writes_from = setup.region.start + 1000000;
  CHECK_THROWS_AS(setup.place(false, failing), IoError);
  CHECK_FALSE(load_receipt(setup.receipt));

  REQUIRE(setup.place(false).receipt_stored);
  write_file(setup.image, noise(random, 3000000));
  FaultyCalls lying;
  lying.lie_at = setup.region.start + 2000000;
  for (const bool changed_only : {false, true}) {
    const RegionResult result = setup.place(changed_only, lying);
    CHECK_FALSE(result.placed.verified);
    CHECK_FALSE(result.receipt_stored);
    CHECK_FALSE(load_receipt(setup.receipt));
  }
}

TEST_CASE("receipt: the digest of an unchanged file is carried over, of a changed one it is not") {
  std::mt19937 random(3);
  Setup setup;
  write_file(setup.card, noise(random, 4000000));
  const Bytes image = noise(random, 3000000);
  write_file(setup.image, image);
  CHECK_FALSE(setup.place(true).digest_carried_over);
  const RegionResult again = setup.place(true);
  CHECK(again.digest_carried_over);
  CHECK(again.placed.written_bytes == 0);
  CHECK(again.placed.sha256 == load_receipt(setup.receipt)->sha256);

  // A run that asks for no digest loses none that still holds.
  CHECK(setup.place(true, CardCalls::real(), false).digest_carried_over);
  CHECK(load_receipt(setup.receipt)->sha256 == again.placed.sha256);
  // Unless it writes: what was written is proven by comparing, not by a digest of then.
  CHECK_FALSE(setup.place(false, CardCalls::real(), false).digest_carried_over);
  CHECK(load_receipt(setup.receipt)->sha256.empty());
  CHECK(setup.place(true).placed.sha256 == again.placed.sha256);

  // The card changed although the file did not: it is mended, and nothing is taken on trust.
  write_file(setup.card, noise(random, 4000000));
  const RegionResult mended = setup.place(true);
  CHECK_FALSE(mended.digest_carried_over);
  CHECK(mended.placed.sha256 == again.placed.sha256);
  CHECK(setup.is_placed());
  // The same bytes in a file that was written anew: not taken on trust.
  write_file(setup.image, image);
  CHECK_FALSE(setup.place(true).digest_carried_over);
  CHECK_FALSE(setup.place(false).digest_carried_over);  // only changed-only carries over
}

TEST_CASE("killed at 200 random moments: nothing outside changes, no receipt without a copy") {
  std::mt19937 random(4);
  Setup setup;
  const Bytes before = noise(random, 4000000);
  write_file(setup.card, before);
  const auto start = static_cast<std::ptrdiff_t>(setup.region.start);
  const auto end = start + static_cast<std::ptrdiff_t>(setup.region.bytes);
  int killed = 0;
  int receipts = 0;
  for (int round = 0; round < 200; ++round) {
    if (round % 4 == 0) write_file(setup.image, noise(random, 3000000));
    const bool changed_only = random() % 2 == 0;
    killed += run_and_kill(static_cast<unsigned>(random() % 12000),
                           [&setup, changed_only] {
                             return setup.place(changed_only).placed.verified ? 0 : 1;
                           })
                  ? 1
                  : 0;
    const Bytes card = read_file(setup.card);
    REQUIRE(card.size() == before.size());
    REQUIRE(std::equal(card.begin(), card.begin() + start, before.begin()));
    REQUIRE(std::equal(card.begin() + end, card.end(), before.begin() + end));
    if (const auto receipt = load_receipt(setup.receipt)) {
      ++receipts;
      // A receipt of an image that was replaced since speaks of the card as it was then.
      Sha256 digest;
      digest.update(std::span(card).subspan(setup.region.start, receipt->image_bytes));
      REQUIRE(receipt->sha256 == digest.finish());
    }
    if (round % 10 == 9) {
      const RegionResult result = setup.place(changed_only);
      REQUIRE(result.placed.verified);
      REQUIRE(result.receipt_stored);
      REQUIRE(setup.is_placed());
    }
  }
  CHECK(killed > 50);
  CHECK(receipts > 0);
}

}  // namespace
