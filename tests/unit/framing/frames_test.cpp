// Finding frames from the bytes, and reading the plain image behind them.
#include <algorithm>

#include <catch2/catch.hpp>

#include "framing/framed_source.h"
#include "support/survey.h"
#include "unit/framing/frames_support.h"
#include "writers/demo_images.h"

namespace platter::test {
namespace {

using framing::find_layout;

std::vector<std::byte> plain_behind(const std::vector<std::byte>& dump, std::uint32_t frame_bytes) {
  const auto source = std::make_shared<MemorySource>(dump);
  const auto layout = find_layout(View(source), frame_bytes);
  REQUIRE(layout);
  return View(std::make_shared<framing::FramedSource>(source, *layout)).read_vector(0, kLargest);
}

bool any_frames(const std::vector<std::byte>& bytes) {
  const View view = view_of(bytes);
  return std::ranges::any_of(framing::kFrameDistances, [&](std::uint32_t frame_bytes) {
    return find_layout(view, frame_bytes).has_value();
  });
}

TEST_CASE("every kind and distance of frames is found, and only that distance") {
  const auto volume = small_volume();
  for (const Wrap wrap : {Wrap::mode1, Wrap::form1}) {
    for (const std::uint32_t frame_bytes : framing::kFrameDistances) {
      if (wrap == Wrap::mode1 && frame_bytes == 2336) continue;  // only mode 2 is dumped so
      const auto dump = dump_of(volume, {.wrap = wrap, .frame_bytes = frame_bytes});
      for (const std::uint32_t other : framing::kFrameDistances) {
        CAPTURE(frame_bytes, other);
        const auto layout = find_layout(view_of(dump), other);
        REQUIRE(layout.has_value() == (other == frame_bytes));
        if (!layout) continue;
        CHECK(layout->frames == volume.size() / 2048);
        CHECK(layout->lead == 0);
        CHECK(layout->rest == 0);
        CHECK(layout->proven);
        if (frame_bytes != 2336) CHECK(layout->first_lba == 0);
      }
      CHECK(plain_behind(dump, frame_bytes) == volume);
    }
  }
}

TEST_CASE("the survey finds the volume behind the frames in plain coordinates") {
  const auto volume = small_volume();
  const Survey plain = survey_bytes(volume);
  const Layer* expected = layer(plain, "iso9660");
  REQUIRE(expected != nullptr);
  for (const std::uint32_t frame_bytes : framing::kFrameDistances) {
    const auto dump = dump_of(volume, {.wrap = frame_bytes == 2336 ? Wrap::form1 : Wrap::mode1,
                                       .frame_bytes = frame_bytes});
    const Survey found = survey_bytes(dump);
    const std::string id = "frames-" + std::to_string(frame_bytes);
    CAPTURE(id, findings_of(found));
    const Layer* frames = layer(found, id);
    REQUIRE(frames != nullptr);
    CHECK(frames->kind == LayerKind::framing);
    CHECK(frames->start == 0);
    CHECK(frames->bytes == volume.size());
    CHECK(frames->facts.number("frame_bytes") == frame_bytes);
    CHECK(frames->facts.number("frames") == volume.size() / 2048);
    CHECK(has_finding(found, FindingCode::raw_frames));
    CHECK_FALSE(any_fault(found.findings));
    const Layer* iso = layer(found, id + "/iso9660");
    REQUIRE(iso != nullptr);
    CHECK(iso->start == expected->start);
    CHECK(iso->bytes == expected->bytes);
    CHECK(iso->facts.words("volume_name") == "FRAMED");
  }
}

TEST_CASE("labels and volumes of a hybrid disc are found through frames alike") {
  const auto disc = fixtures::demo_install_disc();
  const Survey plain = survey_bytes(disc);
  const Survey found = survey_bytes(dump_of(disc));
  for_each_layer(plain.layers, [&](const Layer& expected) {
    CAPTURE(expected.id);
    const Layer* same = layer(found, "frames-2352/" + expected.id);
    REQUIRE(same != nullptr);
    CHECK(same->start == expected.start);
    CHECK(same->bytes == expected.bytes);
  });
}

TEST_CASE("an image may start anywhere on the disc") {
  const auto volume = small_volume();
  const auto dump = dump_of(volume, {.first_lba = 44850});  // 10:00:00
  const Survey found = survey_bytes(dump);
  CHECK(fact(found, "frames-2352", "first_address") == "10:00:00");
  CHECK(layer(found, "frames-2352/iso9660") != nullptr);
  CHECK(plain_behind(dump, 2352) == volume);
}

TEST_CASE("the pause before block 0 is no part of the plain image") {
  const auto volume = small_volume();
  auto dump = dump_of(std::vector<std::byte>(150 * 2048), {.first_lba = -150});
  append(dump, dump_of(volume));
  CHECK(plain_behind(dump, 2352) == volume);
  const Survey found = survey_bytes(dump);
  CHECK(layer(found, "frames-2352")->facts.number("pregap_frames") == 150);
  CHECK(layer(found, "frames-2352/iso9660") != nullptr);
}

TEST_CASE("modes may change from frame to frame; what is no sector reads as zeros") {
  const auto first = noise_bytes(20 * 2048, 1);
  auto dump = dump_of(first);
  append(dump, dump_of(noise_bytes(10 * 2048, 2), {.wrap = Wrap::form2, .first_lba = 20}));
  const auto last = noise_bytes(20 * 2048, 3);
  append(dump, dump_of(last, {.wrap = Wrap::form1, .first_lba = 30}));
  std::vector<std::byte> expected = first;
  expected.resize(30 * 2048);
  append(expected, last);
  CHECK(plain_behind(dump, 2352) == expected);
  CHECK(fact(survey_bytes(dump), "frames-2352", "modes") == "mode1, mode2-form1, mode2-form2");
}

TEST_CASE("reads of any place and length agree with the whole") {
  const auto plain = noise_bytes(40 * 2048, 4);
  for (const std::uint32_t frame_bytes : framing::kFrameDistances) {
    const auto source = std::make_shared<MemorySource>(
        dump_of(plain, {.wrap = Wrap::form1, .frame_bytes = frame_bytes}));
    const auto layout = find_layout(View(source), frame_bytes);
    REQUIRE(layout);
    const framing::FramedSource behind(source, *layout);
    std::mt19937 random(5);
    for (int round = 0; round < 300; ++round) {
      const std::size_t at = random() % (plain.size() + 100);
      std::vector<std::byte> part(random() % 6000);
      const std::size_t got = behind.read(at, part);
      const std::size_t there = at >= plain.size() ? 0 : std::min(part.size(), plain.size() - at);
      REQUIRE(got == there);
      REQUIRE(std::equal(part.begin(), part.begin() + static_cast<std::ptrdiff_t>(got),
                         plain.begin() + static_cast<std::ptrdiff_t>(std::min(at, plain.size()))));
      if (at >= plain.size()) continue;
      const auto place = behind.stored_place(at);
      REQUIRE(place);
      std::array<std::byte, 1> stored{};
      REQUIRE(source->read(*place, stored) == 1);
      REQUIRE(stored[0] == plain[at]);
    }
    CHECK_FALSE(behind.stored_place(plain.size()));
  }
}

TEST_CASE("a last frame that is cut, and a first one, are said") {
  const auto volume = small_volume();
  auto dump = dump_of(volume);
  for (const std::size_t missing : {std::size_t{1}, std::size_t{300}, std::size_t{2351}}) {
    auto cut = dump;
    cut.resize(cut.size() - missing);
    const Survey found = survey_bytes(cut);
    const Finding* finding = test::finding(found, FindingCode::frame_cut);
    REQUIRE(finding != nullptr);
    CHECK(finding->severity == Severity::fault);
    CHECK(finding->start == dump.size() - 2352);
    CHECK(finding->bytes == 2352 - missing);
    CHECK(layer(found, "frames-2352")->bytes == volume.size() - 2048);
  }
  dump.erase(dump.begin(), dump.begin() + 1000);
  const Survey found = survey_bytes(dump);
  const Finding* finding = test::finding(found, FindingCode::frame_cut);
  REQUIRE(finding != nullptr);
  CHECK(finding->start == 0);
  CHECK(finding->bytes == 1352);
  CHECK(layer(found, "frames-2352")->facts.number("frames") == volume.size() / 2048 - 1);
}

TEST_CASE("damage to a few frames does not hide the rest") {
  const auto volume = small_volume();
  auto dump = dump_of(volume);
  const auto spoil = [&](std::size_t frame) {
    std::fill_n(dump.begin() + static_cast<std::ptrdiff_t>(frame * 2352), 16, std::byte{0x55});
  };
  spoil(0);
  spoil(1);
  spoil(30);
  const Survey found = survey_bytes(dump);
  CHECK(layer(found, "frames-2352/iso9660") != nullptr);
  CHECK(layer(found, "frames-2352")->facts.words("first_address") == "00:02:00");
}

TEST_CASE("a disc with audio is said to be one, wherever the audio stands") {
  const auto volume = small_volume();
  const auto audio = noise_bytes(40 * 2352, 6);
  auto behind = dump_of(volume);
  append(behind, audio);
  auto before = audio;
  append(before, dump_of(volume, {.first_lba = 40}));
  for (const auto* dump : {&behind, &before}) {
    const Survey found = survey_bytes(*dump);
    const Layer* frames = layer(found, "frames-2352");
    REQUIRE(frames != nullptr);
    CHECK(frames->title.find("data and audio") != std::string::npos);
    CHECK(std::get<bool>(*frames->facts.find("audio")));
  }
}

TEST_CASE("what has no frames is never taken for some") {
  CHECK_FALSE(any_frames({}));
  CHECK_FALSE(any_frames(small_volume()));
  CHECK_FALSE(any_frames(fixtures::demo_install_disc()));
  CHECK_FALSE(any_frames(noise_bytes(200 * 2352, 7)));
  for (const std::byte value : {std::byte{0}, std::byte{0xFF}}) {
    CHECK_FALSE(any_frames(std::vector<std::byte>(100 * 2352, value)));
    CHECK_FALSE(any_frames(std::vector<std::byte>(100 * 2336, value)));
  }
  // Only syncs: 2352 and 2448 are whole multiples of 12, so one stands wherever one is looked for.
  std::vector<std::byte> syncs;
  while (syncs.size() < 200 * 2352) {
    syncs.insert(syncs.end(), sector_code::sync_pattern.begin(), sector_code::sync_pattern.end());
  }
  CHECK_FALSE(any_frames(syncs));
  CHECK(survey_bytes(syncs).layers.empty());
  // Syncs at the right distance, but nothing that is an address.
  std::vector<std::byte> hollow(100 * 2352, std::byte{0xAB});
  for (std::size_t at = 0; at < hollow.size(); at += 2352) {
    std::ranges::copy(sector_code::sync_pattern, hollow.begin() + static_cast<std::ptrdiff_t>(at));
  }
  CHECK_FALSE(any_frames(hollow));
  // The same address everywhere and no code: nothing counts on.
  for (std::size_t at = 0; at < hollow.size(); at += 2352) {
    std::fill_n(hollow.begin() + static_cast<std::ptrdiff_t>(at) + 12, 4, std::byte{0x01});
  }
  CHECK_FALSE(any_frames(hollow));
  // A plain disk that keeps a dump of a disc in a file.
  std::vector<std::byte> disk(300 * 2048, std::byte{0});
  append(disk, dump_of(small_volume()));
  disk.resize(disk.size() / 2048 * 2048 + 2048);
  CHECK_FALSE(any_frames(disk));
}

TEST_CASE("odd headers in otherwise good frames do not hide them") {
  const auto plain = noise_bytes(40 * 2048, 8);
  std::vector<std::byte> backwards;
  for (std::size_t i = 0; i < 40; ++i) {
    const std::vector<std::byte> user(plain.begin() + static_cast<std::ptrdiff_t>(i * 2048),
                                      plain.begin() + static_cast<std::ptrdiff_t>((i + 1) * 2048));
    append(backwards, dump_of(user, {.first_lba = static_cast<std::int32_t>(1000 - i)}));
  }
  CHECK(plain_behind(backwards, 2352) == plain);
  auto few = dump_of({plain.begin(), plain.begin() + 2048});
  CHECK(find_layout(view_of(few), 2352).has_value());
  few[100] ^= std::byte{1};
  CHECK_FALSE(find_layout(view_of(few), 2352).has_value());
}

}  // namespace
}  // namespace platter::test
