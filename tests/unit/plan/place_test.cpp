// Copies against a copy made by hand; what must not be touched; failures in the middle.
#include "plan/place.h"

#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <random>
#include <string>
#include <vector>

#include <catch2/catch.hpp>

#include "core/digest.h"
#include "plan/copy_command.h"
#include "support/files.h"
#include "support/noise.h"
#include "unit/plan/faulty_calls.h"

namespace {

using namespace platter;
using namespace platter::plan;
using platter::test::FaultyCalls;
using platter::test::noise;
using platter::test::read_file;
using platter::test::run;
using platter::test::TemporaryDirectory;
using platter::test::write_file;

using Bytes = std::vector<std::byte>;
constexpr CardAccess kWrite{true, false, 0};

std::string sha256_of(const Bytes& bytes) {
  Sha256 digest;
  digest.update(bytes);
  return digest.finish();
}

Bytes with_copy(Bytes card, std::uint64_t start, const Bytes& image) {
  std::ranges::copy(image, card.begin() + static_cast<std::ptrdiff_t>(start));
  return card;
}

// A card and an image in files, and where the image goes.
struct Setup {
  TemporaryDirectory scratch;
  Bytes card_bytes;
  Bytes image_bytes;
  Extent region;
  std::string card = scratch.file("card");
  std::string image = scratch.file("image");

  Setup(std::mt19937& random, std::size_t image_size, std::size_t region_size) {
    image_bytes = noise(random, image_size);
    region = {512 * (random() % 200), region_size};
    card_bytes = noise(random, region.start + region.bytes + random() % 100000);
    write_file(card, card_bytes);
    write_file(image, image_bytes);
  }
  [[nodiscard]] Bytes wanted() const { return with_copy(card_bytes, region.start, image_bytes); }

  PlaceResult place(const PlaceOptions& options, CardCalls& calls = CardCalls::real(),
                    const OnProgress& on_progress = {}) const {
    const auto source = map_file(image);
    Card open_card(card, kWrite, calls);
    return place_image(*source, image, open_card, region, options, {}, on_progress);
  }
};

template <typename Operation>
std::string complaint_of(Operation operation) {
  try {
    operation();
  } catch (const IoError& error) {
    return error.what();
  }
  return "";
}

TEST_CASE("place: the image is there, the digest is right, nothing else changed") {
  std::mt19937 random(1);
  for (const std::size_t size : {1U, 511U, 512U, 65536U, 65537U, 300000U, 1048576U}) {
    for (const bool digest : {true, false}) {
      for (const bool changed_only : {true, false}) {
        const Setup setup(random, size, size + random() % 5000);
        const PlaceResult result = setup.place({changed_only, false, digest});
        CAPTURE(size, digest, changed_only);
        CHECK(result.finished);
        CHECK(result.verified);
        CHECK(result.differing.empty());
        CHECK(result.written_bytes == size);
        CHECK(result.sha256 == (digest ? sha256_of(setup.image_bytes) : ""));
        CHECK(read_file(setup.card) == setup.wanted());
      }
    }
  }
}

TEST_CASE("place: an image without a file of its own") {
  std::mt19937 random(2);
  const Setup setup(random, 200000, 200000);
  const MemorySource source(setup.image_bytes);
  Card card(setup.card, kWrite);
  const PlaceResult result = place_image(source, "-", card, setup.region, {});
  CHECK(result.verified);
  CHECK(result.sha256 == sha256_of(setup.image_bytes));
  CHECK(read_file(setup.card) == setup.wanted());
}

TEST_CASE("place: the rest of the region is filled with zeros only if asked") {
  std::mt19937 random(3);
  for (const std::size_t size : {1U, 70000U, 200000U}) {
    const Setup setup(random, size, 200000);
    CHECK(setup.place({false, true, true}).verified);
    Bytes wanted = setup.wanted();
    std::fill_n(wanted.begin() + static_cast<std::ptrdiff_t>(setup.region.start + size),
                200000 - size, std::byte{0});
    CHECK(read_file(setup.card) == wanted);
  }
}

TEST_CASE("place: changed-only writes what differs and no more") {
  std::mt19937 random(4);
  const Setup setup(random, 1000000, 1000000);
  const PlaceOptions changed_only{true, false, true};
  CHECK(setup.place(changed_only).written_bytes == 1000000);
  CHECK(setup.place(changed_only).written_bytes == 0);

  Bytes card = read_file(setup.card);
  card[setup.region.start + 500000] ^= std::byte{1};
  write_file(setup.card, card);
  FaultyCalls calls;
  const PlaceResult result = setup.place(changed_only, calls);
  CHECK(result.written_bytes == kChangeBytes);
  CHECK(calls.lowest <= setup.region.start + 500000);
  CHECK(calls.highest > setup.region.start + 500000);
  CHECK(calls.highest - calls.lowest == kChangeBytes);
  CHECK(result.verified);
  CHECK(result.sha256 == sha256_of(setup.image_bytes));
  CHECK(read_file(setup.card) == setup.wanted());
}

TEST_CASE("place: before_writing is called once, and only if something changes") {
  std::mt19937 random(5);
  const Setup setup(random, 500000, 500000);
  const auto source = map_file(setup.image);
  int called = 0;
  for (const int wanted : {1, 0}) {
    Card card(setup.card, kWrite);
    called = 0;
    CHECK(place_image(*source, setup.image, card, setup.region, {true, false, false}, [&called] {
            ++called;
          }).verified);
    CHECK(called == wanted);
  }
}

TEST_CASE("place: a card that loses a byte is found out") {
  std::mt19937 random(6);
  for (const bool changed_only : {true, false}) {
    const Setup setup(random, 300000, 300000);
    FaultyCalls calls;
    calls.lie_at = setup.region.start + 123456;
    const PlaceResult result = setup.place({changed_only, false, true}, calls);
    CHECK(result.finished);
    CHECK_FALSE(result.verified);
    REQUIRE(result.differing.blocks() == 1);
    CHECK(result.differing.runs()[0].start == (setup.region.start + 123456) / 512);
    CHECK(result.differing.runs()[0].state == BlockState::differing);
  }
}

TEST_CASE("place: failures in the middle name place and reason, nothing outside is touched") {
  std::mt19937 random(7);
  for (const int error : {ENOSPC, EIO}) {
    for (const bool digest : {true, false}) {
      const Setup setup(random, 400000, 400000);
      FaultyCalls calls;
      calls.error = error;
      calls.fail_writes_from = setup.region.start + 200001;
      CHECK(complaint_of([&] {
              (void)setup.place({false, false, digest}, calls);
            }) == setup.card + ": byte " + std::to_string(setup.region.start + 200001) + ": " +
                      std::generic_category().message(error));
      const Bytes card = read_file(setup.card);
      const auto start = static_cast<std::ptrdiff_t>(setup.region.start);
      CHECK(std::equal(card.begin(), card.begin() + start, setup.card_bytes.begin()));
      CHECK(std::equal(card.begin() + start + 400000, card.end(),
                       setup.card_bytes.begin() + start + 400000));
      // The same card, mended: the job is finished.
      CHECK(setup.place({true, false, digest}).verified);
      CHECK(read_file(setup.card) == setup.wanted());
    }
  }
}

TEST_CASE("place: failing reads and a failing sync are errors, not differences") {
  std::mt19937 random(8);
  const Setup setup(random, 300000, 300000);
  FaultyCalls calls;
  calls.fail_reads_from = setup.region.start + 70000;
  CHECK(complaint_of([&] { (void)setup.place({}, calls); }).find("Input/output error") !=
        std::string::npos);
  FaultyCalls syncing;
  syncing.fail_sync = true;
  CHECK(complaint_of([&] { (void)setup.place({}, syncing); }).find("did not reach the medium") !=
        std::string::npos);
}

TEST_CASE("place: a card that shrinks in the middle") {
  std::mt19937 random(9);
  const Setup setup(random, 600000, 600000);
  bool cut = false;
  const std::string complaint = complaint_of([&] {
    (void)setup.place({false, false, true}, CardCalls::real(), [&](const Progress& progress) {
      if (!cut && progress.done >= 200000) {
        cut = truncate(setup.card.c_str(), static_cast<off_t>(setup.region.start + 300000)) == 0;
      }
      return true;
    });
  });
  CHECK(complaint.find("it became shorter") != std::string::npos);
  CHECK(complaint.find(std::to_string(setup.region.start + 300000)) != std::string::npos);
  CHECK(read_file(setup.card).size() == setup.region.start + 300000);
}

TEST_CASE("place: an image that shrinks or changes in the middle") {
  std::mt19937 random(10);
  for (const bool shrinks : {true, false}) {
    for (const bool digest : {true, false}) {
      const Setup setup(random, 2000000, 2000000);
      bool done = false;
      const std::string complaint = complaint_of([&] {
        (void)setup.place({false, false, digest}, CardCalls::real(), [&](const Progress&) {
          if (done) return true;
          done = true;
          if (shrinks) return truncate(setup.image.c_str(), 100) == 0;
          Bytes other = setup.image_bytes;
          other[5] ^= std::byte{1};
          write_file(setup.image, other);
          return true;
        });
      });
      CAPTURE(shrinks, digest, complaint);
      CHECK(complaint.starts_with(setup.image));
    }
  }
}

TEST_CASE("place: what cannot fit is refused before anything is written") {
  std::mt19937 random(11);
  const Setup setup(random, 1000, 1000);
  const auto source = map_file(setup.image);
  FaultyCalls calls;
  Card card(setup.card, kWrite, calls);
  CHECK_FALSE(complaint_of([&] {
                (void)place_image(*source, setup.image, card, {0, 999}, {});
              }).empty());
  CHECK_FALSE(complaint_of([&] {
                (void)place_image(*source, setup.image, card, {card.size() - 999, 1000}, {});
              }).empty());
  CHECK_FALSE(complaint_of([&] {
                (void)place_image(*source, setup.image, card, {~std::uint64_t{0} - 5, 1000}, {});
              }).empty());
  CHECK(calls.highest == 0);
}

TEST_CASE("place: stopping leaves it unproven") {
  std::mt19937 random(12);
  const Setup setup(random, 1000000, 1000000);
  const PlaceResult result =
      setup.place({false, false, true}, CardCalls::real(), [](const Progress&) { return false; });
  CHECK_FALSE(result.finished);
  CHECK_FALSE(result.verified);
  CHECK(result.sha256.empty());
}

TEST_CASE("place: progress goes up to the whole") {
  std::mt19937 random(13);
  const Setup setup(random, 1000000, 1000000);
  Progress last_write;
  Progress last_verify;
  (void)setup.place({false, false, true}, CardCalls::real(), [&](const Progress& progress) {
    Progress& last = progress.stage == Progress::Stage::writing ? last_write : last_verify;
    CHECK(progress.done >= last.done);
    CHECK(progress.done <= progress.total);
    last = progress;
    return true;
  });
  CHECK(last_write.done == 1000000);
  CHECK(last_verify.done == 1000000);
}

TEST_CASE("place gives what the shell's lines give, for generated plans") {
  std::mt19937 random(14);
  for (int round = 0; round < 200; ++round) {
    const Setup setup(random, 1 + random() % 50000, 60000);
    const std::string by_shell = setup.scratch.file("by shell");
    const std::string packed = setup.scratch.file("it's\npacked.gz");
    write_file(by_shell, setup.card_bytes);
    const bool compressed = round % 3 == 0;
    if (compressed) {
      REQUIRE(run("cd " + setup.scratch.path() +
                  " && gzip -c <image >\"$(printf \"it's\\npacked.gz\")\"")
                  .status == 0);
    }
    const CopyCommand command = compressed
                                    ? copy_command(packed, {"gzip"}, by_shell, setup.region.start)
                                    : copy_command(setup.image, {}, by_shell, setup.region.start);
    REQUIRE(run(command.line).status == 0);
    REQUIRE(setup.place({round % 2 == 0, false, false}).verified);
    REQUIRE(read_file(setup.card) == read_file(by_shell));
  }
}

TEST_CASE("verify: equal, different, and which blocks") {
  std::mt19937 random(15);
  const Setup setup(random, 300000, 400000);
  REQUIRE(setup.place({}).verified);
  const auto source = map_file(setup.image);
  Card card(setup.card, kWrite);
  CHECK(verify_image(*source, setup.image, card, setup.region).equal);
  CHECK(verify_digest(sha256_of(setup.image_bytes), 300000, card, setup.region).equal);

  for (const std::uint64_t at : {299999U, 5000U, 5001U, 66000U}) {
    Bytes byte(1);
    card.read(setup.region.start + at, byte);
    byte[0] ^= std::byte{0x10};
    card.write(setup.region.start + at, byte);
  }
  const VerifyResult result = verify_image(*source, setup.image, card, setup.region);
  CHECK(result.finished);
  CHECK_FALSE(result.equal);
  CHECK(result.first_difference == setup.region.start + 5000);
  const std::uint64_t first_block = setup.region.start / 512;
  REQUIRE(result.differing.runs().size() == 3);
  CHECK(result.differing.runs()[0].start == first_block + 9);
  CHECK(result.differing.runs()[1].start == first_block + 66000 / 512);
  CHECK(result.differing.runs()[2].start == first_block + 299999 / 512);
  CHECK_FALSE(verify_digest(sha256_of(setup.image_bytes), 300000, card, setup.region).equal);
}

TEST_CASE("verify: a region that starts inside a block names the card's blocks") {
  const TemporaryDirectory scratch;
  write_file(scratch.file("card"), Bytes(200000, std::byte{0}));
  const MemorySource source(Bytes(150000, std::byte{1}));
  Card card(scratch.file("card"), {});
  const VerifyResult result = verify_image(source, "image", card, {700, 150000});
  CHECK(result.differing.runs().size() == 1);
  CHECK(result.differing.runs()[0].start == 1);
  CHECK(result.differing.runs()[0].end() == (700 + 150000 - 1) / 512 + 1);
  CHECK(result.first_difference == 700);
}

}  // namespace
