// Verdicts of the families that start from fields of sector 0: mips-dec, alpha, vax.
#include <catch2/catch.hpp>

#include "boot/sector_layouts.h"
#include "verdicts.h"
#include "writers/sun_writer.h"
#include "writers/workstation_boot_writer.h"

using namespace platter;
using namespace platter::test;

TEST_CASE("mips-dec: the boot sector's map") {
  using boot::kPmaxSector;
  Bytes good(64 * 512);
  fixtures::put_bytes(good, 512, fixtures::make_code(15 * 512));
  fixtures::write_pmax_sector(good);
  constexpr ByteOrder kLe = ByteOrder::little;
  const std::vector<Spoil> spoils = {
      {"magic", [](Bytes& image) { poke<kPmaxSector, "magic">(image, 0, 0x0002757B, kLe); },
       "sector-magic"},
      {"mode", [](Bytes& image) { poke<kPmaxSector, "mode">(image, 0, 2, kLe); }, "map-mode"},
      {"no pieces",
       [](Bytes& image) {
         fixtures::write_pmax_sector(image, {.pieces = {{0, 1}}});
       },
       "map-pieces entry-inside program-present"},
      {"load address",
       [](Bytes& image) {
         poke<kPmaxSector, "load">(image, 0, 0x00600000, kLe);
         poke<kPmaxSector, "entry">(image, 0, 0x00600000, kLe);
       },
       "load-address entry-inside"},
      {"entry behind the program",
       [](Bytes& image) { poke<kPmaxSector, "entry">(image, 0, 0x80600000 + 15 * 512, kLe); },
       "entry-inside"},
      {"cut off", [](Bytes& image) { image.resize(15 * 512); }, "entry-inside program-present"},
      {"program cleared", [](Bytes& image) { clear(image, 512, 15 * 512); }, "program-present"}};
  check_machine("mips-dec", good, spoils);
  check_machine("mips-dec", good, spoils, BootAs::optical);
  fixtures::write_pmax_sector(good, {.pieces = {{4, 1}, {8, 20}}});
  CHECK(verdict_of("mips-dec", good).verdict == Verdict::ready);
}

TEST_CASE("alpha: the boot sector's sum and pointers") {
  using boot::kAlphaSector;
  Bytes good(64 * 512);
  fixtures::put_bytes(good, 512, fixtures::make_code(15 * 512));
  fixtures::write_alpha_sector(good, 1, 15);
  const std::vector<Spoil> spoils = {
      {"sum", [](Bytes& image) { image[504] ^= std::byte{1}; }, "sector-checksum"},
      {"no length", [](Bytes& image) { fixtures::write_alpha_sector(image, 1, 0); },
       "program-place program-present"},
      {"no place", [](Bytes& image) { fixtures::write_alpha_sector(image, 0, 15); },
       "program-place program-present"},
      {"cut off", [](Bytes& image) { image.resize(15 * 512); }, "program-present"},
      {"program cleared", [](Bytes& image) { clear(image, 512, 15 * 512); }, "program-present"}};
  check_machine("alpha", good, spoils);
  check_machine("alpha", good, spoils, BootAs::optical);
  poke<kAlphaSector, "flags">(good, 0, 1, ByteOrder::little);
  fixtures::seal_alpha_sector(good);
  const BootVerdict flagged = verdict_of("alpha", good);
  CHECK(flagged.verdict == Verdict::ready);
  CHECK_FALSE(evidence_of(flagged, "flags-zero")->holds);
}

TEST_CASE("vax: the boot sector's identification") {
  using boot::kVaxHead;
  using boot::kVaxId;
  constexpr ByteOrder kLe = ByteOrder::little;
  Bytes good(64 * 512);
  fixtures::put_bytes(good, 512, fixtures::make_code(15 * 512));
  fixtures::write_vax_sector(good);
  const std::vector<Spoil> spoils = {
      {"byte 3", [](Bytes& image) { image[3] = std::byte{0}; }, "byte-3"},
      {"magic", [](Bytes& image) { poke<kVaxId, "magic">(image, 414, 0x19, kLe); },
       "identification"},
      {"complement", [](Bytes& image) { poke<kVaxId, "complement">(image, 414, 0xE6, kLe); },
       "identification"},
      {"sum", [](Bytes& image) { poke<kVaxId, "sum">(image, 414, 1, kLe); }, "identification-sum"},
      {"entry behind the program",
       [](Bytes& image) { fixtures::write_vax_sector(image, {.entry = 15 * 512}); },
       "entry-inside"},
      {"cut off", [](Bytes& image) { image.resize(15 * 512); }, "program-present"},
      {"program cleared", [](Bytes& image) { clear(image, 512, 15 * 512); }, "program-present"}};
  check_machine("vax", good, spoils);
  check_machine("vax", good, spoils, BootAs::optical);
}

TEST_CASE("alpha: fields of another label are no boot sector") {
  // Slices e to h of a Sun label lie where alpha keeps place and length; these read as block 256
  // and 256 blocks.
  Bytes image(1U << 20U);
  fixtures::SunLabel label;
  label.cylinders = 2000;
  label.heads = 64;
  label.sectors_per_track = 32;
  label.slices[4] = {.first_cylinder = 0, .blocks = 65536};
  label.slices[5] = {.first_cylinder = 0, .blocks = 65536};
  fixtures::write_sun_label(image, label);
  const BootVerdict verdict = verdict_of("alpha", image);
  CHECK(evidence_of(verdict, "program-place")->holds);
  CHECK(verdict.verdict == Verdict::none);
}
