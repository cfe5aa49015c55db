// Headers of programs. What the writer makes is read back field by field; headers whose bytes are
// typed here stand in public sources, which are named.
#include "boot/program.h"

#include <random>

#include <catch2/catch.hpp>

#include "support/survey.h"
#include "writers/workstation_boot_writer.h"

using namespace platter;
using boot::Program;
using boot::ProgramFormat;
using Bytes = std::vector<std::byte>;

namespace {

Program identify(const Bytes& bytes) {
  return boot::identify_program(test::view_of(bytes));
}

Bytes bytes_of(std::initializer_list<unsigned> values) {
  Bytes bytes;
  for (const unsigned value : values)
    bytes.push_back(static_cast<std::byte>(value));
  return bytes;
}

void check_sizes(const Program& program, const fixtures::ProgramPlan& plan) {
  CHECK(program.order == plan.order);
  CHECK(program.text == plan.text);
  CHECK(program.data == plan.data);
  CHECK(program.bss == plan.bss);
  CHECK(program.entry == plan.entry);
}

const fixtures::ProgramPlan kBig{};
const fixtures::ProgramPlan kLittle{.order = ByteOrder::little, .entry = 0x200};

}  // namespace

TEST_CASE("program: a.out in all its traditions") {
  struct Row {
    std::uint16_t machine;
    fixtures::ProgramPlan plan;
    bool first_word_big;
    std::string_view name;
  };
  const Row rows[] = {{0x0103, kBig, true, "sparc"},  // tools version 1, machine 3
                      {138, kBig, true, "sparc"},    {2, kBig, true, "m68k"},
                      {0x0102, kBig, true, "m68k"},  {135, kBig, true, "m68k"},
                      {139, kLittle, true, "mips"},  {150, kLittle, true, "vax"},
                      {134, kLittle, false, "i386"}, {0, kLittle, false, ""},
                      {0, kBig, true, ""},           {154, kBig, true, "hppa"}};
  for (const Row& row : rows) {
    CAPTURE(row.machine, row.first_word_big);
    const Bytes file = fixtures::make_aout(row.machine, row.plan, row.first_word_big);
    const Program program = identify(file);
    REQUIRE(program.format == ProgramFormat::aout);
    CHECK(program.machine == row.name);
    check_sizes(program, row.plan);
    CHECK(program.file_bytes == file.size());
  }
}

TEST_CASE("program: an a.out header whose rest is code") {
  // First words of the boot block of sparc, as NetBSD usr.sbin/installboot/arch/sparc.c has them.
  Bytes file = bytes_of({0x01, 0x03, 0x01, 0x07, 0x30, 0x80, 0x00, 0x07});
  file.resize(512, std::byte{1});
  const Program program = identify(file);
  CHECK(program.format == ProgramFormat::aout);
  CHECK(program.machine == "sparc");
  CHECK(program.header_is_code);
  CHECK(program.file_bytes == 0);
  file[1] = std::byte{2};  // any other first word needs sizes that make sense
  CHECK(identify(file).format == ProgramFormat::raw);
}

TEST_CASE("program: the a.out header of the m68k dlV port") {
  // NetBSD sys/arch, that port's stand/boot/Makefile prints these words before the program:
  // 00 87 01 07, sizes of text, data and bss, no symbols, entry 0x04380000, no relocations.
  Bytes file = bytes_of({0x00, 0x87, 0x01, 0x07, 0, 0,    0x80, 0, 0, 0, 0x10, 0, 0, 0, 0x20, 0,
                         0,    0,    0,    0,    4, 0x38, 0,    0, 0, 0, 0,    0, 0, 0, 0,    0});
  file.resize(40000, std::byte{0x4E});
  const Program program = identify(file);
  CHECK(program.format == ProgramFormat::aout);
  CHECK(program.machine == "m68k");
  CHECK(program.text == 0x8000);
  CHECK(program.entry == 0x04380000);
  CHECK(program.file_bytes == 32 + 0x8000 + 0x1000);
}

TEST_CASE("program: ELF, COFF and their relatives") {
  const Program sparc64 = identify(fixtures::make_elf64(43));
  CHECK(sparc64.format == ProgramFormat::elf);
  CHECK(sparc64.machine == "sparc64");
  check_sizes(sparc64, kBig);
  for (const auto& [number, name] :
       {std::pair{2, "sparc"}, {4, "m68k"}, {8, "mips"}, {15, "hppa"}}) {
    const Bytes file = fixtures::make_elf32(static_cast<std::uint16_t>(number));
    const Program program = identify(file);
    CHECK(program.format == ProgramFormat::elf);
    CHECK(program.machine == name);
    CHECK(program.file_bytes == file.size());
    check_sizes(program, kBig);
  }
  const Program little = identify(fixtures::make_elf32(10, kLittle));
  CHECK(little.machine == "mips");
  check_sizes(little, kLittle);
  const Program ecoff = identify(fixtures::make_coff(0x0160, 56));
  CHECK(ecoff.format == ProgramFormat::ecoff);
  CHECK(ecoff.machine == "mips");
  check_sizes(ecoff, kBig);
  const Program pmax = identify(fixtures::make_coff(0x0162, 56, kLittle));
  CHECK(pmax.format == ProgramFormat::ecoff);
  check_sizes(pmax, kLittle);
  const Program alpha = identify(fixtures::make_alpha_ecoff(kLittle));
  CHECK(alpha.format == ProgramFormat::ecoff);
  CHECK(alpha.machine == "alpha");
  check_sizes(alpha, kLittle);
  const Program coff = identify(fixtures::make_coff(0x0150, 28));
  CHECK(coff.format == ProgramFormat::coff);
  CHECK(coff.machine == "m68k");
  const Program xcoff = identify(fixtures::make_coff(0x01DF, 72));
  CHECK(xcoff.format == ProgramFormat::xcoff);
  CHECK(xcoff.machine == "ppc");
  CHECK(identify(fixtures::make_coff(0x0160, 28)).format == ProgramFormat::raw);
}

TEST_CASE("program: SOM needs its checksum") {
  Bytes file = fixtures::make_som();
  const Program program = identify(file);
  CHECK(program.format == ProgramFormat::som);
  CHECK(program.machine == "hppa");
  CHECK(program.file_bytes == file.size());
  check_sizes(program, kBig);
  file[70] ^= std::byte{1};
  CHECK(identify(file).format == ProgramFormat::raw);
}

TEST_CASE("program: FCode tells its length and is summed up") {
  Bytes file = fixtures::make_fcode(300);
  Program program = identify(file);
  CHECK(program.format == ProgramFormat::fcode);
  CHECK(program.file_bytes == 300);
  CHECK(program.stored_sum == program.computed_sum);
  // The sum again, by hand: every byte behind the eight of the header, modulo 65536.
  unsigned sum = 0;
  for (std::size_t i = 8; i < file.size(); ++i)
    sum += std::to_integer<unsigned>(file[i]);
  CHECK(program.stored_sum == sum % 65536);
  file[100] ^= std::byte{1};
  program = identify(file);
  CHECK(program.format == ProgramFormat::fcode);
  CHECK(program.stored_sum != program.computed_sum);
  file[1] = std::byte{9};  // no such format
  CHECK(identify(file).format == ProgramFormat::raw);
}

TEST_CASE("program: nothing is made of zeros, text, random bytes and cut headers") {
  CHECK(identify(Bytes(4096)).format == ProgramFormat::none);
  CHECK(identify({}).format == ProgramFormat::none);
  CHECK(identify(Bytes(4096, std::byte{'x'})).format == ProgramFormat::raw);
  std::mt19937 random(7);
  for (int i = 0; i < 20000; ++i) {
    Bytes bytes(128);
    for (std::byte& value : bytes)
      value = static_cast<std::byte>(random());
    CHECK_FALSE(identify(bytes).is_known());
  }
  for (const Bytes& whole :
       {fixtures::make_aout(0x0103), fixtures::make_elf32(8), fixtures::make_elf64(43),
        fixtures::make_coff(0x0160, 56), fixtures::make_som(), fixtures::make_fcode(),
        fixtures::make_alpha_ecoff()}) {
    for (std::size_t size = 0; size < 160; ++size) {
      const Program program =
          identify(Bytes(whole.begin(), whole.begin() + static_cast<std::ptrdiff_t>(size)));
      CHECK((size >= 8 || !program.is_known()));
    }
  }
}

TEST_CASE("program: hostile ELF headers end at once") {
  Bytes file = fixtures::make_elf32(8);
  file[44] = std::byte{0xFF};  // 65282 segments
  CHECK_FALSE(identify(file).is_known());
  file = fixtures::make_elf64(43);
  for (std::size_t i = 32; i < 40; ++i)
    file[i] = std::byte{0xFF};  // segments at the end of time
  const Program program = identify(file);
  CHECK(program.text == 0);
  CHECK(program.file_bytes == kLargest);
}

TEST_CASE("program: code without a header is told by what compilers leave in it") {
  CHECK(boot::guess_raw_code(test::view_of(fixtures::make_raw_sparc())) == "sparc");
  CHECK(boot::guess_raw_code(test::view_of(fixtures::make_raw_m68k())) == "m68k");
  CHECK(boot::guess_raw_code(test::view_of(fixtures::make_code(8192))).empty());
  std::mt19937 random(11);
  for (int i = 0; i < 200; ++i) {
    Bytes bytes(8192);
    for (std::byte& value : bytes)
      value = static_cast<std::byte>(random());
    CHECK(boot::guess_raw_code(test::view_of(std::move(bytes))).empty());
  }
}
