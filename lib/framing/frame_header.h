// Sync and header of an optical frame as a structure table.
#pragma once

#include "core/layout.h"

namespace platter::framing {

inline constexpr Name kFrameModes[] = {{0, "empty"}, {1, "data"}, {2, "data with subheader"}};

inline constexpr Field kFrameHeaderFields[] = {
    bytes("sync", 0, 12, "00, ten times FF, 00"),
    u8("minute", 12, "binary-coded decimal; counts from 2 seconds before block 0"),
    u8("second", 13, "binary-coded decimal"),
    u8("frame", 14, "binary-coded decimal, 75 a second"),
    u8("mode", 15, "what the frame holds", unit::none, kFrameModes),
};
inline constexpr Structure kFrameHeader =
    structure("optical frame header", "ECMA-130 clauses 14.1 and 14.2", 16, kFrameHeaderFields);

}  // namespace platter::framing
