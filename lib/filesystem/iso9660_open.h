// Opening an ISO 9660 volume.
#pragma once

#include <memory>

#include "core/view.h"
#include "core/volume.h"

namespace platter::filesystem::iso9660 {

/// Opens the volume whose descriptors stand in the view; nullptr when there is none, or when it has
/// no such names as the options ask for.
[[nodiscard]] std::unique_ptr<Volume> open_iso9660(const View& view, const VolumeOptions& options);

}  // namespace platter::filesystem::iso9660
