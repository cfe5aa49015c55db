#include "plan_options.h"

#include <algorithm>

#include <fmt/format.h>

#include "core/charset.h"
#include "plan/size.h"

namespace platter::tool {
namespace {

std::string_view stage_words(plan::Progress::Stage stage) {
  switch (stage) {
    case plan::Progress::Stage::comparing:
      return "comparing";
    case plan::Progress::Stage::writing:
      return "writing";
    case plan::Progress::Stage::verifying:
      return "reading back";
  }
  return "";
}

}  // namespace

bool complained(const CardJob& job, Streams& streams) {
  for (const plan::Complaint& complaint : job.complaints) {
    complain(streams, plan::complaint_text(job.plan_path, complaint));
  }
  return !job.complaints.empty();
}

bool ProgressLine::operator()(const std::string& region, const plan::Progress& progress) {
  if (StatusLine::interrupted()) return false;
  const std::string step = fmt::format("{}: {}", region, stage_words(progress.stage));
  if (step != step_) {
    step_ = step;
    status_.begin_step();
  }
  if (!status_.due() || progress.total == 0) return true;
  const double rate =
      static_cast<double>(progress.done) / std::max(status_.seconds_of_step(), 1e-6);
  const double left = static_cast<double>(progress.total - progress.done) / std::max(rate, 1.0);
  status_.show(fmt::format("{} {} of {}, {}/s, {:.0f} s left", printable(step),
                           plan::readable_size(progress.done), plan::readable_size(progress.total),
                           plan::readable_size(static_cast<std::uint64_t>(rate)), left));
  return true;
}

}  // namespace platter::tool
