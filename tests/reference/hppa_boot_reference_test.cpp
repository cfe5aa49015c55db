// Media that the boot installer of Debian's hppa port makes (package palo): its volume headers, its
// initial program, its sums. It shares no code with platter.
#include <algorithm>

#include <catch2/catch.hpp>

#include "core/image.h"
#include "machine/machine.h"
#include "support/survey.h"
#include "writers/mbr_writer.h"
#include "writers/workstation_boot_writer.h"

using namespace platter;
using namespace platter::test;

namespace {

const std::string kProgram = "/usr/share/palo/iplboot";
// Where hppa kernels are linked to; the installer looks at the ELF header only.
constexpr std::uint16_t kElfHppa = 15;

// The installer's answer: its exit status, with what it said for a failing test's message.
RunResult install(const TemporaryDirectory& folder, const std::string& how) {
  return run("/sbin/palo -f /dev/null -c 1/corvidos -k " + shell_word(folder.file("corvidos")) +
             " -b " + kProgram + " " + how);
}

void write_kernel(const TemporaryDirectory& folder) {
  write_file(folder.file("corvidos"),
             fixtures::make_elf32(kElfHppa, {.text = 8192, .entry = 0x00100000}));
}

}  // namespace

TEST_CASE("hppa: an unpartitioned image of the boot installer is ready") {
  const TemporaryDirectory folder;
  write_kernel(folder);
  const RunResult made = install(folder, "-s " + shell_word(folder.file("tape.img")));
  INFO(made.out << made.err);
  REQUIRE(made.status == 0);
  const std::vector<std::byte> bytes = read_file(folder.file("tape.img"));
  const Survey found = survey_bytes(bytes);
  INFO(findings_of(found));
  CHECK(found.findings.empty());
  REQUIRE(layer(found, "lif/lif-ipl") != nullptr);
  // The installer says where it put the program: "ipl: addr 2048 size 51200 entry 0x0".
  const Layer& ipl = *layer(found, "lif/lif-ipl");
  const std::string said =
      "ipl: addr " + std::to_string(ipl.start) + " size " + std::to_string(ipl.bytes) + " entry";
  CHECK(made.out.find(said) != std::string::npos);
  CHECK(fact(found, "lif/lif-ipl", "checksum") == "good");
  for (const BootAs as : {BootAs::disk, BootAs::optical}) {
    const BootVerdict& row = verdict_row(found, "hppa", as);
    CHECK(missing_from(row).empty());
    CHECK(row.verdict == Verdict::ready);
  }
  CHECK(verdict_row(found, "m68k-lif", BootAs::disk).verdict == Verdict::none);

  std::vector<std::byte> spoiled = bytes;
  spoiled[ipl.start + 1000] ^= std::byte{1};
  const Survey broken = survey_bytes(std::move(spoiled));
  CHECK(verdict_row(broken, "hppa", BootAs::disk).verdict == Verdict::incomplete);
  CHECK(missing_from(verdict_row(broken, "hppa", BootAs::disk)) == "ipl-checksum");
}

TEST_CASE("hppa: a partitioned disk of the boot installer is ready") {
  const TemporaryDirectory folder;
  write_kernel(folder);
  std::vector<std::byte> image(std::size_t{24} << 20U);
  fixtures::MbrLabel label;
  label.slices[0] = {.type = 0xF0, .first = 63, .sectors = 16000};
  label.slices[1] = {.type = 0x83, .first = 16065, .sectors = 16000};
  fixtures::write_mbr(image, label);
  write_file(folder.file("disk.img"), image);
  const RunResult made = install(folder, "-I " + shell_word(folder.file("disk.img")));
  INFO(made.out << made.err);
  REQUIRE(made.status == 0);
  const Survey found = survey_bytes(read_file(folder.file("disk.img")));
  INFO(findings_of(found));
  CHECK_FALSE(any_fault(found.findings));
  CHECK(layer(found, "mbr") != nullptr);
  CHECK(layer(found, "lif/lif-ipl") != nullptr);
  const BootVerdict& row = verdict_row(found, "hppa", BootAs::disk);
  CHECK(missing_from(row).empty());
  CHECK(row.verdict == Verdict::ready);
}

TEST_CASE("hppa: a disc that the boot installer made bootable is ready") {
  const TemporaryDirectory folder;
  write_kernel(folder);
  const std::string disc = shell_word(folder.file("disc.iso"));
  REQUIRE(run("mkdir " + shell_word(folder.file("tree")) + " && cp " +
              shell_word(folder.file("corvidos")) + " " + kProgram + " " +
              shell_word(folder.file("tree")) + " && genisoimage -quiet -r -o " + disc + " " +
              shell_word(folder.file("tree")))
              .status == 0);
  const Survey plain = survey_bytes(read_file(folder.file("disc.iso")));
  CHECK(verdict_row(plain, "hppa", BootAs::optical).verdict == Verdict::none);
  const RunResult made = install(folder, "-C " + disc);
  INFO(made.out << made.err);
  REQUIRE(made.status == 0);
  const Survey found = survey_bytes(read_file(folder.file("disc.iso")));
  INFO(findings_of(found));
  CHECK_FALSE(any_fault(found.findings));
  CHECK(layer(found, "iso9660") != nullptr);
  const BootVerdict& row = verdict_row(found, "hppa", BootAs::optical);
  CHECK(missing_from(row).empty());
  CHECK(row.verdict == Verdict::ready);
}

TEST_CASE("hppa: the stock initial program keeps the rules") {
  // The package's program is linked to sum to 0; a volume of our own writer around it is ready.
  const std::vector<std::byte> program = read_file(kProgram);
  REQUIRE(program.size() % 2048 == 0);
  std::vector<std::byte> image = fixtures::make_hppa_disk();
  fixtures::put_bytes(image, 8192, program);
  // Bytes 240 to 251 of the volume header: start, length, entry, big-endian.
  const std::uint32_t fields[] = {8192, static_cast<std::uint32_t>(program.size()), 0};
  for (std::size_t i = 0; i < 12; ++i) {
    image[240 + i] = static_cast<std::byte>(fields[i / 4] >> (24 - 8 * (i % 4)));
  }
  const Survey found = survey_bytes(image);
  CHECK(verdict_row(found, "hppa", BootAs::disk).verdict == Verdict::ready);
}
