// What a piece of code is, by its header.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

#include "core/claim.h"
#include "core/facts.h"
#include "core/record.h"
#include "core/view.h"

namespace platter::boot {

enum class ProgramFormat : std::uint8_t {
  none,   ///< nothing but zeros, or nothing at all
  raw,    ///< something, without a header that is known
  aout,   ///< a.out, 32 bits
  elf,    ///< ELF, 32 or 64 bits
  ecoff,  ///< ECOFF of mips and alpha
  coff,   ///< COFF
  xcoff,  ///< XCOFF of ppc, 32 bits
  som,    ///< SOM of hppa
  fcode,  ///< byte code of IEEE 1275 firmware
};
/// "a.out", "ELF", ...; "" for none, "code without a header" for raw.
[[nodiscard]] std::string_view program_format_name(ProgramFormat format) noexcept;

/// A program's header in one form for all formats. Sizes are bytes, as the header says.
struct Program {
  ProgramFormat format = ProgramFormat::none;
  std::string_view machine = {};  ///< GNU name; "" when the header does not tell; lives for ever
  ByteOrder order = ByteOrder::big;
  std::uint64_t text = 0;
  std::uint64_t data = 0;
  std::uint64_t bss = 0;
  std::uint64_t entry = 0;
  /// Bytes of the file that have to be there for the program to be whole; FCode: with its header.
  std::uint64_t file_bytes = 0;
  /// An a.out header whose words behind the first are code (a branch over the header).
  bool header_is_code = false;
  /// FCode only: its checksum as it stands there, and as the bytes give it.
  std::uint16_t stored_sum = 0;
  std::uint16_t computed_sum = 0;
  RecordData record = {};  ///< the header; without a structure for none and raw

  /// Whether a header was recognised.
  [[nodiscard]] bool is_known() const noexcept { return format > ProgramFormat::raw; }
};

/// Looks at what starts at `offset` of the view. Headers count when the fields that must agree do:
/// a magic number alone is not enough. Reads a few hundred bytes; FCode's checksum reads the code,
/// at most 64 KiB of it. `none` when the first 512 bytes are zeros or absent, `raw` otherwise.
[[nodiscard]] Program identify_program(const View& view, std::uint64_t offset = 0);

/// Which machine's instructions code without a header holds: "sparc", "m68k" or "". Modest on
/// purpose: it counts instructions that nearly every compiled routine has and data hardly ever
/// (docs/formats/sun-boot-block.md).
[[nodiscard]] std::string_view guess_raw_code(const View& view);

/// E.g. "a.out for sparc, 1024 bytes of code, 64 of data, entered at 0x4000".
[[nodiscard]] std::string describe(const Program& program);

/// Facts `program_format`, `machine`, `byte_order`, `text_bytes`, `data_bytes`, `bss_bytes`,
/// `entry`, `needed_bytes`, and for FCode `checksum`.
void set_program_facts(Facts& facts, const Program& program);

}  // namespace platter::boot
