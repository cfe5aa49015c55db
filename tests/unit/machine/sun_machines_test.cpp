// Verdicts of the three families that start from a Sun label.
#include <catch2/catch.hpp>

#include "label/sun_label.h"
#include "verdicts.h"
#include "writers/sun_writer.h"
#include "writers/workstation_boot_writer.h"

using namespace platter;
using namespace platter::test;

namespace {

constexpr std::size_t kSunBlockAt = (4 * 64 + 1) * 512;

std::vector<Spoil> sun_spoils(char letter, std::string_view no_slice) {
  return {{"label magic",
           [](Bytes& image) {
             poke<label::kSunLabel, "magic">(image, 0, 0xBEEF, ByteOrder::big);
             fixtures::seal_sun_label(image);
           },
           "label-magic label-checksum"},
          {"label checksum", [](Bytes& image) { image[0] ^= std::byte{1}; }, "label-checksum"},
          {"no slice",
           [letter](Bytes& image) {
             FieldWriter<label::kSunLabel>(image.data(), ByteOrder::big)
                 .sub<"map">(static_cast<std::size_t>(letter - 'a'))
                 .set<"blocks">(0);
             fixtures::seal_sun_label(image);
           },
           no_slice},
          {"boot block cleared", [](Bytes& image) { clear(image, kSunBlockAt, 7680); },
           "boot-block-present boot-block-format"},
          {"foreign boot block",
           [](Bytes& image) {
             clear(image, kSunBlockAt, 7680);
             fixtures::put_bytes(image, kSunBlockAt, fixtures::make_elf32(3));
           },
           "boot-block-format"}};
}

constexpr std::string_view kNoSunSlice = "boot-slice boot-block-present boot-block-format";

}  // namespace

TEST_CASE("sparc: label, slice a and an a.out boot block") {
  const Bytes good = fixtures::make_sun_disk(fixtures::make_aout(0x0103));
  check_machine("sparc", good, sun_spoils('a', kNoSunSlice));
  check_machine(
      "sparc", good,
      {{"another machine's program", [](Bytes& image) { image[kSunBlockAt + 1] = std::byte{2}; },
        "boot-block-format"}});
  const BootVerdict verdict = verdict_of("sparc", good);
  const Evidence* present = evidence_of(verdict, "boot-block-present");
  REQUIRE(present != nullptr);
  CHECK(present->start == kSunBlockAt);
  CHECK(present->bytes == 7680);
  CHECK(evidence_of(verdict, "drive-block-size") == nullptr);
  // The same disk has something for its relatives, and nothing for anybody else.
  for (const std::string_view machine : kWorkstations) {
    CAPTURE(machine);
    const bool relative = machine == "sparc64" || machine == "m68k-sun";
    if (machine != "sparc") {
      CHECK(verdict_of(machine, good).verdict == (relative ? Verdict::incomplete : Verdict::none));
    }
  }
}

TEST_CASE("sparc: a program larger than 15 sectors is a matter of custom") {
  const Bytes image = fixtures::make_sun_disk(fixtures::make_aout(0x0103, {.text = 9000}));
  const BootVerdict verdict = verdict_of("sparc", image);
  CHECK(verdict.verdict == Verdict::ready);
  REQUIRE(evidence_of(verdict, "boot-block-size") != nullptr);
  CHECK_FALSE(evidence_of(verdict, "boot-block-size")->holds);
}

TEST_CASE("sparc: the default slice decides; others are mentioned") {
  const Bytes image = fixtures::make_sun_disk(fixtures::make_aout(0x0103), 'g');
  const BootVerdict verdict = verdict_of("sparc", image);
  CHECK(verdict.verdict == Verdict::incomplete);
  CHECK(missing_from(verdict) == kNoSunSlice);
  CHECK(evidence_of(verdict, "boot-slice")->detail.find("also stands in g") != std::string::npos);
}

TEST_CASE("sparc64: FCode with a right length and checksum") {
  const Bytes good = fixtures::make_sun_disk(fixtures::make_fcode());
  check_machine("sparc64", good, sun_spoils('a', kNoSunSlice));
  check_machine(
      "sparc64", good,
      {{"checksum", [](Bytes& image) { image[kSunBlockAt + 40] ^= std::byte{1}; },
        "fcode-checksum"},
       {"length 0", [](Bytes& image) { clear(image, kSunBlockAt + 2, 6); }, "fcode-length"},
       {"length past 15 sectors",
        [](Bytes& image) { fixtures::put_bytes(image, kSunBlockAt, fixtures::make_fcode(7681)); },
        "fcode-length"}});
}

TEST_CASE("m68k-sun: code for m68k, with or without a header") {
  for (const Bytes& block : {fixtures::make_raw_m68k(), fixtures::make_aout(2)}) {
    check_machine("m68k-sun", fixtures::make_sun_disk(block), sun_spoils('a', kNoSunSlice));
  }
}

TEST_CASE("Sun discs: each architecture has slices of its own") {
  const Bytes sparc = fixtures::make_sun_disk(fixtures::make_aout(0x0103), 'd');
  check_machine("sparc", sparc, sun_spoils('d', kNoSunSlice), BootAs::optical);
  CHECK(verdict_of("sparc", sparc, BootAs::disk).verdict == Verdict::incomplete);
  const Bytes sparc64 = fixtures::make_sun_disk(fixtures::make_fcode(), 'f');
  check_machine("sparc64", sparc64, sun_spoils('f', kNoSunSlice), BootAs::optical);
  const Bytes m68k = fixtures::make_sun_disk(fixtures::make_raw_m68k(), 'e');
  check_machine("m68k-sun", m68k, sun_spoils('e', kNoSunSlice), BootAs::optical);

  const Evidence* blocks = nullptr;
  const BootVerdict verdict = verdict_of("sparc", sparc, BootAs::optical);
  blocks = evidence_of(verdict, "drive-block-size");
  REQUIRE(blocks != nullptr);
  CHECK_FALSE(blocks->holds);
  CHECK_FALSE(blocks->demanded);
}

TEST_CASE("several machines may be ready on one disc") {
  Bytes image(1U << 20U);
  fixtures::SunLabel label;
  label.cylinders = 3;
  label.heads = 1;
  label.sectors_per_track = 640;
  label.slices[0] = {.first_cylinder = 0, .blocks = 640, .tag = 4};
  label.slices[3] = {.first_cylinder = 1, .blocks = 640, .tag = 2};
  label.slices[5] = {.first_cylinder = 2, .blocks = 640, .tag = 2};
  fixtures::write_sun_label(image, label);
  fixtures::put_bytes(image, 641 * 512, fixtures::make_aout(0x0103));
  fixtures::put_bytes(image, 1281 * 512, fixtures::make_fcode());
  CHECK(verdict_of("sparc", image, BootAs::optical).verdict == Verdict::ready);
  CHECK(verdict_of("sparc64", image, BootAs::optical).verdict == Verdict::ready);
}
