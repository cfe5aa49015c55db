// The Plan 9 tables are text; what stands here serves to show the sector.
#pragma once

#include "core/layout.h"

namespace platter::label {

/// Slices that the loader reads.
inline constexpr std::size_t kPlan9MostSlices = 32;
inline constexpr std::string_view kPlan9Line = "part ";
inline constexpr std::string_view kPlan9OldTitle = "plan9 partitions";

inline constexpr Field kPlan9TableFields[] = {
    text("lines", 0, 512, "\"part NAME START END\", one a line; END is exclusive"),
};
inline constexpr Structure kPlan9Table =
    structure("Plan 9 table", "Plan 9 boot loader, pc/part.c", 512, kPlan9TableFields);

inline constexpr Field kPlan9OldTableFields[] = {
    text("lines", 0, 512, "a title, then \"NAME START END\", one a line; END is exclusive"),
};
inline constexpr Structure kPlan9OldTable =
    structure("old Plan 9 table", "Plan 9 boot loader, pc/part.c", 512, kPlan9OldTableFields);

}  // namespace platter::label
