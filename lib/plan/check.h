// What is wrong with a filled-in plan.
#pragma once

#include <vector>

#include "plan/plan.h"

namespace platter::plan {

/// Every finding of a plan whose regions are filled in.
[[nodiscard]] std::vector<Finding> check_plan(const Plan& plan);

}  // namespace platter::plan
