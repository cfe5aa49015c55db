// Boot verdicts in words.
#pragma once

#include <string>
#include <vector>

#include "job/boot_job.h"
#include "report/text.h"

namespace platter {

/// Every condition of every row, whether it holds, where, and what to do. Rows with the verdict
/// `none` are summed up in a line unless they were asked for by name.
[[nodiscard]] std::string boot_text(const BootReport& report, bool asked_by_name,
                                    const TextStyle& style);

/// A few lines for the survey: which machines would start it, which almost. No lines when nothing
/// has to do with booting.
[[nodiscard]] std::vector<std::string> boot_summary(const std::vector<BootVerdict>& rows);

/// A document of the schema platter.boot/1.
[[nodiscard]] std::string boot_json(const BootReport& report);

}  // namespace platter
