// Headers of executable files, shared by the decoder and the fixture writers.
#pragma once

#include "core/field_list.h"
#include "core/layout.h"

namespace platter::boot {

/// The lengths of a program's parts, in words of 4 or 8 bytes.
consteval auto program_length_fields(std::uint32_t word) {
  return FieldList{
      unsigned_field("text", 0, word, "length of the code", unit::bytes),
      unsigned_field("data", word, word, "length of the initialised data", unit::bytes),
      unsigned_field("bss", 2 * word, word, "length of the data that starts as zeros", unit::bytes),
  };
}

// a.out: the first word is magic and machine together. Old systems store all words in the order of
// the machine; later BSD systems store the first one big-endian everywhere.
inline constexpr FieldList kAoutFields = {
    u32("midmag", 0, "flags and machine (high half), magic (low half)"),
    at(4, program_length_fields(4)),
    u32("symbols", 16, "length of the symbol table", unit::bytes),
    u32("entry", 20, "address to start at"),
    u32("text_relocation", 24, "length of the code's relocation table", unit::bytes),
    u32("data_relocation", 28, "length of the data's relocation table", unit::bytes),
};
inline constexpr Structure kAout =
    structure("a.out header", "NetBSD sys/sys/exec_aout.h, struct exec", 32, kAoutFields);

/// One value of the machine half, and the order of the words behind the first.
struct AoutMachine {
  std::uint64_t code;
  std::string_view machine;
  ByteOrder order;
};
// NetBSD sys/sys/aout_mids.h; 3 is the sparc of the Sun form (byte 1 of the file).
inline constexpr AoutMachine kAoutMachines[] = {
    {1, "m68k", ByteOrder::big},        {2, "m68k", ByteOrder::big},
    {3, "sparc", ByteOrder::big},       {100, "i386", ByteOrder::little},
    {134, "i386", ByteOrder::little},   {135, "m68k", ByteOrder::big},
    {136, "m68k", ByteOrder::big},      {138, "sparc", ByteOrder::big},
    {139, "mips", ByteOrder::little},   {140, "vax", ByteOrder::little},
    {141, "alpha", ByteOrder::little},  {142, "mips", ByteOrder::big},
    {144, "m68k", ByteOrder::big},      {149, "ppc", ByteOrder::big},
    {150, "vax", ByteOrder::little},    {153, "m88k", ByteOrder::big},
    {154, "hppa", ByteOrder::big},      {156, "sparc64", ByteOrder::big},
    {157, "x86_64", ByteOrder::little}, {200, "m68k", ByteOrder::big},
    {300, "m68k", ByteOrder::big},      {0x20B, "hppa", ByteOrder::big},
    {0x20C, "m68k", ByteOrder::big}};

// System V ABI, chapter 4; registered machine numbers, alpha's 0x9026 as it was used.
inline constexpr Name kElfMachines[] = {
    {2, "sparc"},   {3, "i386"},   {4, "m68k"},      {5, "m88k"},      {8, "mips"},
    {10, "mips"},   {15, "hppa"},  {18, "sparc"},    {20, "ppc"},      {21, "ppc64"},
    {40, "arm"},    {41, "alpha"}, {42, "sh"},       {43, "sparc64"},  {50, "ia64"},
    {62, "x86_64"}, {75, "vax"},   {183, "aarch64"}, {0x9026, "alpha"}};

inline constexpr Field kElfIdentFields[] = {
    bytes("magic", 0, 4, "7F 45 4C 46"),
    u8("file_class", 4, "1: 32 bits, 2: 64 bits"),
    u8("data", 5, "1: little-endian, 2: big-endian"),
    u8("version", 6, "1"),
    u8("os_abi", 7, "operating system"),
    reserved(8, 8),
};
inline constexpr Structure kElfIdent =
    structure("ELF identification", "System V ABI, chapter 4", 16, kElfIdentFields);

// Both classes have the same fields; addresses and places have 4 or 8 bytes.
consteval auto elf_fields(std::uint32_t word) {
  const std::uint32_t behind = 24 + 3 * word;
  return FieldList{
      records("ident", 0, 1, kElfIdent, "identification"),
      u16("type", 16, "1 relocatable, 2 executable, 3 shared"),
      u16("machine", 18, "machine", unit::none, kElfMachines),
      u32("version", 20, "1"),
      unsigned_field("entry", 24, word, "address to start at"),
      unsigned_field("segments_at", 24 + word, word, "place of the program headers", unit::bytes),
      unsigned_field("sections_at", 24 + 2 * word, word, "place of the section headers",
                     unit::bytes),
      u32("flags", behind, "depends on the machine"),
      u16("header_bytes", behind + 4, "52, with 64 bits 64", unit::bytes),
      u16("segment_bytes", behind + 6, "32, with 64 bits 56", unit::bytes),
      u16("segments", behind + 8, "number of program headers"),
      u16("section_bytes", behind + 10, "40, with 64 bits 64", unit::bytes),
      u16("sections", behind + 12, "number of section headers"),
      u16("names", behind + 14, "section with the names"),
  };
}
inline constexpr FieldList kElf32Fields = elf_fields(4);
inline constexpr Structure kElf32 =
    structure("ELF header, 32 bits", "System V ABI, chapter 4, Elf32_Ehdr", 52, kElf32Fields);
inline constexpr FieldList kElf64Fields = elf_fields(8);
inline constexpr Structure kElf64 =
    structure("ELF header, 64 bits", "System V ABI, chapter 4, Elf64_Ehdr", 64, kElf64Fields);

// The program headers of the two classes have their fields in different orders.
inline constexpr Field kElf32SegmentFields[] = {
    u32("type", 0, "1: to be loaded"),
    u32("offset", 4, "place in the file", unit::bytes),
    u32("address", 8, "virtual address"),
    u32("physical", 12, "physical address"),
    u32("file_bytes", 16, "length in the file", unit::bytes),
    u32("memory_bytes", 20, "length in memory", unit::bytes),
    u32("flags", 24, "1 executable, 2 writable, 4 readable"),
    u32("alignment", 28, "alignment", unit::bytes),
};
inline constexpr Structure kElf32Segment = structure(
    "ELF program header, 32 bits", "System V ABI, chapter 5, Elf32_Phdr", 32, kElf32SegmentFields);

inline constexpr Field kElf64SegmentFields[] = {
    u32("type", 0, "1: to be loaded"),
    u32("flags", 4, "1 executable, 2 writable, 4 readable"),
    u64("offset", 8, "place in the file", unit::bytes),
    u64("address", 16, "virtual address"),
    u64("physical", 24, "physical address"),
    u64("file_bytes", 32, "length in the file", unit::bytes),
    u64("memory_bytes", 40, "length in memory", unit::bytes),
    u64("alignment", 48, "alignment", unit::bytes),
};
inline constexpr Structure kElf64Segment = structure(
    "ELF program header, 64 bits", "System V ABI, chapter 5, Elf64_Phdr", 56, kElf64SegmentFields);

// COFF and what grew out of it. 0x0160 to 0x0166 and 0x0183: NetBSD sys/arch/{mips,alpha}/include/
// ecoff_machdep.h; 0x01DF, 0x01F7: XCOFF; the others from memory.
inline constexpr Field kCoffFields[] = {
    u16("magic", 0, "machine"),
    u16("sections", 2, "number of sections"),
    u32("made", 4, "when it was made", unit::unix_time),
    u32("symbols_at", 8, "place of the symbols", unit::bytes),
    u32("symbols", 12, "number of symbols, or size of their header"),
    u16("optional_bytes", 16, "length of the optional header", unit::bytes),
    u16("flags", 18, "1 without relocations, 2 executable"),
};
inline constexpr Structure kCoff = structure(
    "COFF file header", "System V filehdr.h; NetBSD sys/sys/exec_ecoff.h", 20, kCoffFields);

consteval auto coff_address_fields(std::uint32_t word) {
  return FieldList{
      program_length_fields(word),
      unsigned_field("entry", 3 * word, word, "address to start at"),
      unsigned_field("text_start", 4 * word, word, "address of the code"),
      unsigned_field("data_start", 5 * word, word, "address of the data"),
  };
}

// The first 28 bytes of the optional header are the same in COFF, MIPS ECOFF and 32-bit XCOFF.
inline constexpr FieldList kCoffOptionalFields = {
    u16("magic", 0, "0407, 0410 or 0413"),
    u16("stamp", 2, "version"),
    at(4, coff_address_fields(4)),
};
inline constexpr Structure kCoffOptional =
    structure("COFF optional header", "System V aouthdr.h; NetBSD sys/sys/exec_ecoff.h", 28,
              kCoffOptionalFields);

inline constexpr FieldList kAlphaEcoffFields = {
    u16("magic", 0, "0x0183"),
    u16("sections", 2, "number of sections"),
    u32("made", 4, "when it was made", unit::unix_time),
    u64("symbols_at", 8, "place of the symbols", unit::bytes),
    u32("symbols", 16, "size of the symbols' header"),
    u16("optional_bytes", 20, "80", unit::bytes),
    u16("flags", 22, "1 without relocations, 2 executable"),
    u16("optional_magic", 24, "0407, 0410 or 0413"),
    u16("stamp", 26, "version"),
    u16("build", 28, "build revision"),
    reserved(30, 2, "alignment"),
    at(32, coff_address_fields(8)),
    u64("bss_start", 80, "address of the zeros"),
    u32("registers", 88, "general registers in use"),
    u32("float_registers", 92, "floating registers in use"),
    u64("global_pointer", 96, "value of the global pointer"),
};
inline constexpr Structure kAlphaEcoff =
    structure("ECOFF headers of alpha", "NetBSD sys/sys/exec_ecoff.h with alpha ecoff_machdep.h",
              104, kAlphaEcoffFields);

inline constexpr Field kSomFields[] = {
    u16("system", 0, "0x020B, 0x0210 or 0x0214: hppa 1.0, 1.1, 2.0"),
    u16("magic", 2, "0x0107, 0x0108, 0x010B: kinds of executables"),
    u32("version", 4, "85082112 or 87102412"),
    array_of(2, u32("made", 8, "seconds and nanoseconds")),
    u32("entry_space", 16, "space of the entry"),
    u32("entry_subspace", 20, "subspace of the entry"),
    u32("entry_offset", 24, "offset of the entry"),
    u32("auxiliary_at", 28, "place of the auxiliary headers", unit::bytes),
    u32("auxiliary_bytes", 32, "their length", unit::bytes),
    u32("file_bytes", 36, "length of the whole", unit::bytes),
    array_of(21, u32("tables", 40, "data pointer, then places and sizes of the tables")),
    u32("checksum", 124, "makes the exclusive-or of all 32 words 0"),
};
inline constexpr Structure kSom =
    structure("SOM file header", "OpenBSD sys/sys/exec_som.h, struct som_filehdr", 128, kSomFields);

inline constexpr Field kSomExecFields[] = {
    u32("kind", 0, "flags (high half), 4: executable (low half)"),
    u32("length", 4, "length of what follows", unit::bytes),
    u32("text", 8, "length of the code", unit::bytes),
    u32("text_address", 12, "address of the code"),
    u32("text_at", 16, "place of the code in the file", unit::bytes),
    u32("data", 20, "length of the initialised data", unit::bytes),
    u32("data_address", 24, "address of the data"),
    u32("data_at", 28, "place of the data in the file", unit::bytes),
    u32("bss", 32, "length of the data that starts as zeros", unit::bytes),
    u32("entry", 36, "address to start at"),
    u32("flags", 40, "for the loader"),
    u32("fill", 44, "value of the data that starts as zeros"),
};
inline constexpr Structure kSomExec =
    structure("SOM executable header", "OpenBSD sys/sys/exec_som.h, struct som_exec_auxhdr", 48,
              kSomExecFields);

inline constexpr Field kFcodeFields[] = {
    u8("start", 0, "F0 to F3: start0, 1, 2, 4; FD: version1"),
    u8("format", 1, "8"),
    u16("checksum", 2, "sum of the bytes behind the header"),
    u32("length", 4, "length with the header", unit::bytes),
};
inline constexpr Structure kFcode =
    structure("FCode header", "IEEE 1275-1994, FCode program format", 8, kFcodeFields);

}  // namespace platter::boot
