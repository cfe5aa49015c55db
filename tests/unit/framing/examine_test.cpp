// Every frame examined: what is counted, what is corrected, what the plain image gets.
#include "framing/examine.h"

#include <algorithm>
#include <mutex>

#include <catch2/catch.hpp>

#include "framing/enframe.h"
#include "support/survey.h"
#include "unit/framing/frames_support.h"

namespace platter::test {
namespace {

using framing::Examination;
using framing::PlainContent;
using sector_code::FrameKind;

struct Result {
  Examination seen;
  std::vector<std::byte> plain;
};

Result examine(const std::vector<std::byte>& dump, bool repair, std::uint32_t frame_bytes = 2352,
               unsigned jobs = 1) {
  const MemorySource source(dump);
  const auto layout = framing::find_layout(view_of(dump), frame_bytes);
  REQUIRE(layout);
  Result result;
  result.plain.resize(static_cast<std::size_t>(layout->plain_bytes()), std::byte{0xEE});
  framing::ExamineOptions options;
  options.repair = repair;
  options.jobs = jobs;
  options.write = [&](std::uint64_t offset, std::span<const std::byte> bytes) {
    REQUIRE(offset + bytes.size() <= result.plain.size());
    std::ranges::copy(bytes, result.plain.begin() + static_cast<std::ptrdiff_t>(offset));
  };
  result.seen = framing::examine(source, *layout, options);
  REQUIRE(result.seen.finished);
  return result;
}

std::vector<std::byte> zeroed(std::vector<std::byte> plain, std::size_t frame,
                              std::size_t count = 1) {
  std::fill_n(plain.begin() + static_cast<std::ptrdiff_t>(frame * 2048), count * 2048,
              std::byte{0});
  return plain;
}

TEST_CASE("a sound dump is sound, at every distance and with any number of threads") {
  const auto plain = noise_bytes(3000 * 2048, 1);
  for (const std::uint32_t frame_bytes : framing::kFrameDistances) {
    const auto dump = dump_of(plain, {.wrap = Wrap::form1, .frame_bytes = frame_bytes});
    for (const unsigned jobs : {1U, 3U}) {
      const Result result = examine(dump, false, frame_bytes, jobs);
      CHECK(result.seen.count(FrameKind::mode2_form1) == 3000);
      CHECK(result.seen.bad.empty());
      CHECK(result.seen.address_bad == 0);
      CHECK(result.plain == plain);
    }
  }
}

TEST_CASE("a wrong byte is counted, corrected and named") {
  const auto plain = noise_bytes(100 * 2048, 2);
  for (const std::uint32_t frame_bytes : framing::kFrameDistances) {
    auto dump = dump_of(plain, {.wrap = Wrap::form1, .frame_bytes = frame_bytes});
    const std::size_t head = frame_bytes == 2336 ? 16 : 0;
    const std::size_t at = std::size_t{40} * frame_bytes + 500 - head;
    const std::byte right = dump[at];
    dump[at] ^= std::byte{0x5A};
    const Result corrected = examine(dump, true, frame_bytes);
    CHECK(corrected.seen.edc_bad == 1);
    CHECK(corrected.seen.ecc_bad == 1);
    CHECK(corrected.seen.correctable == 1);
    CHECK(corrected.seen.address_bad == 0);
    CHECK(corrected.plain == plain);
    REQUIRE(corrected.seen.bad.size() == 1);
    const framing::BadFrame& bad = corrected.seen.bad.front();
    CHECK(bad.frame == 40);
    CHECK(bad.plain == PlainContent::corrected);
    REQUIRE(bad.changes.size() == 1);
    CHECK(bad.changes.front() == sector_code::ChangedByte{500, right ^ std::byte{0x5A}, right});
    const Result stored = examine(dump, false, frame_bytes);
    CHECK(stored.seen.bad.front().plain == PlainContent::as_stored);
    CHECK(stored.plain != plain);
    CHECK(zeroed(stored.plain, 40) == zeroed(plain, 40));
  }
}

TEST_CASE("a frame beyond correction is zeros, and never passes silently") {
  const auto plain = noise_bytes(100 * 2048, 3);
  auto dump = dump_of(plain);
  const auto junk = noise_bytes(1500, 4);
  std::ranges::copy(junk, dump.begin() + 50 * 2352 + 200);
  for (const bool repair : {false, true}) {
    const Result result = examine(dump, repair);
    CHECK(result.seen.edc_bad == 1);
    CHECK(result.seen.correctable == 0);
    CHECK(result.seen.hopeless() == 1);
    CHECK(result.seen.bad.front().plain == PlainContent::zeros);
    CHECK(result.plain == zeroed(plain, 50));
  }
}

TEST_CASE("damage to parity alone leaves the user bytes proven") {
  const auto plain = noise_bytes(20 * 2048, 5);
  auto dump = dump_of(plain);
  std::ranges::copy(noise_bytes(276, 6), dump.begin() + 7 * 2352 + 2076);
  const Result result = examine(dump, false);
  CHECK(result.seen.edc_bad == 0);
  CHECK(result.seen.ecc_bad == 1);
  CHECK(result.seen.correctable == 1);
  CHECK(result.seen.bad.front().plain == PlainContent::proven);
  CHECK(result.plain == plain);
}

TEST_CASE("a wrong sync amid data is a damaged frame, not audio") {
  const auto plain = noise_bytes(60 * 2048, 7);
  auto dump = dump_of(plain);
  const auto spoil = [&](std::size_t frame, std::size_t bytes) {
    std::fill_n(dump.begin() + static_cast<std::ptrdiff_t>(frame * 2352), bytes, std::byte{0x77});
  };
  spoil(10, 2);     // a sync that is still one
  spoil(30, 12);    // none
  spoil(59, 12);    // none, in the last frame
  spoil(45, 2352);  // nothing of the frame is left
  for (const bool repair : {false, true}) {
    const Result result = examine(dump, repair);
    CHECK(result.seen.count(FrameKind::audio) == 0);
    CHECK_FALSE(result.seen.data_and_audio());
    CHECK(result.seen.sync_bad == 4);
    CHECK(result.seen.address_bad == 0);
    REQUIRE(result.seen.bad.size() == 4);
    CHECK(result.seen.bad[1].lost);
    CHECK(result.seen.bad[1].correctable);
    CHECK(result.seen.bad[1].plain == PlainContent::proven);
    CHECK(result.seen.bad[2].frame == 45);
    CHECK_FALSE(result.seen.bad[2].correctable);
    CHECK(result.plain == zeroed(plain, 45));
  }
}

TEST_CASE("a long stretch that a dump left empty is lost data, not audio") {
  const auto plain = noise_bytes(400 * 2048, 8);
  auto dump = dump_of(plain);
  std::fill_n(dump.begin() + 100 * 2352, 200 * 2352, std::byte{0});
  const Result result = examine(dump, true);
  CHECK(result.seen.count(FrameKind::audio) == 0);
  CHECK(result.seen.hopeless() == 200);
  CHECK(result.plain == zeroed(plain, 100, 200));
}

TEST_CASE("audio is counted as such and is zeros in the plain image") {
  const auto plain = noise_bytes(60 * 2048, 9);
  auto dump = dump_of(plain);
  append(dump, noise_bytes(70 * 2352, 10));
  append(dump, dump_of(plain, {.first_lba = 130}));
  const Result result = examine(dump, true);
  CHECK(result.seen.count(FrameKind::mode1) == 120);
  CHECK(result.seen.count(FrameKind::audio) == 70);
  CHECK(result.seen.data_and_audio());
  CHECK(result.seen.bad.empty());
  REQUIRE(result.seen.runs.size() == 3);
  CHECK(result.seen.runs[1].audio);
  CHECK(result.seen.runs[1].first == 60);
  CHECK(result.seen.runs[1].frames == 70);
  std::vector<std::byte> expected = plain;
  expected.resize(130 * 2048);
  append(expected, plain);
  CHECK(result.plain == expected);
}

TEST_CASE("addresses: a gap, a step back, one wrong, no decimal") {
  const auto plain = noise_bytes(30 * 2048, 11);
  SECTION("frames are missing") {
    auto dump = dump_of(plain);
    append(dump, dump_of(plain, {.first_lba = 105}));
    const auto seen = examine(dump, false).seen;
    CHECK(seen.address_bad == 1);
    REQUIRE(seen.steps.size() == 1);
    CHECK(seen.steps[0].frame == 30);
    CHECK(seen.steps[0].expected == 30);
    CHECK(seen.steps[0].found == 105);
    CHECK(seen.steps[0].lasting);
    CHECK(seen.bad.empty());
  }
  SECTION("frames are doubled") {
    auto dump = dump_of(plain);
    append(dump, dump_of(plain, {.first_lba = 25}));
    const auto seen = examine(dump, false).seen;
    CHECK(seen.address_bad == 1);
    CHECK(seen.steps.front().found == 25);
  }
  SECTION("every address goes back") {
    std::vector<std::byte> dump;
    for (std::int32_t i = 0; i < 30; ++i) {
      append(dump, dump_of(noise_bytes(2048, 12), {.first_lba = 500 - i}));
    }
    const auto seen = examine(dump, false).seen;
    CHECK(seen.address_bad == 29);
    CHECK(seen.bad.empty());
  }
  SECTION("one frame of mode 2 has another address, one has none") {
    auto dump = dump_of(plain, {.wrap = Wrap::form1});
    dump[10 * 2352 + 14] = std::byte{0x33};
    dump[20 * 2352 + 13] = std::byte{0xFA};
    const Result result = examine(dump, true);
    CHECK(result.seen.address_bad == 2);
    CHECK_FALSE(result.seen.steps[0].lasting);
    CHECK_FALSE(result.seen.steps[1].found);
    CHECK(result.seen.edc_bad == 0);
    CHECK(result.plain == plain);  // the address is no part of what the code covers
  }
  SECTION("in mode 1 the code covers the address too") {
    auto dump = dump_of(plain);
    dump[10 * 2352 + 14] = std::byte{0xFA};
    const Result result = examine(dump, true);
    CHECK(result.seen.address_bad == 1);
    CHECK(result.seen.edc_bad == 1);
    CHECK(result.seen.correctable == 1);
    CHECK(result.plain == plain);
  }
}

TEST_CASE("sub-channel bytes are carried past, whatever they hold") {
  const auto plain = noise_bytes(30 * 2048, 13);
  for (const std::uint32_t frame_bytes : {2368U, 2448U}) {
    auto dump = dump_of(plain, {.frame_bytes = frame_bytes});
    std::mt19937 random(14);
    for (std::size_t i = 0; i < 30; ++i) {
      for (std::size_t k = 2352; k < frame_bytes; ++k) {
        dump[i * frame_bytes + k] = static_cast<std::byte>(random());
      }
    }
    const Result result = examine(dump, true, frame_bytes);
    CHECK(result.seen.bad.empty());
    CHECK(result.plain == plain);
    dump.resize(dump.size() - (frame_bytes - 2352));  // the last one may lack them
    CHECK(examine(dump, true, frame_bytes).plain == plain);
  }
}

TEST_CASE("random damage never gets into the plain image unsaid") {
  const auto plain = noise_bytes(64 * 2048, 15);
  const auto good = dump_of(plain);
  std::mt19937 random(16);
  for (int round = 0; round < 60; ++round) {
    auto dump = good;
    const std::size_t hits = 1 + random() % 200;
    for (std::size_t i = 0; i < hits; ++i) {
      const std::size_t at = random() % dump.size();
      const std::size_t length = std::min<std::size_t>(1 + random() % 60, dump.size() - at);
      for (std::size_t k = 0; k < length; ++k)
        dump[at + k] ^= static_cast<std::byte>(random());
    }
    const Result result = examine(dump, true);
    for (std::size_t frame = 0; frame < 64; ++frame) {
      const auto got = std::span(result.plain).subspan(frame * 2048, 2048);
      if (std::ranges::equal(got, std::span(plain).subspan(frame * 2048, 2048))) continue;
      const auto bad = std::ranges::find(result.seen.bad, frame, &framing::BadFrame::frame);
      REQUIRE(bad != result.seen.bad.end());
      REQUIRE(bad->plain == PlainContent::zeros);
      REQUIRE(std::ranges::all_of(got, [](std::byte byte) { return byte == std::byte{0}; }));
    }
  }
}

// Some bytes of it cannot be read.
class Torn final : public ByteSource {
 public:
  Torn(std::vector<std::byte> bytes, std::uint64_t from, std::uint64_t to)
      : bytes_(std::move(bytes)), from_(from), to_(to) {}
  [[nodiscard]] std::uint64_t size() const noexcept override { return bytes_.size(); }
  std::size_t read(std::uint64_t offset, std::span<std::byte> out) const override {
    if (offset < to_ && offset + out.size() > from_) throw IoError("torn", from_, 512, "no luck");
    return bytes_.read(offset, out);
  }

 private:
  MemorySource bytes_;
  std::uint64_t from_;
  std::uint64_t to_;
};

TEST_CASE("frames that cannot be read are bad frames; the rest is examined") {
  const auto plain = noise_bytes(100 * 2048, 17);
  const auto dump = dump_of(plain);
  const auto layout = framing::find_layout(view_of(dump), 2352);
  const Torn source(dump, 30 * 2352 + 100, 31 * 2352 + 10);
  std::vector<std::byte> out(plain.size());
  framing::ExamineOptions options;
  options.write = [&](std::uint64_t offset, std::span<const std::byte> bytes) {
    std::ranges::copy(bytes, out.begin() + static_cast<std::ptrdiff_t>(offset));
  };
  const Examination seen = framing::examine(source, *layout, options);
  CHECK(seen.unreadable == 2);
  CHECK(seen.reason == "no luck");
  CHECK(seen.count(FrameKind::mode1) == 98);
  CHECK(seen.address_bad == 0);
  CHECK(out == zeroed(plain, 30, 2));
}

TEST_CASE("work can be stopped, and what a writer throws comes through") {
  const auto dump = dump_of(noise_bytes(400 * 2048, 18));
  const MemorySource source(dump);
  const auto layout = framing::find_layout(view_of(dump), 2352);
  framing::ExamineOptions options;
  options.keep_going = [] { return false; };
  CHECK_FALSE(framing::examine(source, *layout, options).finished);
  options.keep_going = {};
  options.write = [](std::uint64_t, std::span<const std::byte>) {
    throw IoError("out", 0, 0, "full");
  };
  CHECK_THROWS_AS(framing::examine(source, *layout, options), IoError);
}

TEST_CASE("a plain image put into frames and taken out again is the same") {
  for (const std::size_t size : {std::size_t{1}, std::size_t{2048}, std::size_t{300'000}}) {
    const auto plain = noise_bytes(size, 19);
    const std::size_t sectors = (size + 2047) / 2048;
    std::vector<std::byte> dump(sectors * 2352);
    REQUIRE(framing::enframe(
        MemorySource(plain), 2, [&](std::uint64_t offset, std::span<const std::byte> bytes) {
          std::ranges::copy(bytes, dump.begin() + static_cast<std::ptrdiff_t>(offset));
        }));
    CHECK(dump == dump_of(plain));
    auto padded = plain;
    padded.resize(sectors * 2048);
    CHECK(examine(dump, false).plain == padded);
  }
}

}  // namespace
}  // namespace platter::test
