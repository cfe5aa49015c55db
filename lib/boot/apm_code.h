// Drivers and boot code that an APM names.
#pragma once

#include <cstdint>
#include <optional>
#include <span>
#include <vector>

#include "label/apm_map.h"

namespace platter::boot {

/// The sum that map entries keep of their boot code, carried on from `sum`: each byte is added to a
/// 16-bit sum, which then is rotated left by one bit. A sum of 0 is stored as 0xFFFF. Source:
/// technical note DV 12 of the machines' maker (1989).
[[nodiscard]] std::uint16_t apm_running_sum(std::span<const std::byte> code, std::uint16_t sum);

enum class SumState : std::uint8_t {
  none,  ///< nothing is stored
  good,
  bad,
  unchecked,  ///< the code is not wholly there, or too long to be looked at
};

/// One piece of code: a driver of block 0, the boot code of a slice, or both in one place.
struct ApmCode {
  std::uint64_t start = 0;  ///< image bytes
  std::uint64_t bytes = 0;
  std::optional<std::size_t> driver = {};  ///< index among the drivers of block 0
  std::uint64_t system = 0;                ///< of the driver
  std::optional<std::size_t> entry = {};   ///< index of the map entry that holds it
  bool has_boot_code = false;              ///< that entry gives its length
  SumState sum = SumState::none;
  std::uint64_t computed = 0;
};

/// What block 0 and the map name, drivers first. The image's bytes are read to verify sums, at most
/// 8 MiB in all.
struct ApmBoot {
  Record<label::kApmDriverMap> drivers;
  label::ApmMap map;
  std::uint64_t device_block_bytes = 0;  ///< unit of the driver descriptors
  std::vector<ApmCode> codes;
};
/// \param map_block_bytes distance of the map's entries
[[nodiscard]] ApmBoot read_apm_boot(const View& view, std::uint64_t map_block_bytes);

/// A ROM verifies the sum of a driver when its slice's name begins with these bytes (DV 12).
[[nodiscard]] bool rom_verifies_sum(const FieldReader<label::kApmEntry>& entry);

/// Where a slice's boot code stands.
struct BootPlace {
  std::uint64_t start = 0;  ///< image bytes
  std::uint64_t bytes = 0;
  bool inside = false;  ///< within its slice and the image
};
[[nodiscard]] BootPlace boot_place(const View& view, const label::ApmMap& map,
                                   const FieldReader<label::kApmEntry>& entry);

}  // namespace platter::boot
