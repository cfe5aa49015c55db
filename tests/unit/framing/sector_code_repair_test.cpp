// Repairing frames: everything that the code guarantees comes back, and nothing else is touched.
#include <algorithm>
#include <cstring>
#include <random>

#include <catch2/catch.hpp>

#include "framing/sector_code.h"
#include "unit/framing/sector_code_support.h"

using namespace platter::sector_code;
using namespace platter::test;

TEST_CASE("any single wrong byte is repaired", "[sector_code]") {
  std::mt19937 random(1);
  const Frame mode1 = encode_mode1(noise<2048>(random), 4711).value();
  const Frame form1 = encode_form1(noise<2048>(random), data_subheader, 4711).value();
  const Frame mode1_zeros = encode_mode1(zeros<2048>(), -150).value();
  const Frame form1_zeros = encode_form1(zeros<2048>(), data_subheader, 0).value();
  std::size_t failures = 0;
  for (const Frame* const sound : {&mode1, &form1, &mode1_zeros, &form1_zeros}) {
    const bool is_mode1 = classify(*sound) == FrameKind::mode1;
    for (std::size_t offset = 0; offset < frame_bytes; ++offset) {
      // In form 1 no code covers minute, second and frame.
      if (!is_mode1 && offset >= 12 && offset < 15) continue;
      for (int sample = 0; sample < 6; ++sample) {
        Frame frame = *sound;
        // Bits 5-7 of a mode 2 mode byte are free.
        frame[offset] ^= sample == 0 || offset == 15 ? std::byte{0x01} : nonzero_byte(random);
        failures += repair_restores(*sound, frame) ? 0U : 1U;
      }
    }
  }
  CHECK(failures == 0);
}

TEST_CASE("bursts of up to 86 bytes are repaired", "[sector_code]") {
  std::mt19937 random(86);
  const Frame mode1 = encode_mode1(noise<2048>(random), 4711).value();
  const Frame form1 = encode_form1(noise<2048>(random), data_subheader, 4711).value();
  std::size_t failures = 0;
  for (const Frame* const sound : {&mode1, &form1}) {
    const std::size_t from = sound == &mode1 ? 12 : 16;
    for (std::size_t offset = from; offset + 86 <= frame_bytes; offset += 3) {
      Frame frame = *sound;
      const std::size_t length = offset % 2 == 0 ? 86 : 2 + random() % 85;
      for (std::size_t i = 0; i < length; ++i)
        frame[offset + i] ^= nonzero_byte(random);
      if (offset % 5 == 0) std::fill_n(frame.begin(), 12, std::byte{0});
      failures += repair_restores(*sound, frame) ? 0U : 1U;
    }
    // The last bytes, up to the end of the frame.
    for (std::size_t length = 1; length <= 86; ++length) {
      Frame frame = *sound;
      for (std::size_t i = 0; i < length; ++i)
        frame[frame_bytes - 1 - i] ^= nonzero_byte(random);
      failures += repair_restores(*sound, frame) ? 0U : 1U;
    }
  }
  CHECK(failures == 0);
}

TEST_CASE("a few wrong bytes anywhere, and in the worst places, are repaired", "[sector_code]") {
  std::mt19937 random(4);
  const Frame sound = encode_mode1(noise<2048>(random), 4711).value();
  std::size_t failures = 0;
  for (int round = 0; round < 4000; ++round) {
    Frame frame = sound;
    const std::size_t count = 2 + random() % 3;
    for (std::size_t i = 0; i < count; ++i)
      frame[12 + random() % 2340] ^= nonzero_byte(random);
    if (frame != sound) failures += repair_restores(sound, frame) ? 0U : 1U;
  }
  CHECK(failures == 0);

  // Four bytes on the corners: two P words and two Q words with two errors each, so that no word
  // can be corrected alone.
  failures = 0;
  for (int round = 0; round < 4000; ++round) {
    const std::size_t first_column = random() % 43;
    const std::size_t second_column = (first_column + 1 + random() % 42) % 43;
    const std::size_t first_diagonal = random() % 26;
    const std::size_t second_diagonal = (first_diagonal + 1 + random() % 25) % 26;
    const std::size_t half = random() % 2;
    Frame frame = sound;
    for (const std::size_t column : {first_column, second_column}) {
      for (const std::size_t diagonal : {first_diagonal, second_diagonal}) {
        frame[q_symbol_offset(2 * diagonal + half, column)] ^= nonzero_byte(random);
      }
    }
    failures += repair_restores(sound, frame) ? 0U : 1U;
  }
  CHECK(failures == 0);

  SECTION("two whole columns, two whole diagonals") {
    failures = 0;
    for (std::size_t word = 0; word + 2 < p_word_count; ++word) {
      Frame frame = sound;
      for (std::size_t i = 0; i < 26; ++i) {
        frame[p_symbol_offset(word, i)] ^= nonzero_byte(random);
        frame[p_symbol_offset(word + 2, i)] ^= nonzero_byte(random);
      }
      failures += repair_restores(sound, frame) ? 0U : 1U;
    }
    for (std::size_t word = 0; word + 2 < q_word_count; ++word) {
      Frame frame = sound;
      for (std::size_t i = 0; i < 43; ++i) {
        frame[q_symbol_offset(word, i)] ^= nonzero_byte(random);
        frame[q_symbol_offset(word + 2, i)] ^= nonzero_byte(random);
      }
      failures += repair_restores(sound, frame) ? 0U : 1U;
    }
    CHECK(failures == 0);
  }
  SECTION("errors in the filler that form a P word, so that only Q complains") {
    failures = 0;
    for (std::size_t offset = 2068; offset < 2076; ++offset) {
      Frame difference{};
      difference[offset] = std::byte{0x26};
      write_parity(difference, FrameKind::mode1);
      Frame frame = sound;
      for (std::size_t i = offset; i < 2248; ++i)
        frame[i] ^= difference[i];
      failures += repair_restores(sound, frame) ? 0U : 1U;
      // With Q made to match as well, only the filler tells.
      write_parity(frame, FrameKind::mode1);
      CHECK_FALSE(check(frame).filler_ok);
      CHECK_FALSE(check(frame).sound());
      failures += repair_restores(sound, frame) ? 0U : 1U;
    }
    CHECK(failures == 0);
  }
  SECTION("all parity lost") {
    for (const std::byte value : {std::byte{0}, std::byte{0xFF}, std::byte{0x5A}}) {
      Frame frame = sound;
      std::fill(frame.begin() + 2068, frame.end(), value);
      CHECK(repair_restores(sound, frame));
    }
  }
  SECTION("errors that form a Q word, so that only P complains") {
    failures = 0;
    for (std::size_t offset = 16; offset < 2064; offset += 7) {
      Frame difference{};
      difference[offset] = nonzero_byte(random);
      for (const auto& word : q_layout())
        solve_parity(difference, word, false);
      Frame frame = sound;
      for (std::size_t i = 0; i < frame_bytes; ++i)
        frame[i] ^= difference[i];
      CHECK(check(frame).q_bad == 0);
      failures += repair_restores(sound, frame) ? 0U : 1U;
    }
    CHECK(failures == 0);
  }
  SECTION("errors that form a P word, so that only Q complains") {
    failures = 0;
    for (int round = 0; round < 500; ++round) {
      Frame frame = sound;
      const std::size_t word = random() % p_word_count;
      // Any data symbol with the two parity symbols that belong to it.
      Frame difference{};
      difference[p_symbol_offset(word, random() % 24)] = nonzero_byte(random);
      write_parity(difference, FrameKind::mode1);
      for (std::size_t i = 0; i < 26; ++i) {
        frame[p_symbol_offset(word, i)] ^= difference[p_symbol_offset(word, i)];
      }
      failures += repair_restores(sound, frame) ? 0U : 1U;
    }
    CHECK(failures == 0);
  }
}

TEST_CASE("damage beyond the code leaves the frame alone", "[sector_code]") {
  std::mt19937 random(9);
  const Frame mode1 = encode_mode1(noise<2048>(random), 4711).value();
  const Frame form1 = encode_form1(noise<2048>(random), data_subheader, 4711).value();
  for (const Frame* const sound : {&mode1, &form1}) {
    Frame frame = *sound;
    for (std::size_t i = 100; i < 1500; ++i)
      frame[i] ^= nonzero_byte(random);
    const Frame before = frame;
    const RepairResult result = repair(frame);
    CHECK(result.outcome == RepairOutcome::not_correctable);
    CHECK(result.kind == classify(*sound));
    CHECK(result.changes.empty());
    CHECK(frame == before);
  }
  // An address that is none, in a mode where no code covers it.
  Frame lost = form1;
  lost[12] = std::byte{0xFF};
  CHECK_FALSE(check(lost).address);
  CHECK(repair(lost).outcome == RepairOutcome::not_correctable);
  // All words hold, but the EDC does not: parity made for other data.
  Frame frame = mode1;
  frame[50] ^= std::byte{1};
  write_parity(frame, FrameKind::mode1);
  const Frame before = frame;
  CHECK(check(frame).p_bad == 0);
  CHECK(check(frame).q_bad == 0);
  CHECK(check(frame).edc == EdcState::bad);
  CHECK(repair(frame).outcome == RepairOutcome::not_correctable);
  CHECK(frame == before);
}

TEST_CASE("heavy damage never comes out as a wrong frame", "[sector_code]") {
  std::mt19937 random(99);
  std::size_t lies = 0;
  for (int round = 0; round < 3000; ++round) {
    const bool is_form1 = round % 2 == 1;
    const auto user = round % 3 == 0 ? zeros<2048>() : noise<2048>(random);
    const Frame sound = is_form1 ? encode_form1(user, data_subheader, round).value()
                                 : encode_mode1(user, round).value();
    Frame frame = sound;
    const std::size_t from = is_form1 ? 16 : 12;
    const std::size_t count = std::size_t{1} << (random() % 11);
    for (std::size_t i = 0; i < count; ++i) {
      frame[from + random() % (frame_bytes - from)] ^= nonzero_byte(random);
    }
    if (round % 4 == 0) {  // a lost stretch on top
      const std::size_t start = from + random() % 1500;
      std::fill_n(frame.begin() + static_cast<std::ptrdiff_t>(start), random() % 800, std::byte{0});
    }
    lies += repair_is_honest(sound, frame) ? 0U : 1U;
  }
  CHECK(lies == 0);
}
