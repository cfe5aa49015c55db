// The portable and the accelerated code against each other, and many frames at once.
#include <algorithm>
#include <cstring>
#include <random>

#include <catch2/catch.hpp>

#include "framing/sector_code.h"
#include "unit/framing/sector_code_support.h"

using namespace platter::sector_code;
using namespace platter::test;

TEST_CASE("both paths give the same verdict on whatever bytes", "[sector_code]") {
  INFO("accelerated path on this machine: " << (accelerated_path_available() ? "yes" : "no"));
  std::mt19937 random(77);
  bool same = true;
  bool counted_right = true;
  for (int round = 0; round < 6000; ++round) {
    Frame frame = noise<frame_bytes>(random);
    const int shape = round % 4;
    if (shape == 1) frame = encode_mode1(noise<2048>(random), round).value();
    if (shape == 2) frame = encode_form1(noise<2048>(random), data_subheader, round).value();
    if (shape == 3) {
      std::copy(sync_pattern.begin(), sync_pattern.end(), frame.begin());
      frame[15] = static_cast<std::byte>(random() % 4);
    }
    const std::size_t count = random() % 12;
    for (std::size_t i = 0; i < count; ++i)
      frame[random() % frame_bytes] ^= nonzero_byte(random);
    const FrameCheck portable = check(frame, Path::portable);
    same = same && portable == check(frame, Path::fastest);
    if (portable.kind == FrameKind::mode1 || portable.kind == FrameKind::mode2_form1) {
      const FrameSyndromes words = syndromes(frame, portable.kind);
      const auto is_bad = [](const Syndrome& word) { return word.bad(); };
      counted_right = counted_right &&
                      std::count_if(words.p.begin(), words.p.end(), is_bad) == portable.p_bad &&
                      std::count_if(words.q.begin(), words.q.end(), is_bad) == portable.q_bad;
    }
  }
  CHECK(same);
  CHECK(counted_right);
  // Each place alone: a lane that one path drops would show here.
  const Frame sound = encode_mode1(noise<2048>(random), 1).value();
  for (std::size_t offset = 12; offset < frame_bytes; ++offset) {
    Frame frame = sound;
    frame[offset] ^= nonzero_byte(random);
    frame[15] = std::byte{1};
    for (const FrameKind kind : {FrameKind::mode1, FrameKind::mode2_form1}) {
      const bool header_as_zero = kind == FrameKind::mode2_form1;
      const auto* const bytes = reinterpret_cast<const std::uint8_t*>(frame.data());
      const auto slow = detail::kernel_for(Path::portable).count_bad_parity(bytes, header_as_zero);
      const auto quick = detail::kernel_for(Path::fastest).count_bad_parity(bytes, header_as_zero);
      same = same && slow.p_bad == quick.p_bad && slow.q_bad == quick.q_bad;
    }
  }
  CHECK(same);
}

TEST_CASE("many frames at once, with and without sub-channel bytes", "[sector_code]") {
  std::mt19937 random(5);
  constexpr std::size_t count = 20;
  for (const std::size_t stride : {std::size_t{2352}, std::size_t{2368}, std::size_t{2448}}) {
    Bytes image;
    for (std::size_t i = 0; i < count; ++i) {
      auto frame = encode_mode1(noise<2048>(random), static_cast<int>(i)).value();
      if (i == 7) frame[1234] ^= std::byte{0x80};
      image.insert(image.end(), frame.begin(), frame.end());
      if (i + 1 < count) image.resize(image.size() + stride - frame_bytes, std::byte{0xAA});
    }
    for (const Path path : both_paths()) {
      std::vector<FrameCheck> checks(count + 5);
      REQUIRE(check_frames(image, stride, checks, path) == count);
      for (std::size_t i = 0; i < count; ++i) {
        CHECK(checks[i].sound() == (i != 7));
        CHECK(checks[i].address == static_cast<int>(i));
      }
      CHECK(check_frames(image, stride, std::span(checks).first(3), path) == 3);
      CHECK(check_frames(std::span(image).first(image.size() - 1), stride, checks, path) ==
            count - 1);
    }
  }
  CHECK(whole_frames(0, 2352) == 0);
  CHECK(whole_frames(2351, 2352) == 0);
  CHECK(whole_frames(2352, 2448) == 1);
  CHECK(whole_frames(2448 + 2352, 2448) == 2);
  CHECK(whole_frames(100000, 2351) == 0);
  CHECK(whole_frames(100000, 0) == 0);
}
