// ppc machines: Open Firmware by its three ways, and PReP.
#include <functional>

#include <catch2/catch.hpp>

#include "boot/apm_code.h"
#include "pc_verdicts.h"
#include "writers/apm_writer.h"
#include "writers/boot_writer.h"
#include "writers/iso9660_writer.h"
#include "writers/mbr_writer.h"

namespace platter::test {
namespace {

constexpr std::size_t kBlock = 512;

using Spoil = std::function<void(Bytes&)>;
struct Case {
  const char* name;
  Spoil spoil;
  const char* missing;
};

Spoil put(std::size_t at, std::uint8_t value) {
  return [=](Bytes& image) { image[at] = std::byte{value}; };
}

template <std::size_t N>
void check_cases(const Bytes& good, const char* machine, BootAs as, const Case (&cases)[N]) {
  for (const Case& each : cases) {
    CAPTURE(each.name);
    Bytes image = good;
    each.spoil(image);
    const BootVerdict verdict = judged(image, machine, as);
    CHECK(verdict.verdict == Verdict::incomplete);
    CHECK(missing_from(verdict) == each.missing);
  }
}

// ---- PReP

// Slice 1 from block 64 on: a load image of 20 blocks.
Bytes prep_disk() {
  Bytes image(256 * kBlock);
  fixtures::MbrLabel label;
  label.slices[0] = {.type = 0x41, .first = 64, .sectors = 100, .active = true};
  fixtures::write_mbr(image, label);
  fixtures::write_prep_image(image, 64 * kBlock, 20 * kBlock);
  return image;
}

TEST_CASE("ppc-prep: a disk with a load image is ready") {
  for (const BootAs as : {BootAs::disk, BootAs::optical}) {
    const BootVerdict verdict = judged(prep_disk(), "ppc-prep", as);
    CHECK(verdict.verdict == Verdict::ready);
    CHECK(missing_from(verdict).empty());
    CHECK(unusual(verdict).empty());
  }
  CHECK(judged(prep_disk(), "ppc-of", BootAs::disk).verdict == Verdict::none);
  CHECK(judged(prep_disk(), "m68k-apm", BootAs::disk).verdict == Verdict::none);
}

TEST_CASE("ppc-prep: each demanded condition spoiled alone is named") {
  const std::size_t header = 65 * kBlock;
  const Case cases[] = {
      {"signature", put(511, 0), "boot-signature"},
      {"type", put(446 + 4, 0x83), "prep-slice"},
      {"slice past the end", put(446 + 8 + 2, 1),
       "prep-slice-inside entry-offset load-length load-image-present"},
      {"entry 0", [&](Bytes& image) { image[header + 1] = std::byte{0}; },
       "entry-offset load-image-present"},
      {"entry behind the image", put(header + 2, 1), "entry-offset load-image-present"},
      {"length 0", put(header + 5, 0), "entry-offset load-length load-image-present"},
      {"length past the slice", put(header + 6, 1), "load-length load-image-present"},
      {"no code", put(66 * kBlock, 0), "load-image-present"},
  };
  check_cases(prep_disk(), "ppc-prep", BootAs::disk, cases);
}

TEST_CASE("ppc-prep: big-endian numbers, a cut image, and customs") {
  Bytes swapped = prep_disk();
  const auto header = swapped.begin() + 65 * kBlock;
  std::reverse(header, header + 4);
  std::reverse(header + 4, header + 8);
  CHECK(judged(swapped, "ppc-prep", BootAs::disk).verdict == Verdict::incomplete);

  Bytes cut = prep_disk();
  cut.resize(70 * kBlock);
  CHECK(missing_from(judged(cut, "ppc-prep", BootAs::disk)) == "load-length load-image-present");

  Bytes third = prep_disk();
  fixtures::MbrLabel label;
  label.slices[0] = {.type = 0x83, .first = 200, .sectors = 20};
  label.slices[2] = {.type = 0x41, .first = 64, .sectors = 100};
  fixtures::write_mbr(third, label);
  const BootVerdict verdict = judged(third, "ppc-prep", BootAs::disk);
  CHECK(verdict.verdict == Verdict::ready);
  CHECK(unusual(verdict) == "prep-slice-first prep-slice-active");

  Bytes odd(256 * kBlock);
  label = {};
  label.slices[0] = {.type = 0x41, .first = 63, .sectors = 100, .active = true};
  fixtures::write_mbr(odd, label);
  fixtures::write_prep_image(odd, 63 * kBlock, 20 * kBlock);
  CHECK(unusual(judged(odd, "ppc-prep", BootAs::optical)) == "drive-block-size");
  CHECK(unusual(judged(odd, "ppc-prep", BootAs::disk)).empty());
}

// ---- Open Firmware: boot code in an APM slice

constexpr std::uint32_t kCodeBytes = 1000;

Bytes apm_disk() {
  Bytes image(512 * kBlock);
  fixtures::write_apm_drivers(image, 512, 512);
  fixtures::write_apm_map(image, kBlock,
                          {{1, 63, "Map", fixtures::apm_type("partition_map"), 0x33},
                           {64, 100, "Boot", fixtures::apm_type("UNIX_SVR2"), 0x3B, "PowerPC"}});
  for (std::uint32_t i = 0; i < kCodeBytes; ++i) {
    image[66 * kBlock + i] = static_cast<std::byte>(i * 7 + 1);
  }
  const auto code = std::span(image).subspan(66 * kBlock, kCodeBytes);
  fixtures::set_apm_boot(image, kBlock, 2,
                         {.first = 2,
                          .bytes = kCodeBytes,
                          .load = 0x200000,
                          .entry = 0x200010,
                          .checksum = boot::apm_running_sum(code, 0)});
  return image;
}

TEST_CASE("ppc-of: boot code in an APM slice is ready") {
  const BootVerdict verdict = judged(apm_disk(), "ppc-of", BootAs::disk);
  CHECK(missing_from(verdict).empty());
  CHECK(unusual(verdict).empty());
  CHECK(verdict.verdict == Verdict::ready);
  CHECK(judged(apm_disk(), "ppc-prep", BootAs::disk).verdict == Verdict::none);
  CHECK(judged(apm_disk(), "i386", BootAs::disk).verdict == Verdict::none);
  CHECK(judged(apm_disk(), "m68k-apm", BootAs::disk).verdict == Verdict::none);
  // A drive with plain CD blocks gives no entries at 512.
  CHECK(unusual(judged(apm_disk(), "ppc-of", BootAs::optical)) == "drive-block-size");
}

TEST_CASE("ppc-of: each demanded condition of an APM slice spoiled alone is named") {
  const std::size_t entry = 2 * kBlock;
  const Case cases[] = {
      {"driver map", put(1, 0), "driver-map"},
      {"status", put(entry + 91, 0x33), "boot-slice-status"},
      {"processor", put(entry + 120, 'Q'), "boot-slice-processor"},
      {"length", [&](Bytes& image) { std::fill_n(image.begin() + entry + 96, 4, std::byte{0}); },
       "boot-code-size boot-code-inside boot-code-entry boot-code-not-empty"},
      {"start", put(entry + 95, 99), "boot-code-inside boot-code-not-empty"},
      {"entry", put(entry + 108, 1), "boot-code-entry"},
      {"code", [](Bytes& image) { std::fill_n(image.begin() + 66 * kBlock, 1000, std::byte{0}); },
       "boot-code-not-empty"},
  };
  check_cases(apm_disk(), "ppc-of", BootAs::disk, cases);
}

TEST_CASE("ppc-of: a wrong checksum is no custom, and a slice for 68k is none") {
  Bytes image = apm_disk();
  image[2 * kBlock + 119] ^= std::byte{1};
  CHECK(judged(image, "ppc-of", BootAs::disk).verdict == Verdict::ready);
  CHECK(unusual(judged(image, "ppc-of", BootAs::disk)) == "boot-code-checksum");

  Bytes other = apm_disk();
  const std::string_view processor("68020\0\0", 7);
  for (std::size_t i = 0; i < processor.size(); ++i) {
    other[2 * kBlock + 120 + i] = static_cast<std::byte>(processor[i]);
  }
  CHECK(judged(other, "ppc-of", BootAs::disk).verdict == Verdict::none);
}

TEST_CASE("ppc-of: for a slice of type Bootstrap status and processor do not count") {
  Bytes image = apm_disk();
  fixtures::write_apm_map(image, kBlock,
                          {{1, 63, "Map", fixtures::apm_type("partition_map"), 0x33},
                           {64, 100, "Boot", fixtures::apm_type("Bootstrap"), 0}});
  const BootVerdict verdict = judged(image, "ppc-of", BootAs::disk);
  CHECK(verdict.verdict == Verdict::ready);
}

// ---- Open Firmware: boot script

constexpr const char* kScript =
    "<CHRP-BOOT>\n<DESCRIPTION>Corvid</DESCRIPTION>\n<BOOT-SCRIPT>\nboot cd:,\\corvid.elf\n"
    "</BOOT-SCRIPT>\n</CHRP-BOOT>\n";

Bytes script_disc(const std::string& script) {
  fixtures::Iso9660Writer writer;
  writer.add_file("ppc/bootinfo.txt", script);
  writer.add_file("corvid.elf", "program");
  return writer.build();
}

Bytes with_chrp_slice(Bytes image) {
  fixtures::MbrLabel label;
  label.slices[0] = {
      .type = 0x96, .first = 0, .sectors = static_cast<std::uint32_t>(image.size() / kBlock)};
  fixtures::write_mbr(image, label);
  return image;
}

TEST_CASE("ppc-of: a disc with a boot script is ready; a disk needs a slice for it") {
  const Bytes disc = script_disc(kScript);
  const BootVerdict verdict = judged(disc, "ppc-of", BootAs::optical);
  CHECK(missing_from(verdict).empty());
  CHECK(verdict.verdict == Verdict::ready);
  CHECK(evidence_in(verdict, "boot-script-commands")->detail == "\"boot cd:,\\corvid.elf\"");
  CHECK(missing_from(judged(disc, "ppc-of", BootAs::disk)) == "volume-slice");
  CHECK(judged(disc, "ppc-of", BootAs::disk).verdict == Verdict::incomplete);
  CHECK(judged(with_chrp_slice(disc), "ppc-of", BootAs::disk).verdict == Verdict::ready);
  CHECK(judged(disc, "i386", BootAs::optical).verdict == Verdict::none);
}

TEST_CASE("ppc-of: what is wrong with a boot script is named") {
  const auto optical = [](const std::string& script) {
    return judged(script_disc(script), "ppc-of", BootAs::optical);
  };
  CHECK(missing_from(optical(" <CHRP-BOOT><BOOT-SCRIPT>x</BOOT-SCRIPT>")) == "boot-script-element");
  CHECK(missing_from(optical("<chrp-boot>nothing")) == "boot-script-commands");
  CHECK(missing_from(optical("plain text")) == "boot-script-element boot-script-commands");
  CHECK(optical("plain text").verdict == Verdict::incomplete);
  CHECK(optical("<chrp-boot><boot-script>x").verdict == Verdict::ready);

  Bytes cut = script_disc(kScript);
  cut.resize(cut.size() - 2 * 2048);  // the script is the first of two files
  CHECK(missing_from(judged(cut, "ppc-of", BootAs::optical)).starts_with("boot-script-inside"));

  fixtures::Iso9660Writer other;
  other.add_file("ppc/other.txt", kScript);
  other.add_file("bootinfo.txt", kScript);
  CHECK(judged(other.build(), "ppc-of", BootAs::optical).verdict == Verdict::none);
}

// ---- Open Firmware: a program in a slice of type 41

TEST_CASE("ppc-of: an ELF or XCOFF program in a slice of type 41 is ready") {
  Bytes image(256 * kBlock);
  fixtures::MbrLabel label;
  label.slices[0] = {.type = 0x41, .first = 64, .sectors = 100, .active = true};
  fixtures::write_mbr(image, label);
  // System V ABI, "ELF Header": 32 bits, big-endian, version 1, an executable for machine 20.
  constexpr std::uint8_t kElf[] = {0x7F, 'E', 'L', 'F', 1, 2, 1, 0, 0, 0,
                                   0,    0,   0,   0,   0, 0, 0, 2, 0, 20};
  for (std::size_t i = 0; i < std::size(kElf); ++i)
    image[64 * kBlock + i] = std::byte{kElf[i]};
  CHECK(judged(image, "ppc-of", BootAs::disk).verdict == Verdict::ready);
  CHECK(judged(image, "ppc-prep", BootAs::disk).verdict == Verdict::incomplete);
  CHECK(missing_from(judged(image, "ppc-prep", BootAs::disk)).starts_with("entry-offset"));
  image[64 * kBlock + 19] = std::byte{3};  // a program for another machine
  CHECK(judged(image, "ppc-of", BootAs::disk).verdict == Verdict::none);
  image[64 * kBlock] = std::byte{0x01};  // AIX Files Reference: 01DF
  image[64 * kBlock + 1] = std::byte{0xDF};
  CHECK(judged(image, "ppc-of", BootAs::disk).verdict == Verdict::ready);
}

}  // namespace
}  // namespace platter::test
