// Optical frames from a plain image.
#pragma once

#include "framing/examine.h"

namespace platter::framing {

/// Most frames that have an address from 00:02:00 on.
inline constexpr std::uint64_t kMostFrames = static_cast<std::uint64_t>(sector_code::last_lba) + 1;

/// Writes mode 1 frames of 2352 bytes, from address 00:02:00 on; a last sector that is not full is
/// filled with zeros. The image must have at most kMostFrames sectors of 2048 bytes. Returns false
/// when keep_going ended it. Throws IoError when the image cannot be read; what `write` throws
/// comes through. \param write  takes bytes of the framed image at an offset; called from several
/// threads
[[nodiscard]] bool enframe(const ByteSource& plain, unsigned jobs, const WritePlain& write,
                           const KeepGoing& keep_going = {});

}  // namespace platter::framing
