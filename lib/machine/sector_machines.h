// Conditions shared by the three families that start from sector 0 by its own fields.
#pragma once

#include "boot/boot_sectors.h"
#include "machine/judging.h"

namespace platter::machine {

/// Adds `program-present`: the program's blocks are in the image and not all zeros.
void judge_program(Judging& judging, const View& image, const boot::Extent& program, bool fits);

/// Whether another label's mark stands in sector 0, so that fields of a boot sector that happen to
/// look right are coincidence unless their checksum says otherwise.
[[nodiscard]] bool belongs_to_a_label(const View& image);

}  // namespace platter::machine
