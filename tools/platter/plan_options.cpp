#include "plan_options.h"

#include <unistd.h>

#include <algorithm>
#include <chrono>
#include <csignal>

#include <fmt/format.h>

#include "core/charset.h"
#include "plan/size.h"

namespace platter::tool {
namespace {

volatile std::sig_atomic_t interrupted = 0;

void on_interrupt(int /*signal*/) { interrupted = 1; }

double seconds_now() {
  using namespace std::chrono;
  return duration<double>(steady_clock::now().time_since_epoch()).count();
}

std::string_view stage_words(plan::Progress::Stage stage) {
  switch (stage) {
    case plan::Progress::Stage::comparing: return "comparing";
    case plan::Progress::Stage::writing: return "writing";
    case plan::Progress::Stage::verifying: return "reading back";
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

ProgressLine::ProgressLine(Streams& streams) : streams_(streams), terminal_(isatty(STDERR_FILENO) != 0) {
  std::signal(SIGINT, on_interrupt);
  std::signal(SIGTERM, on_interrupt);
}

ProgressLine::~ProgressLine() {
  if (shown_ && terminal_) streams_.err << '\n';
}

bool ProgressLine::operator()(const std::string& region, const plan::Progress& progress) {
  if (interrupted != 0) return false;
  const double now = seconds_now();
  const std::string step = fmt::format("{}: {}", region, stage_words(progress.stage));
  if (step != step_) {
    step_ = step;
    began_ = now;
    next_ = now + (terminal_ ? 0.2 : 5.0);
  }
  if (now < next_ || progress.total == 0) return true;
  next_ = now + (terminal_ ? 0.2 : 5.0);
  const double rate = static_cast<double>(progress.done) / std::max(now - began_, 1e-6);
  const double left = static_cast<double>(progress.total - progress.done) / std::max(rate, 1.0);
  const std::string words =
      fmt::format("{} {} of {}, {}/s, {:.0f} s left", printable(step),
                  plan::readable_size(progress.done), plan::readable_size(progress.total),
                  plan::readable_size(static_cast<std::uint64_t>(rate)), left);
  streams_.err << (terminal_ ? "\r\x1B[K" : "") << words << (terminal_ ? "" : "\n") << std::flush;
  shown_ = true;
  return true;
}

}  // namespace platter::tool
