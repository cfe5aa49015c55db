// a.out: the first word tells magic and machine, in one of three traditions.
#include <algorithm>
#include <iterator>

#include "boot/program_headers.h"
#include "boot/program_readers.h"

namespace platter::boot {
namespace {

using Header = Record<kAout>;
constexpr std::uint64_t kWord = 0xFFFFFFFF;
// The whole first word of a boot program for sparc; what follows may be code.
constexpr std::uint64_t kSparcWord = 0x01030107;
constexpr std::uint64_t kSymbolBytes = 12;
constexpr std::uint64_t kRelocationUnit = 4;
constexpr std::uint64_t kHeaderInText[] = {0413, 0314};

bool is_magic(std::uint64_t magic) {
  return magic == 0407 || magic == 0410 || magic == 0413 || magic == 0314;
}

const AoutMachine* machine_of(std::uint64_t code) {
  const auto* found = std::ranges::find(kAoutMachines, code, &AoutMachine::code);
  return found == std::end(kAoutMachines) ? nullptr : found;
}

// What the first word says about the words behind it.
struct FirstWord {
  std::string_view machine;
  ByteOrder order;
};

// Big-endian: byte 1 is the machine in the Sun form (byte 0 a version of the tools), ten bits are
// in the BSD form. Little-endian: old systems stored the magic alone.
std::optional<FirstWord> read_first_word(const Header& big) {
  const std::uint64_t word = big.get<"midmag">();
  if (is_magic(word & 0xFFFF)) {
    const std::uint64_t high = word >> 16U;
    if (high == 0) return FirstWord{"", ByteOrder::big};
    if (const AoutMachine* machine = machine_of(high & 0x3FF)) {
      return FirstWord{machine->machine, machine->order};
    }
    const std::uint64_t sun = high & 0xFF;
    if (sun >= 1 && sun <= 3) return FirstWord{machine_of(sun)->machine, ByteOrder::big};
  }
  const std::uint64_t little = decode_unsigned(big.raw<"midmag">(), ByteOrder::little);
  if (!is_magic(little & 0xFFFF)) return std::nullopt;
  if (little >> 16U == 0) return FirstWord{"", ByteOrder::little};
  const AoutMachine* machine = machine_of(little >> 16U & 0x3FF);
  if (machine == nullptr || machine->order != ByteOrder::little) return std::nullopt;
  return FirstWord{machine->machine, ByteOrder::little};
}

bool sizes_make_sense(const Header& header) {
  return header.get<"text">() != 0 && header.get<"text">() <= kMostProgramBytes &&
         header.get<"data">() <= kMostProgramBytes && header.get<"bss">() <= kMostProgramBytes &&
         header.get<"symbols">() <= kMostProgramBytes &&
         header.get<"symbols">() % kSymbolBytes == 0 &&
         header.get<"text_relocation">() <= kMostProgramBytes &&
         header.get<"text_relocation">() % kRelocationUnit == 0 &&
         header.get<"data_relocation">() <= kMostProgramBytes &&
         header.get<"data_relocation">() % kRelocationUnit == 0;
}

}  // namespace

std::optional<Program> read_aout(const View& view, std::uint64_t offset) {
  Header header = view.record<kAout>(offset, ByteOrder::big);
  if (!header.complete()) return std::nullopt;
  const auto first = read_first_word(header);
  if (!first) return std::nullopt;
  const bool sparc_word = (header.get<"midmag">() & kWord) == kSparcWord;
  const std::uint64_t magic =
      first->order == ByteOrder::big || is_magic(header.get<"midmag">() & 0xFFFF)
          ? header.get<"midmag">() & 0xFFFF
          : decode_unsigned(header.raw<"midmag">(), ByteOrder::little) & 0xFFFF;
  header.set_order(first->order);
  Program program;
  program.format = ProgramFormat::aout;
  program.machine = first->machine;
  program.order = first->order;
  program.record = header.keep();
  if (!sizes_make_sense(header)) {
    if (!sparc_word) return std::nullopt;
    program.header_is_code = true;
    return program;
  }
  program.text = header.get<"text">();
  program.data = header.get<"data">();
  program.bss = header.get<"bss">();
  program.entry = header.get<"entry">();
  const bool counted = std::ranges::find(kHeaderInText, magic) != std::end(kHeaderInText);
  program.file_bytes = (counted ? 0 : kAout.bytes) + program.text + program.data;
  return program;
}

}  // namespace platter::boot
