// A plan file together with what the images that it names really are.
#pragma once

#include <string>
#include <vector>

#include "core/image.h"
#include "plan/plan.h"
#include "survey/survey.h"

namespace platter {

/// What a plan needs to know of an image that was surveyed.
[[nodiscard]] plan::KnownImage known_image(const Survey& survey);

struct CardJob {
  std::string plan_path;
  plan::Plan plan;
  std::vector<plan::Complaint> complaints;  ///< the plan is of use only when there is none
  std::vector<std::string> missing;         ///< images that could not be read, and why
};

/// Reads a plan file, opens and surveys the images that it names (paths count from where the plan
/// file lies), measures the card when it is at hand, and resolves the whole.
/// Throws IoError when the plan file itself cannot be read.
[[nodiscard]] CardJob load_card_job(const std::string& plan_path, const OpenOptions& options = {});

/// The region of that name, or nullptr.
[[nodiscard]] const plan::Region* find_region(const plan::Plan& plan,
                                              const std::string& name) noexcept;

}  // namespace platter
