// PC firmware. What it demands of a disc is the El Torito specification's; of a disk, common
// practice that NetBSD sys/sys/bootblock.h writes down.
#include <functional>

#include <catch2/catch.hpp>

#include "pc_verdicts.h"
#include "writers/boot_writer.h"
#include "writers/mbr_writer.h"

namespace platter::test {
namespace {

constexpr std::size_t kBlock = 2048;

Bytes pc_disk() {
  Bytes image(1U << 20U);
  fixtures::MbrLabel label;
  label.slices[0] = {.type = 0x83, .first = 63, .sectors = 1000, .active = true};
  fixtures::write_pc_boot_code(image, 0);
  fixtures::write_mbr(image, label);
  fixtures::write_pc_boot_code(image, 63 * 512);
  return image;
}

BootVerdict as_disk(Bytes image) {
  return judged(std::move(image), "i386", BootAs::disk);
}
BootVerdict as_disc(Bytes image) {
  return judged(std::move(image), "i386", BootAs::optical);
}

TEST_CASE("i386 disk: a disk with code, table and boot sector is ready") {
  const BootVerdict verdict = as_disk(pc_disk());
  CHECK(verdict.verdict == Verdict::ready);
  CHECK(missing_from(verdict).empty());
  CHECK(unusual(verdict).empty());
  CHECK(verdict.evidence.size() == 7);
  // A disk is no disc.
  CHECK(as_disc(pc_disk()).verdict == Verdict::none);
}

TEST_CASE("i386 disk: a signed sector with a single jump starts, as a floppy does") {
  Bytes floppy(1474560);
  floppy[0] = std::byte{0xEB};  // jmp to itself
  floppy[1] = std::byte{0xFE};
  CHECK(as_disk(floppy).verdict == Verdict::none);
  floppy[510] = std::byte{0x55};
  floppy[511] = std::byte{0xAA};
  CHECK(as_disk(floppy).verdict == Verdict::ready);
}

TEST_CASE("i386 disk: each demanded condition spoiled alone is named") {
  Bytes unsigned_sector = pc_disk();
  unsigned_sector[511] = std::byte{0};
  CHECK(missing_from(as_disk(unsigned_sector)) == "boot-signature");
  CHECK(as_disk(unsigned_sector).verdict == Verdict::incomplete);

  Bytes swapped = pc_disk();
  std::swap(swapped[510], swapped[511]);
  CHECK(missing_from(as_disk(swapped)) == "boot-signature");
  // Neither signature nor a table that makes sense: nothing tells that it was a PC's disk.
  unsigned_sector[446 + 4] = std::byte{0x7E};
  CHECK(as_disk(unsigned_sector).verdict == Verdict::none);

  Bytes codeless = pc_disk();
  std::fill_n(codeless.begin(), 440, std::byte{0});
  const BootVerdict verdict = as_disk(codeless);
  CHECK(verdict.verdict == Verdict::incomplete);
  CHECK(missing_from(verdict) == "boot-code-present");
  CHECK_FALSE(evidence_in(verdict, "boot-code-present")->remedy.empty());
}

TEST_CASE("i386 disk: customs do not decide") {
  Bytes none_active = pc_disk();
  none_active[446] = std::byte{0};
  CHECK(as_disk(none_active).verdict == Verdict::ready);
  CHECK(unusual(as_disk(none_active)) == "one-active-entry");
  CHECK(evidence_in(as_disk(none_active), "active-slice-boot-sector") == nullptr);

  Bytes bare_slice = pc_disk();
  std::fill_n(bare_slice.begin() + 63 * 512, 512, std::byte{0});
  CHECK(as_disk(bare_slice).verdict == Verdict::ready);
  CHECK(unusual(as_disk(bare_slice)) == "active-slice-boot-sector");
  CHECK(evidence_in(as_disk(bare_slice), "active-slice-boot-sector")->start == 63 * 512);
}

TEST_CASE("i386 disk: the head of a kernel or program file is none, whatever it ends in") {
  Bytes program = pc_disk();
  program[0] = std::byte{'M'};
  program[1] = std::byte{'Z'};
  CHECK(as_disk(program).verdict == Verdict::none);
  CHECK(missing_from(as_disk(program)) == "no-program-file");

  Bytes kernel(8192);
  kernel[510] = std::byte{0x55};
  kernel[511] = std::byte{0xAA};
  kernel[0x1F1] = std::byte{5};  // setup sectors: no code
  for (std::size_t i = 0; i < 4; ++i)
    kernel[0x202 + i] = static_cast<std::byte>("HdrS"[i]);
  CHECK(as_disk(kernel).verdict == Verdict::none);
  CHECK(survey_bytes(kernel).layers.empty());
}

TEST_CASE("i386 disk: noise that ends in 55 AA is none") {
  std::uint32_t state = 7;
  for (int i = 0; i < 50; ++i) {
    Bytes noise(8192);
    for (std::byte& b : noise) {
      state = state * 1664525U + 1013904223U;
      b = static_cast<std::byte>(state >> 24U);
    }
    noise[510] = std::byte{0x55};
    noise[511] = std::byte{0xAA};
    CHECK(as_disk(noise).verdict == Verdict::none);
    CHECK(survey_bytes(noise).layers.empty());
  }
}

TEST_CASE("i386 disk: a PReP floppy's header is no code") {
  // Linux arch/ppc/boot/utils/mkprep.c: entry and length in both of the first two sectors.
  Bytes image(1474560);
  fixtures::write_prep_image(image, 0, 8192);
  std::copy_n(image.begin() + 512, 8, image.begin());
  fixtures::MbrLabel label;
  label.slices[0] = {.type = 0x41, .first = 0, .sectors = 2879, .active = true};
  fixtures::write_mbr(image, label);
  CHECK(as_disk(image).verdict == Verdict::incomplete);
  CHECK(missing_from(as_disk(image)) == "boot-code-present");
  CHECK(judged(image, "ppc-prep", BootAs::disk).verdict == Verdict::ready);
}

// ---- Discs

fixtures::BootDisc pc_disc() {
  return fixtures::boot_disc({}, {fixtures::i386_boot_code()});
}

TEST_CASE("i386 disc: an El Torito disc without emulation is ready, and is no disk") {
  const BootVerdict verdict = as_disc(pc_disc().bytes);
  CHECK(verdict.verdict == Verdict::ready);
  CHECK(missing_from(verdict).empty());
  CHECK(unusual(verdict).empty());
  CHECK(as_disk(pc_disc().bytes).verdict == Verdict::none);
}

TEST_CASE("i386 disc: each demanded condition spoiled alone is named") {
  const fixtures::BootDisc good = pc_disc();
  const std::size_t record = 17 * kBlock;
  const std::size_t catalog = good.catalog_block * kBlock;
  const auto put = [](std::size_t at, std::uint8_t value) {
    return [=](Bytes& image) { image[at] = std::byte{value}; };
  };
  // A changed byte of the validation entry is made up for in the checksum, or that one fails too.
  const auto balanced = [&](std::size_t at, std::uint8_t value, int word) {
    return [=](Bytes& image) {
      const int old = std::to_integer<int>(image[at]);
      const int sum = std::to_integer<int>(image[catalog + 28]) +
                      256 * std::to_integer<int>(image[catalog + 29]) - (value - old) * word;
      image[at] = std::byte{value};
      image[catalog + 28] = static_cast<std::byte>(sum & 0xFF);
      image[catalog + 29] = static_cast<std::byte>((sum >> 8) & 0xFF);
    };
  };
  struct Case {
    const char* name;
    std::function<void(Bytes&)> spoil;
    const char* missing;
  };
  const Case cases[] = {
      {"type of the boot record", put(record, 9), "boot-record"},
      {"version of the boot record", put(record + 6, 2), "boot-record"},
      {"identifier", put(record + 7, 'X'), "boot-record-identifier"},
      {"text behind the identifier", put(record + 7 + 24, 'X'), "boot-record-identifier"},
      {"header", balanced(catalog, 2, 1), "validation-header"},
      {"key", balanced(catalog + 30, 0x54, 1), "validation-key"},
      {"checksum", put(catalog + 28, 0), "validation-checksum"},
      {"platform", balanced(catalog + 1, 1, 256), "platform-i386"},
      {"indicator", put(catalog + 32, 0), "default-entry-bootable"},
      {"media", put(catalog + 33, 7), "default-entry-media"},
      {"image past the end", put(catalog + 42, 9), "boot-image-inside boot-image-not-empty"},
      {"count", put(catalog + 38, 0), "load-count-not-zero"},
  };
  for (const Case& each : cases) {
    CAPTURE(each.name);
    Bytes image = good.bytes;
    each.spoil(image);
    const BootVerdict verdict = as_disc(image);
    CHECK(verdict.verdict == Verdict::incomplete);
    CHECK(missing_from(verdict) == each.missing);
  }
}

TEST_CASE("i386 disc: a catalog past the end and an empty image") {
  const fixtures::BootDisc good = pc_disc();
  Bytes lost = good.bytes;
  lost[17 * kBlock + 0x47 + 2] = std::byte{1};
  CHECK(as_disc(lost).verdict == Verdict::incomplete);
  CHECK(missing_from(as_disc(lost)).starts_with("catalog-in-image validation-header"));
  CHECK(as_disc(lost).evidence.size() == 12);

  Bytes empty = good.bytes;
  std::fill(empty.end() - kBlock, empty.end(), std::byte{0});
  CHECK(as_disc(empty).verdict == Verdict::incomplete);
  CHECK(missing_from(as_disc(empty)) == "boot-image-not-empty");
}

TEST_CASE("i386 disc: a record in another block than 17 is named") {
  Bytes image = pc_disc().bytes;
  // The record and the terminator behind it change places.
  std::swap_ranges(image.begin() + 17 * kBlock, image.begin() + 18 * kBlock,
                   image.begin() + 18 * kBlock);
  const BootVerdict verdict = as_disc(image);
  CHECK(verdict.verdict == Verdict::incomplete);
  CHECK(missing_from(verdict) == "boot-record");
}

TEST_CASE("i386 disc: a section for EFI is no platform for a PC, and is said") {
  fixtures::Catalog catalog;
  catalog.platform = 0xEF;
  const BootVerdict verdict =
      as_disc(fixtures::boot_disc(catalog, {fixtures::i386_boot_code()}).bytes);
  CHECK(verdict.verdict == Verdict::incomplete);
  CHECK(missing_from(verdict) == "platform-i386");
  CHECK(evidence_in(verdict, "platform-i386")->detail.find("EFI") != std::string::npos);
}

TEST_CASE("i386 disc: customs") {
  fixtures::Catalog catalog;
  catalog.initial.load_segment = 0x1000;
  catalog.initial.load_blocks = 3;
  const BootVerdict verdict =
      as_disc(fixtures::boot_disc(catalog, {fixtures::i386_boot_code()}).bytes);
  CHECK(verdict.verdict == Verdict::ready);
  CHECK(unusual(verdict) == "load-segment-usual load-count-usual");
}

TEST_CASE("i386 disc: the boot information table is judged where one stands") {
  Bytes boot_image = fixtures::i386_boot_code();
  boot_image.resize(5001, std::byte{0x11});
  fixtures::BootDisc disc = fixtures::boot_disc({}, {boot_image});
  const std::uint32_t block = disc.catalog_block + 1;
  fixtures::write_boot_info(disc.bytes, block, 5001);
  const BootVerdict good = as_disc(disc.bytes);
  REQUIRE(evidence_in(good, "boot-information-table") != nullptr);
  CHECK(evidence_in(good, "boot-information-table")->holds);
  CHECK(layer(survey_bytes(disc.bytes), "iso9660/el-torito/1")->bytes == 5001);
  disc.bytes[block * kBlock + 4000] ^= std::byte{1};
  CHECK(unusual(as_disc(disc.bytes)) == "boot-information-table");
  CHECK(as_disc(disc.bytes).verdict == Verdict::ready);
}

TEST_CASE("i386 disc: emulated media") {
  for (const std::uint8_t media : {std::uint8_t{1}, std::uint8_t{2}, std::uint8_t{3}}) {
    constexpr std::size_t kSizes[] = {0, 1228800, 1474560, 2949120};
    Bytes floppy(kSizes[media]);
    fixtures::write_pc_boot_code(floppy);
    fixtures::Catalog catalog;
    catalog.initial.media = media;
    catalog.initial.load_blocks = 1;
    const BootVerdict verdict = as_disc(fixtures::boot_disc(catalog, {floppy}).bytes);
    CHECK(verdict.verdict == Verdict::ready);
    CHECK(unusual(verdict).empty());
    CHECK(evidence_in(verdict, "emulated-boot-sector")->holds);
  }
  fixtures::Catalog catalog;
  catalog.initial.media = 4;
  catalog.initial.load_blocks = 1;
  catalog.initial.system_type = 0x06;
  const BootVerdict disk = as_disc(fixtures::boot_disc(catalog, {pc_disk()}).bytes);
  CHECK(disk.verdict == Verdict::ready);
  CHECK(unusual(disk) == "system-type");  // the emulated table says 83
}

TEST_CASE("i386: a hybrid disc is judged as disk and as disc") {
  Bytes image = pc_disc().bytes;
  fixtures::write_pc_boot_code(image);
  fixtures::MbrLabel label;
  label.slices[0] = {.type = 0x17,
                     .first = 0,
                     .sectors = static_cast<std::uint32_t>(image.size() / 512),
                     .active = true};
  fixtures::write_mbr(image, label);
  CHECK(as_disk(image).verdict == Verdict::ready);
  CHECK(as_disc(image).verdict == Verdict::ready);
}

}  // namespace
}  // namespace platter::test
