// The ppc boot slice of MBR type 0x41.
#pragma once

#include <cstdint>
#include <string_view>

#include "core/claim.h"
#include "core/layout.h"

namespace platter::boot {

inline constexpr std::uint64_t kPrepType = 0x41;
inline constexpr std::uint64_t kPrepSector = 512;
inline constexpr std::uint64_t kPrepHeaderPlace = kPrepSector;  // the slice's second sector

// Entry and length: Linux 2.6 arch/ppc/boot/utils/mkprep.c. The other three are from memory of the
// PReP specification 1.1.
inline constexpr Field kPrepHeaderFields[] = {
    le32("entry", 0, "where the code is entered, from the slice's start", unit::bytes),
    le32("length", 4, "length of the load image, from the slice's start", unit::bytes),
    u8("flags", 8, "flags"),
    u8("system", 9, "system that the image is for"),
    text("name", 10, 32, "name of the image"),
    reserved(42, 470),
};
inline constexpr Structure kPrepHeader = structure(
    "PReP load image header", "Linux arch/ppc/boot/utils/mkprep.c", 512, kPrepHeaderFields);

/// First bytes of programs that Open Firmware loads as they are.
enum class ClientProgram : std::uint8_t { none, elf, xcoff };
[[nodiscard]] std::string_view client_program_name(ClientProgram program) noexcept;

// System V ABI, chapter 4, "ELF Header": identification, file type and machine.
inline constexpr std::uint64_t kElfPpc = 20;
inline constexpr std::uint64_t kXcoffMagic =
    0x01DF;  // AIX Files Reference, XCOFF object file format
inline constexpr Field kElfHeadFields[] = {
    u32("magic", 0, "0x7F454C46"),
    u8("class", 4, "1: 32 bits, 2: 64 bits"),
    u8("order", 5, "1: little-endian, 2: big-endian"),
    bytes("identification", 6, 10, "version and padding"),
    u16("kind", 16, "2: program"),
    u16("machine", 18, "20: ppc, 21: ppc of 64 bits"),
};
inline constexpr Structure kElfHead =
    structure("ELF header", "System V ABI, chapter 4", 20, kElfHeadFields);

/// Which program for ppc begins at `offset`.
[[nodiscard]] ClientProgram client_program_at(const View& view, std::uint64_t offset);

/// Whether the slice is one of type 0x41, in an MBR or in a GPT.
[[nodiscard]] bool is_prep_slice(const Context& context);

}  // namespace platter::boot
