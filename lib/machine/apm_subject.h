// The APM of an image as firmware reads it; shared by the machines that start from one.
#pragma once

#include <cstdint>
#include <optional>
#include <string>

#include "boot/apm_code.h"
#include "machine/judging.h"

namespace platter::machine {

struct ApmSubject {
  boot::ApmBoot boot;
  std::uint64_t unit = 512;  ///< distance of the map's entries, and what they count in
  std::uint64_t map_at = 0;  ///< image byte of the first entry

  [[nodiscard]] bool has_driver_magic() const {
    return boot.drivers.get<"signature">() == label::kApmDriverMagic;
  }
  [[nodiscard]] bool has_map() const { return !boot.map.entries.empty(); }
};

/// Reads it; without one the fields are what stands there.
[[nodiscard]] ApmSubject read_apm(const BootSubject& subject);

/// Adds the two conditions that every reader of an APM has: the signatures of block 0 and block 1.
/// \return whether both hold
bool add_apm_signatures(Judging& judging, const ApmSubject& apm, const View& image);

/// What follows the vendor's prefix in a slice's type, in small letters.
[[nodiscard]] std::string apm_type_tail(const FieldReader<label::kApmEntry>& entry);

/// Index of the first slice of that type, by what follows the prefix.
[[nodiscard]] std::optional<std::size_t> apm_slice_of(const ApmSubject& apm, std::string_view tail);

}  // namespace platter::machine
