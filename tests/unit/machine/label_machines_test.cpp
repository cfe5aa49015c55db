// Verdicts of the families whose label points to the program: mips-sgi, hppa, m68k-lif, m68k-dlv.
#include <catch2/catch.hpp>

#include "boot/sector_layouts.h"
#include "label/lif_label.h"
#include "label/sgi_label.h"
#include "verdicts.h"
#include "writers/dlv_writer.h"
#include "writers/lif_writer.h"
#include "writers/sgi_writer.h"
#include "writers/workstation_boot_writer.h"

using namespace platter;
using namespace platter::test;

TEST_CASE("mips-sgi: the volume header and the shell in its directory") {
  using label::kSgiHeader;
  const auto sealed = [](auto change) {
    return [change](Bytes& image) {
      FieldWriter<kSgiHeader> header(image.data(), ByteOrder::big);
      change(header);
      fixtures::seal_sgi_label(image);
    };
  };
  const std::vector<Spoil> spoils = {
      {"magic", sealed([](auto& header) { header.template set<"magic">(0x0BE5A942); }),
       "volume-header-magic"},
      {"checksum", [](Bytes& image) { image[8] ^= std::byte{1}; }, "volume-header-checksum"},
      {"slice 8 elsewhere",
       sealed([](auto& header) { header.template sub<"slice">(8).template set<"type">(7); }),
       "header-slice"},
      {"no shell", sealed([](auto& header) {
         header.template sub<"file">(0).template set_text<"name">("ide");
       }),
       "shell-present"},
      {"shell outside slice 8",
       sealed([](auto& header) { header.template sub<"slice">(8).template set<"blocks">(9); }),
       "shell-inside"},
      {"shell cut off", [](Bytes& image) { image.resize(8 * 512 + 300); }, "shell-inside"},
      {"foreign shell",
       [](Bytes& image) { fixtures::put_bytes(image, 8 * 512, fixtures::make_elf32(4)); },
       "shell-format"}};
  for (const BootAs as : {BootAs::disk, BootAs::optical}) {
    check_machine("mips-sgi", fixtures::make_sgi_disk(fixtures::make_elf32(8)), spoils, as);
    check_machine("mips-sgi", fixtures::make_sgi_disk(fixtures::make_coff(0x0160, 56)), spoils, as);
  }
  Bytes cut = fixtures::make_sgi_disk(fixtures::make_elf32(8));
  sealed([](auto& header) { header.template sub<"file">(0).template set<"length">(256); })(cut);
  const BootVerdict short_shell = verdict_of("mips-sgi", cut);
  CHECK(short_shell.verdict == Verdict::ready);
  CHECK_FALSE(evidence_of(short_shell, "shell-whole")->holds);
  Bytes variant = fixtures::make_sgi_disk(fixtures::make_elf32(8));
  sealed([](auto& header) {
    header.template sub<"file">(0).template set_text<"name">("sashARCS");
  })(variant);
  CHECK(verdict_of("mips-sgi", variant, BootAs::optical).verdict == Verdict::ready);
  CHECK(verdict_of("mips-sgi", variant, BootAs::disk).verdict == Verdict::incomplete);
}

TEST_CASE("hppa: the rules for the initial program") {
  using label::kLifVolume;
  constexpr ByteOrder kBe = ByteOrder::big;
  const Bytes good = fixtures::make_hppa_disk();
  const std::vector<Spoil> spoils = {
      {"magic", [](Bytes& image) { image[0] = std::byte{0x81}; }, "volume-magic ipl-given"},
      {"start at 0", [](Bytes& image) { poke<kLifVolume, "ipl_start">(image, 0, 0, kBe); },
       "ipl-start ipl-checksum"},
      {"start not aligned",
       [](Bytes& image) { poke<kLifVolume, "ipl_start">(image, 0, 8192 + 512, kBe); },
       "ipl-start ipl-checksum"},
      {"size 0", [](Bytes& image) { poke<kLifVolume, "ipl_bytes">(image, 0, 0, kBe); },
       "ipl-size ipl-entry ipl-present ipl-checksum"},
      {"size not aligned",
       // The words behind the program are zeros, so that the sum stays right.
       [](Bytes& image) { poke<kLifVolume, "ipl_bytes">(image, 0, 4096 + 4, kBe); }, "ipl-size"},
      {"too large",
       [](Bytes& image) {
         image.resize(512 * 1024);
         poke<kLifVolume, "ipl_bytes">(image, 0, 258 * 1024, kBe);
       },
       "ipl-limit ipl-present ipl-checksum"},
      {"entry not aligned", [](Bytes& image) { poke<kLifVolume, "ipl_entry">(image, 0, 66, kBe); },
       "ipl-entry"},
      {"entry outside", [](Bytes& image) { poke<kLifVolume, "ipl_entry">(image, 0, 4096, kBe); },
       "ipl-entry"},
      {"cut off", [](Bytes& image) { image.resize(8192 + 4000); }, "ipl-present ipl-checksum"},
      {"cleared", [](Bytes& image) { clear(image, 8192, 4096); }, "ipl-present ipl-checksum"},
      {"sum", [](Bytes& image) { image[9000] ^= std::byte{1}; }, "ipl-checksum"}};
  check_machine("hppa", good, spoils);
  check_machine("hppa", good, spoils, BootAs::optical);
  // Whatever the drive's blocks, an IPL at a multiple of 2048 is found.
  CHECK(evidence_of(verdict_of("hppa", good, BootAs::optical), "drive-block-size")->holds);
  // The sum again, without the library: words put together by shifts.
  std::uint32_t sum = 0;
  for (std::size_t at = 8192; at < 8192 + 4096; at += 4) {
    sum += std::to_integer<std::uint32_t>(good[at]) << 24U |
           std::to_integer<std::uint32_t>(good[at + 1]) << 16U |
           std::to_integer<std::uint32_t>(good[at + 2]) << 8U |
           std::to_integer<std::uint32_t>(good[at + 3]);
  }
  CHECK(sum == 0);
  CHECK(verdict_of("m68k-lif", good).verdict == Verdict::none);
}

TEST_CASE("m68k-lif: a start-up program in the directory") {
  using label::kLifEntry;
  constexpr ByteOrder kBe = ByteOrder::big;
  const Bytes good = fixtures::make_m68k_lif_disk();
  const std::vector<Spoil> spoils = {
      {"magic", [](Bytes& image) { image[0] = std::byte{0}; }, "volume-magic directory-place"},
      {"type", [](Bytes& image) { poke<kLifEntry, "type">(image, 512, 1, kBe); }, "start-up-file"},
      {"beyond the image", [](Bytes& image) { poke<kLifEntry, "first">(image, 512, 9999, kBe); },
       "start-up-inside start-up-header"},
      {"cleared", [](Bytes& image) { clear(image, 8192 + 8, 2040); }, ""},
      {"length", [](Bytes& image) { poke<boot::kLifLoad, "length">(image, 8192, 4096, kBe); },
       "start-up-header"}};
  CHECK(verdict_of("m68k-lif", good).verdict == Verdict::ready);
  for (const Spoil& one : spoils) {
    if (one.missing.empty()) continue;
    check_machine("m68k-lif", good, {one});
    check_machine("m68k-lif", good, {one}, BootAs::optical);
  }
  Bytes elsewhere = good;
  poke<label::kLifVolume, "directory_first">(elsewhere, 0, 4, kBe);
  std::copy_n(good.begin() + 512, 256, elsewhere.begin() + 1024);
  CHECK(missing_from(verdict_of("m68k-lif", elsewhere)) == "directory-place");
  Bytes named = good;
  FieldWriter<kLifEntry>(named.data() + 512, kBe).set_text<"name">("BOOT", ' ');
  const BootVerdict verdict = verdict_of("m68k-lif", named);
  CHECK(verdict.verdict == Verdict::ready);
  CHECK_FALSE(evidence_of(verdict, "start-up-name")->holds);
}

TEST_CASE("m68k-dlv: the label and the programs that it points to") {
  const auto relabel = [](auto change) {
    return [change](Bytes& image) {
      fixtures::DlvLabel label;
      label.tracks = 4;
      label.sectors_per_track = 16;
      label.cylinders = 16;
      label.sectors = 1024;
      change(label);
      fixtures::write_dlv_label(image, label);
    };
  };
  const std::vector<Spoil> spoils = {
      {"checksum of every copy",
       [](Bytes& image) {
         for (const std::size_t at : {0U, 7680U, 15360U, 23040U})
           image[at + 20] ^= std::byte{1};
       },
       "label-checksum"},
      {"no pointers", relabel([](auto& label) {
         label.boot_blocks = {-1, -1};
       }),
       "boot-pointer"},
      {"pointers behind the porch", relabel([](auto& label) {
         label.boot_blocks = {160, 200};
       }),
       "boot-pointer"},
      {"program cleared", [](Bytes& image) { clear(image, 32 * 1024, 1200); },
       "boot-program-present"},
      {"another machine's program",
       [](Bytes& image) { fixtures::put_bytes(image, 32 * 1024, fixtures::make_aout(0x0103)); },
       "boot-program-machine"},
      {"no room", relabel([](auto& label) {
         label.boot_blocks = {32, 33};
       }),
       "boot-program-room"}};
  check_machine("m68k-dlv", fixtures::make_dlv_disk(fixtures::make_aout(135)), spoils);
  check_machine("m68k-dlv", fixtures::make_dlv_disk(fixtures::make_aout(135)), spoils,
                BootAs::optical);
  Bytes one_copy = fixtures::make_dlv_disk(fixtures::make_aout(135));
  one_copy[20] ^= std::byte{1};  // the other three copies serve
  CHECK(verdict_of("m68k-dlv", one_copy).verdict == Verdict::ready);
  Bytes no_second = fixtures::make_dlv_disk(fixtures::make_aout(135));
  clear(no_second, 96 * 1024, 1200);
  const BootVerdict verdict = verdict_of("m68k-dlv", no_second);
  CHECK(verdict.verdict == Verdict::ready);
  CHECK_FALSE(evidence_of(verdict, "second-program")->holds);
}
