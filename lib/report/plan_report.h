// Geometry, card plans, placing and verifying: words and JSON.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "job/place_job.h"
#include "plan/geometry.h"
#include "report/text.h"

namespace platter {

/// A geometry that somebody asked about, and the sizes near the asked one that it divides.
struct LikeReport {
  plan::Geometry geometry;
  plan::GeometryLike sizes;
};
struct GeometryReport {
  std::uint64_t blocks = 0;
  std::vector<plan::GeometryChoice> choices;
  std::optional<LikeReport> like;
};
[[nodiscard]] std::string geometry_json(const GeometryReport& report);
/// The choices; or, when a geometry was asked about, what it amounts to.
[[nodiscard]] std::string geometry_text(const GeometryReport& report, const TextStyle& style);

[[nodiscard]] std::string plan_json(const CardJob& job);
/// The map of the card, every region and every gap, then the findings.
[[nodiscard]] std::string plan_text(const CardJob& job, const TextStyle& style);
/// One line for a POSIX shell per region; a region without one is a comment with the reason.
[[nodiscard]] std::string copy_commands_text(const CardJob& job);

[[nodiscard]] std::string place_json(const Placement& placement);
[[nodiscard]] std::string place_text(const Placement& placement, const TextStyle& style);
[[nodiscard]] std::string verify_json(const Verification& verification);
[[nodiscard]] std::string verify_text(const Verification& verification, const TextStyle& style);

}  // namespace platter
