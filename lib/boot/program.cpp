#include "boot/program.h"

#include <algorithm>
#include <array>

#include <fmt/format.h>

#include "boot/program_headers.h"
#include "boot/program_readers.h"

namespace platter::boot {
namespace {

constexpr std::uint64_t kFirstLook = 512;
constexpr std::uint64_t kMostFcode = 65536;
constexpr std::uint64_t kFcodeFormat = 8;
constexpr std::uint64_t kRawLook = 8192;
constexpr std::uint64_t kStartTokens[] = {0xF0, 0xF1, 0xF2, 0xF3, 0xFD};

std::size_t count_words(std::span<const std::byte> code, std::size_t width, std::uint64_t mask,
                        std::uint64_t value) {
  std::size_t count = 0;
  for (std::size_t at = 0; at + width <= code.size(); at += width) {
    count += (decode_unsigned(code.subspan(at, width), ByteOrder::big) & mask) == value ? 1 : 0;
  }
  return count;
}

bool looks_like_sparc(std::span<const std::byte> code) {
  const std::size_t nop = count_words(code, 4, 0xFFFFFFFF, 0x01000000);
  const std::size_t save = count_words(code, 4, 0xFFFFE000, 0x9DE3A000);
  const std::size_t back = count_words(code, 4, 0xFFFFFFFF, 0x81C7E008) +  // ret
                           count_words(code, 4, 0xFFFFFFFF, 0x81C3E008);   // retl
  return nop + save + back >= 3 && (save != 0) + (nop != 0) + (back != 0) >= 2;
}

bool looks_like_m68k(std::span<const std::byte> code) {
  const std::size_t link = count_words(code, 2, 0xFFFF, 0x4E56);
  const std::size_t unlink = count_words(code, 2, 0xFFFF, 0x4E5E);
  const std::size_t back = count_words(code, 2, 0xFFFF, 0x4E75);
  return link >= 2 && unlink >= 2 && back >= 2;
}

}  // namespace

std::string_view program_format_name(ProgramFormat format) noexcept {
  switch (format) {
    case ProgramFormat::none:
      return "";
    case ProgramFormat::raw:
      return "code without a header";
    case ProgramFormat::aout:
      return "a.out";
    case ProgramFormat::elf:
      return "ELF";
    case ProgramFormat::ecoff:
      return "ECOFF";
    case ProgramFormat::coff:
      return "COFF";
    case ProgramFormat::xcoff:
      return "XCOFF";
    case ProgramFormat::som:
      return "SOM";
    case ProgramFormat::fcode:
      return "FCode";
  }
  return "";
}

// The length says how far the sum reaches. Without a right sum the format byte and the length have
// to be what every writer of the standard leaves.
std::optional<Program> read_fcode(const View& view, std::uint64_t offset) {
  const auto header = view.record<kFcode>(offset, ByteOrder::big);
  const std::uint64_t start = header.get<"start">();
  const std::uint64_t length = header.get<"length">();
  if (!header.complete() || std::ranges::find(kStartTokens, start) == std::end(kStartTokens) ||
      header.get<"format">() != kFcodeFormat || length > kMostFcode) {
    return std::nullopt;
  }
  std::uint16_t sum = 0;
  if (length > kFcode.bytes) {
    for (const std::byte value :
         view.read_vector(saturating_add(offset, kFcode.bytes), length - kFcode.bytes)) {
      sum = static_cast<std::uint16_t>(sum + std::to_integer<unsigned>(value));
    }
  }
  Program program;
  program.format = ProgramFormat::fcode;
  program.stored_sum = static_cast<std::uint16_t>(header.get<"checksum">());
  program.computed_sum = sum;
  program.text = length > kFcode.bytes ? length - kFcode.bytes : 0;
  program.file_bytes = length;
  program.record = header.keep();
  return program;
}

Program identify_program(const View& view, std::uint64_t offset) {
  for (const auto read : {read_elf, read_som, read_coff, read_aout, read_fcode}) {
    if (auto program = read(view, offset)) return std::move(*program);
  }
  Program program;
  program.format = all_zero(view, offset, kFirstLook) ? ProgramFormat::none : ProgramFormat::raw;
  return program;
}

std::string_view guess_raw_code(const View& view) {
  const auto code = view.read_vector(0, kRawLook);
  if (looks_like_sparc(code)) return "sparc";
  if (looks_like_m68k(code)) return "m68k";
  return "";
}

std::string describe(const Program& program) {
  if (program.format == ProgramFormat::none) return "nothing but zeros";
  std::string text(program_format_name(program.format));
  if (!program.machine.empty()) text += fmt::format(" for {}", program.machine);
  if (program.format == ProgramFormat::fcode) {
    return text +
           fmt::format(" of {} bytes, checksum 0x{:04X}", program.file_bytes, program.stored_sum);
  }
  if (program.header_is_code) return text + ", the rest of whose header is code";
  if (!program.is_known()) return text;
  return text + fmt::format(", {} bytes of code, {} of data, entered at 0x{:X}", program.text,
                            program.data, program.entry);
}

void set_program_facts(Facts& facts, const Program& program) {
  facts.set("program_format", program_format_name(program.format));
  if (!program.machine.empty()) facts.set("machine", program.machine);
  if (!program.is_known()) return;
  facts.set("byte_order", byte_order_name(program.order));
  if (program.format == ProgramFormat::fcode) {
    facts.set("checksum", program.stored_sum == program.computed_sum ? "good" : "bad");
    facts.set("needed_bytes", program.file_bytes);
    return;
  }
  if (program.header_is_code) return;
  facts.set("text_bytes", program.text)
      .set("data_bytes", program.data)
      .set("bss_bytes", program.bss)
      .set("entry", program.entry)
      .set("needed_bytes", program.file_bytes);
}

}  // namespace platter::boot
