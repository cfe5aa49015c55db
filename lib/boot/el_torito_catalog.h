// The El Torito boot record of an optical volume, and its boot catalog.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "boot/el_torito_structures.h"
#include "core/claim.h"

namespace platter::boot {

/// A boot information table inside a boot image.
struct BootInfo {
  Record<kBootInfo> table;
  bool names_image = false;  ///< it names the block that the catalog names
  bool verified = false;     ///< its length was usable, and `computed` is filled in
  std::uint64_t computed = 0;

  [[nodiscard]] bool checksum_holds() const noexcept {
    return verified && computed == table.get<"checksum">();
  }
};

/// The table, when one stands in the image at `start` (bytes of the volume).
[[nodiscard]] std::optional<BootInfo> read_boot_info(const View& volume, std::uint64_t start);

/// One image that the catalog names.
struct CatalogImage {
  std::uint64_t place = 0;  ///< image byte of the entry
  unsigned number = 1;      ///< 1 is the default entry
  std::uint64_t platform = 0;
  std::string section = {};  ///< name of the section, empty for the default entry
  std::uint64_t indicator = 0;
  std::uint64_t media = 0;  ///< with the flags in its upper bits
  std::uint64_t load_segment = 0;
  std::uint64_t system_type = 0;
  std::uint64_t load_blocks = 0;
  std::uint64_t block = 0;
  std::uint64_t criteria_type = 0;
  std::uint64_t extensions = 0;  ///< extension records behind the entry
  std::string criteria = {};     ///< bytes of all of them, without trailing zeros
  std::uint64_t start = 0;       ///< bytes of the volume
  std::uint64_t bytes = 0;       ///< by the rule for its media
  std::optional<BootInfo> info = {};

  [[nodiscard]] std::uint64_t emulation() const noexcept { return media & kMediaMask; }
};

/// What was found, sound or not.
struct BootCatalog {
  Record<kElToritoRecord> record;
  std::uint64_t record_block = 0;
  bool record_sound = false;      ///< type 0, CD001, version 1
  bool identifier_sound = false;  ///< the identifier, padded with zeros
  std::uint64_t start = 0;        ///< image byte of the catalog
  bool in_image = false;
  Record<kCatalogValidation> validation;
  std::uint64_t sum = 0;  ///< of the validation entry's words; 0 is sound
  std::vector<CatalogImage> images;
  std::vector<RecordData> records;

  [[nodiscard]] bool header_sound() const noexcept {
    return in_image && validation.get<"header_id">() == kValidationHeader;
  }
  [[nodiscard]] bool key_sound() const noexcept {
    return in_image && validation.get<"key">() == kCatalogKey;
  }
};

/// Reads the catalog of the volume that starts at the view's start. A damaged boot record is taken
/// for one when two of three things hold: its head, its identifier, and a sound validation entry
/// where it points. What cannot be right goes to `findings`.
[[nodiscard]] std::optional<BootCatalog> read_boot_catalog(const View& volume, Claim& findings);

}  // namespace platter::boot
