// Bootable discs that two makers write (genisoimage, and xorriso in its own code): boot sectors for
// alpha and pmax, SGI volume headers, Sun labels with a slice for each architecture, hppa headers.
// Neither shares code with platter; the programs on the discs are our writer's.
#include <algorithm>
#include <string>

#include <catch2/catch.hpp>

#include "machine/machine.h"
#include "support/survey.h"
#include "writers/workstation_boot_writer.h"

using namespace platter;
using namespace platter::test;

namespace {

const char* const kMakers[] = {"genisoimage", "xorriso -as mkisofs"};

// Machine numbers of the System V ABI.
constexpr std::uint16_t kElfMips = 8;
constexpr std::uint16_t kElfHppa = 15;

class Disc {
 public:
  Disc() { REQUIRE(run("mkdir " + shell_word(folder_.file("tree"))).status == 0); }

  void add(const std::string& name, const std::vector<std::byte>& bytes) {
    write_file(folder_.file("tree/" + name), bytes);
  }
  // A file beside the tree, by its full name.
  std::string beside(const std::string& name, const std::vector<std::byte>& bytes) {
    write_file(folder_.file(name), bytes);
    return folder_.file(name);
  }
  std::vector<std::byte> make(const std::string& maker, const std::string& options) {
    const RunResult made =
        run(maker + " -quiet -r " + options + " -o " + shell_word(folder_.file("disc.iso")) + " " +
            shell_word(folder_.file("tree")));
    INFO(made.err);
    REQUIRE(made.status == 0);
    return read_file(folder_.file("disc.iso"));
  }

 private:
  TemporaryDirectory folder_;
};

void check_ready(const Survey& survey, std::string_view machine) {
  CAPTURE(machine, findings_of(survey));
  CHECK(missing_from(verdict_row(survey, machine, BootAs::optical)).empty());
  CHECK(verdict_row(survey, machine, BootAs::optical).verdict == Verdict::ready);
  CHECK_FALSE(any_fault(survey.findings));
}

}  // namespace

TEST_CASE("boot media: alpha discs of stock makers are ready") {
  for (const char* maker : kMakers) {
    CAPTURE(maker);
    Disc disc;
    disc.add("boot", fixtures::make_code(10240));
    std::vector<std::byte> image = disc.make(maker, "-alpha-boot boot");
    const Survey found = survey_bytes(image);
    check_ready(found, "alpha");
    REQUIRE(layer(found, "alpha-boot") != nullptr);
    CHECK(layer(found, "alpha-boot")->facts.number("program_bytes") == 20 * 512);
    image[300] ^= std::byte{1};
    const Survey spoiled = survey_bytes(std::move(image));
    CHECK(verdict_row(spoiled, "alpha", BootAs::optical).verdict == Verdict::incomplete);
    CHECK(missing_from(verdict_row(spoiled, "alpha", BootAs::optical)) == "sector-checksum");
  }
}

TEST_CASE("boot media: pmax discs of stock makers are ready") {
  for (const char* maker : kMakers) {
    CAPTURE(maker);
    Disc disc;
    const fixtures::ProgramPlan plan{
        .order = ByteOrder::little, .text = 4096, .data = 0, .bss = 0, .entry = 0x80600000};
    disc.add("boot", fixtures::make_elf32(kElfMips, plan));  // one segment, as the makers want it
    const Survey found = survey_bytes(disc.make(maker, "-mipsel-boot boot"));
    check_ready(found, "mips-dec");
    REQUIRE(layer(found, "pmax-boot") != nullptr);
    CHECK(layer(found, "pmax-boot")->facts.number("entry") == 0x80600000);
  }
}

TEST_CASE("boot media: SGI volume headers of stock makers are ready when the shell is there") {
  for (const char* maker : kMakers) {
    CAPTURE(maker);
    Disc disc;
    disc.add("sash", fixtures::make_elf32(kElfMips, {.entry = 0x80100000}));
    disc.add("other", fixtures::make_elf32(kElfMips, {.entry = 0x80100000}));
    const Survey found = survey_bytes(disc.make(maker, "-mips-boot sash"));
    check_ready(found, "mips-sgi");
    CHECK(fact(found, "sgi/sash/program", "machine") == "mips");
    const Survey without = survey_bytes(disc.make(maker, "-mips-boot other"));
    CHECK(verdict_row(without, "mips-sgi", BootAs::optical).verdict == Verdict::incomplete);
    CHECK(missing_from(verdict_row(without, "mips-sgi", BootAs::optical)) == "shell-present");
  }
}

TEST_CASE("boot media: Sun labels of stock makers start each architecture from its slice") {
  // Slices b to f by the makers' own documentation: sun4, sun4c, sun4m, sun4d, and the last one.
  const auto slice = [](const std::vector<std::byte>& boot_block) {
    std::vector<std::byte> bytes(8192);
    fixtures::put_bytes(bytes, 512, boot_block);
    return bytes;
  };
  for (const char* maker : kMakers) {
    CAPTURE(maker);
    Disc disc;
    disc.add("readme", fixtures::make_code(500));
    const std::string sparc = disc.beside("sparc", slice(fixtures::make_aout(0x0103)));
    const std::string fcode = disc.beside("fcode", slice(fixtures::make_fcode()));
    const std::string empty = disc.beside("empty", slice({}));
    const auto discs_of = [&](const std::string& sun4m, const std::string& sun4u) {
      return survey_bytes(
          disc.make(maker, "-B " + empty + "," + empty + "," + sun4m + "," + empty + "," + sun4u));
    };
    const Survey found = discs_of(sparc, fcode);
    check_ready(found, "sparc");
    check_ready(found, "sparc64");
    CHECK(fact(found, "sun/d/sun-boot-block", "program_format") == "a.out");
    CHECK(fact(found, "sun/f/sun-boot-block", "program_format") == "FCode");
    CHECK(verdict_row(found, "m68k-sun", BootAs::optical).verdict == Verdict::incomplete);
    const Survey half = discs_of(empty, fcode);
    CHECK(verdict_row(half, "sparc", BootAs::optical).verdict == Verdict::incomplete);
    CHECK(verdict_row(half, "sparc64", BootAs::optical).verdict == Verdict::ready);
    const Survey none = discs_of(empty, empty);
    CHECK(missing_from(verdict_row(none, "sparc64", BootAs::optical)) ==
          "boot-block-present boot-block-format");
  }
}

TEST_CASE("boot media: hppa discs of a stock maker are ready") {
  Disc disc;
  disc.add("corvidos", fixtures::make_elf32(kElfHppa, {.text = 8192}));
  disc.add("iplboot", read_file("/usr/share/palo/iplboot"));
  const Survey found = survey_bytes(
      disc.make("xorriso -as mkisofs",
                "-hppa-cmdline 0/corvidos -hppa-bootloader iplboot -hppa-kernel-32 corvidos "
                "-hppa-kernel-64 corvidos -hppa-ramdisk corvidos"));
  check_ready(found, "hppa");
  CHECK(fact(found, "lif/lif-ipl", "checksum") == "good");
}
