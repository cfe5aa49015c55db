// COFF and its relatives ECOFF and XCOFF, and SOM.
#include <algorithm>
#include <array>
#include <iterator>

#include "boot/program_headers.h"
#include "boot/program_readers.h"

namespace platter::boot {
namespace {

struct CoffKind {
  std::uint64_t magic;
  ByteOrder order;
  ProgramFormat format;
  std::string_view machine;
  std::uint64_t optional_bytes;
};
// NetBSD sys/arch/mips/include/ecoff_machdep.h for mips; the others from memory.
constexpr CoffKind kCoffKinds[] = {{0x0160, ByteOrder::big, ProgramFormat::ecoff, "mips", 56},
                                   {0x0163, ByteOrder::big, ProgramFormat::ecoff, "mips", 56},
                                   {0x0140, ByteOrder::big, ProgramFormat::ecoff, "mips", 56},
                                   {0x0162, ByteOrder::little, ProgramFormat::ecoff, "mips", 56},
                                   {0x0166, ByteOrder::little, ProgramFormat::ecoff, "mips", 56},
                                   {0x0142, ByteOrder::little, ProgramFormat::ecoff, "mips", 56},
                                   {0x014C, ByteOrder::little, ProgramFormat::coff, "i386", 28},
                                   {0x0150, ByteOrder::big, ProgramFormat::coff, "m68k", 28},
                                   {0x016D, ByteOrder::big, ProgramFormat::coff, "m88k", 28},
                                   {0x01DF, ByteOrder::big, ProgramFormat::xcoff, "ppc", 72}};
constexpr std::uint64_t kSectionBytes = 40;
constexpr std::uint64_t kAlphaSectionBytes = 64;
constexpr std::uint64_t kMostSections = 64;
constexpr std::uint64_t kExecutable = 2;

bool is_optional_magic(std::uint64_t magic) {
  return magic == 0407 || magic == 0410 || magic == 0413;
}

template <typename Header>
bool sizes_make_sense(const Header& header) {
  return header.template get<"text">() != 0 && header.template get<"text">() <= kMostProgramBytes &&
         header.template get<"data">() <= kMostProgramBytes &&
         header.template get<"bss">() <= kMostProgramBytes;
}

template <typename Header>
Program program_from(const Header& header, ProgramFormat format, std::string_view machine,
                     std::uint64_t header_bytes) {
  Program program;
  program.format = format;
  program.machine = machine;
  program.order = header.order();
  program.text = header.template get<"text">();
  program.data = header.template get<"data">();
  program.bss = header.template get<"bss">();
  program.entry = header.template get<"entry">();
  program.file_bytes = header_bytes + program.text + program.data;
  return program;
}

std::optional<Program> read_kind(const View& view, std::uint64_t offset, const CoffKind& kind) {
  const auto header = view.record<kCoff>(offset, kind.order);
  const std::uint64_t sections = header.get<"sections">();
  if (!header.complete() || header.get<"magic">() != kind.magic || sections == 0 ||
      sections > kMostSections || header.get<"optional_bytes">() != kind.optional_bytes ||
      (header.get<"flags">() & kExecutable) == 0) {
    return std::nullopt;
  }
  const auto optional = view.record<kCoffOptional>(saturating_add(offset, kCoff.bytes), kind.order);
  if (!optional.complete() || !is_optional_magic(optional.get<"magic">()) ||
      !sizes_make_sense(optional)) {
    return std::nullopt;
  }
  Program program = program_from(optional, kind.format, kind.machine,
                                 kCoff.bytes + kind.optional_bytes + sections * kSectionBytes);
  program.record = header.keep();
  return program;
}

std::optional<Program> read_alpha(const View& view, std::uint64_t offset) {
  constexpr std::uint64_t kMagic = 0x0183;
  constexpr std::uint64_t kOptionalBytes = 80;
  const auto header = view.record<kAlphaEcoff>(offset, ByteOrder::little);
  const std::uint64_t sections = header.get<"sections">();
  if (!header.complete() || header.get<"magic">() != kMagic || sections == 0 ||
      sections > kMostSections || header.get<"optional_bytes">() != kOptionalBytes ||
      !is_optional_magic(header.get<"optional_magic">()) || !sizes_make_sense(header)) {
    return std::nullopt;
  }
  Program program = program_from(header, ProgramFormat::ecoff, "alpha",
                                 kAlphaEcoff.bytes + sections * kAlphaSectionBytes);
  program.record = header.keep();
  return program;
}

std::uint32_t xor_of_all(std::span<const std::byte> data) {
  std::uint32_t result = 0;
  for (std::size_t at = 0; at + 4 <= data.size(); at += 4) {
    result ^= static_cast<std::uint32_t>(decode_unsigned(data.subspan(at, 4), ByteOrder::big));
  }
  return result;
}

}  // namespace

std::optional<Program> read_coff(const View& view, std::uint64_t offset) {
  const std::uint64_t big = view.number(offset, 2, ByteOrder::big);
  const std::uint64_t little = view.number(offset, 2, ByteOrder::little);
  for (const CoffKind& kind : kCoffKinds) {
    if ((kind.order == ByteOrder::big ? big : little) != kind.magic) continue;
    if (auto program = read_kind(view, offset, kind)) return program;
  }
  return read_alpha(view, offset);
}

std::optional<Program> read_som(const View& view, std::uint64_t offset) {
  constexpr std::uint64_t kExecutableKind = 4;
  const auto header = view.record<kSom>(offset, ByteOrder::big);
  const std::uint64_t system = header.get<"system">();
  const std::uint64_t magic = header.get<"magic">();
  if (!header.complete() || (system != 0x020B && system != 0x0210 && system != 0x0214) ||
      (magic != 0x0107 && magic != 0x0108 && magic != 0x010B) ||
      header.get<"file_bytes">() > kMostProgramBytes || xor_of_all(header.all()) != 0) {
    return std::nullopt;
  }
  Program program;
  program.format = ProgramFormat::som;
  program.machine = "hppa";
  program.file_bytes = header.get<"file_bytes">();
  program.record = header.keep();
  const auto exec =
      view.record<kSomExec>(saturating_add(offset, header.get<"auxiliary_at">()), ByteOrder::big);
  if (exec.complete() && (exec.get<"kind">() & 0xFFFF) == kExecutableKind) {
    program.text = exec.get<"text">();
    program.data = exec.get<"data">();
    program.bss = exec.get<"bss">();
    program.entry = exec.get<"entry">();
  }
  return program;
}

}  // namespace platter::boot
