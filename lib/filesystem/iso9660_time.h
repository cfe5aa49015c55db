// Times of an ISO 9660 volume.
#pragma once

#include <optional>

#include "core/facts.h"
#include "core/record.h"
#include "filesystem/iso9660_structures.h"

namespace platter::filesystem::iso9660 {

/// A time as it stands on the volume.
struct VolumeTime {
  bool given = false;             ///< false: the field says that there is no time
  std::optional<Timestamp> time;  ///< nothing although given: no valid time
};

/// A 17-byte time. Zeros, blanks and NULs throughout mean that none is given.
[[nodiscard]] VolumeTime volume_time(const FieldReader<kDate17>& date);

/// A 7-byte time; all zero means that none is given (ECMA-119 9.1.5).
[[nodiscard]] VolumeTime recording_time(const FieldReader<kDate7>& date);

}  // namespace platter::filesystem::iso9660
