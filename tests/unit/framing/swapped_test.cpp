// Swapped dumps: recognised by what stands behind the swap, and by nothing less.
#include <algorithm>

#include <catch2/catch.hpp>

#include "framing/swapped_source.h"
#include "support/survey.h"
#include "unit/framing/frames_support.h"
#include "writers/demo_images.h"
#include "writers/ffs_writer.h"
#include "writers/sgi_writer.h"

namespace platter::test {
namespace {

std::vector<std::byte> swapped(std::vector<std::byte> bytes, std::size_t word) {
  for (std::size_t i = 0; i + word <= bytes.size(); i += word) {
    std::reverse(bytes.begin() + static_cast<std::ptrdiff_t>(i),
                 bytes.begin() + static_cast<std::ptrdiff_t>(i + word));
  }
  return bytes;
}

std::vector<std::byte> ffs_volume(ByteOrder order) {
  fixtures::FfsOptions options;
  options.order = order;
  options.volume_bytes = 1U << 20U;
  options.last_mount = "/usr";
  fixtures::FfsWriter writer(options);
  writer.add_file("a", "content");
  return writer.build();
}

std::vector<std::byte> sgi_disk() {
  std::vector<std::byte> image(1U << 20U);
  fixtures::SgiLabel label;
  label.cylinders = 16;
  label.tracks = 4;
  label.sectors = 32;
  label.files = {{.name = "sash", .first = 8, .bytes = 1024}};
  label.slices[0] = {.blocks = 1024, .first = 512, .type = 7};
  label.slices[8] = {.blocks = 512, .first = 0, .type = 0};
  label.slices[10] = {.blocks = 2048, .first = 0, .type = 6};
  fixtures::write_sgi_label(image, label);
  return image;
}

// Every layer of the good image, in plain coordinates, behind the swap.
void check_behind(const std::vector<std::byte>& image, std::size_t word) {
  const Survey plain = survey_bytes(image);
  const Survey found = survey_bytes(swapped(image, word));
  const std::string id = word == 2 ? "swap16" : "swap32";
  CAPTURE(id, findings_of(found));
  REQUIRE(found.layers.size() == 1);
  CHECK(found.layers.front().id == id);
  CHECK(found.layers.front().kind == LayerKind::framing);
  CHECK(has_finding(found, FindingCode::bytes_swapped));
  CHECK_FALSE(any_fault(found.findings));
  CHECK(found.findings.size() == plain.findings.size() + 1);
  for_each_layer(plain.layers, [&](const Layer& expected) {
    CAPTURE(expected.id);
    const Layer* same = layer(found, id + "/" + expected.id);
    REQUIRE(same != nullptr);
    CHECK(same->start == expected.start);
    CHECK(same->bytes == expected.bytes);
  });
}

TEST_CASE("a swapped source reads any place and length right") {
  const auto plain = noise_bytes(10'003, 1);
  for (const unsigned word : {2U, 4U}) {
    const auto expected = swapped(plain, word);
    const framing::SwappedSource source(std::make_shared<MemorySource>(plain), word);
    REQUIRE(source.size() == plain.size() / word * word);
    std::mt19937 random(2);
    for (int round = 0; round < 2000; ++round) {
      const std::size_t at = random() % 10'100;
      std::vector<std::byte> part(random() % 40);
      const std::size_t got = source.read(at, part);
      const auto size = static_cast<std::size_t>(source.size());
      REQUIRE(got == (at >= size ? 0 : std::min(part.size(), size - at)));
      REQUIRE(std::equal(part.begin(), part.begin() + static_cast<std::ptrdiff_t>(got),
                         expected.begin() + static_cast<std::ptrdiff_t>(std::min(at, size))));
    }
  }
}

TEST_CASE("swapped dumps of discs and disks are recognised") {
  for (const std::size_t word : {std::size_t{2}, std::size_t{4}}) {
    SECTION("word of " + std::to_string(word) + " bytes") {
      check_behind(small_volume(), word);
      check_behind(fixtures::demo_install_disc(), word);
      check_behind(fixtures::demo_system_disk(), word);  // a Sun label with volumes
      check_behind(sgi_disk(), word);
    }
  }
}

TEST_CASE("a lone volume with swapped 16-bit words is recognised") {
  check_behind(ffs_volume(ByteOrder::big), 2);
  check_behind(ffs_volume(ByteOrder::little), 2);
}

TEST_CASE("frames of a swapped dump are found behind the swap") {
  for (const std::size_t word : {std::size_t{2}, std::size_t{4}}) {
    const Survey found = survey_bytes(swapped(dump_of(small_volume()), word));
    const std::string id = word == 2 ? "swap16" : "swap32";
    CHECK(layer(found, id + "/frames-2352/iso9660") != nullptr);
  }
  // And the other way round: a swapped disk that somebody put into frames.
  const Survey found = survey_bytes(dump_of(swapped(fixtures::demo_system_disk(), 2)));
  CHECK(layer(found, "frames-2352/swap16/sun") != nullptr);
}

TEST_CASE("an image with something plain in it is never called swapped") {
  for (const auto& image : {small_volume(), fixtures::demo_system_disk(), sgi_disk(),
                            ffs_volume(ByteOrder::big), ffs_volume(ByteOrder::little)}) {
    const Survey found = survey_bytes(image);
    CHECK_FALSE(has_finding(found, FindingCode::bytes_swapped));
    CHECK(found.layers.front().kind != LayerKind::framing);
  }
  // Nothing either way.
  CHECK(survey_bytes(noise_bytes(1U << 20U, 3)).layers.empty());
  CHECK(survey_bytes(std::vector<std::byte>(1U << 20U)).layers.empty());
}

TEST_CASE("bytes that fill no word are left out and said") {
  auto image = swapped(fixtures::demo_system_disk(), 4);
  const std::size_t whole = image.size();
  image.resize(whole + 3);
  const Survey found = survey_bytes(image);
  const Finding* odd = finding(found, FindingCode::image_odd_size, "swap32");
  REQUIRE(odd != nullptr);
  CHECK(odd->start == whole);
  CHECK(odd->bytes == 3);
}

}  // namespace
}  // namespace platter::test
