// The first sector of a disk, floppy or slice as PC firmware and boot loaders see it.
#pragma once

#include <cstdint>
#include <optional>
#include <string>

#include "core/layout.h"
#include "core/view.h"

namespace platter::boot {

inline constexpr std::uint64_t kPcSector = 512;
inline constexpr std::uint64_t kPcSignature = 0xAA55;
inline constexpr std::uint64_t kPcLoadAddress = 0x7C00;  // PC firmware convention

inline constexpr Field kPcBootSectorFields[] = {
    bytes("jump", 0, 3, "jump over the parameter block, when there is one"),
    text("system", 3, 8, "name of the system that made it, when there is a parameter block"),
    bytes("code", 11, 499, "parameter block and code; in a disk's first sector the table too"),
    u16("signature", 510, "0xAA55"),
};
inline constexpr Structure kPcBootSector =
    structure("PC boot sector", "NetBSD sys/sys/bootblock.h, layout of PC boot blocks", 512,
              kPcBootSectorFields);

/// Where the fields of an x86 kernel begin in its first sector, behind the code that may stand
/// there (Linux Documentation/arch/x86/boot.rst, setup_sects).
inline constexpr std::uint64_t kKernelFields = 0x1F1;

/// What stands behind the first sector of an x86 kernel file.
inline constexpr Field kKernelSetupFields[] = {
    bytes("jump", 0, 2, "jump over this header"),
    text("magic", 2, 4, "\"HdrS\""),
};
inline constexpr Structure kKernelSetup = structure(
    "x86 kernel setup header", "Linux Documentation/arch/x86/boot.rst, offsets 200h and 202h", 6,
    kKernelSetupFields);

/// A boot sector, examined.
struct PcBootSector {
  std::uint64_t signature = 0;    ///< 0xAA55 is demanded
  std::uint64_t entry = 0;        ///< where the code goes on after a jump at 0, else 0
  bool jumps = false;             ///< a jump stands at 0, and its target lies in the code
  bool starts_like_code = false;  ///< the first instruction is one that boot code begins with
  bool has_parameters = false;    ///< a parameter block of FAT or its kin
  std::string system = {};        ///< with a parameter block: who made it
  std::uint64_t code_bytes = 0;   ///< from the entry to the last byte that is not zero
  /// Zeros or text fill a part of the sector, as they do in boot sectors and not in noise.
  bool is_laid_out = false;
  bool is_kernel = false;   ///< an x86 kernel's setup header follows
  bool is_program = false;  ///< the head of a program or kernel file, not a boot sector

  [[nodiscard]] bool is_signed() const noexcept { return signature == kPcSignature; }
};

/// Examines the sector at `offset` of the view.
/// \param code_end where the code must end: 440 in a sector with a partition table, else 510
[[nodiscard]] PcBootSector examine_boot_sector(const View& view, std::uint64_t offset,
                                               std::uint64_t code_end);

}  // namespace platter::boot
