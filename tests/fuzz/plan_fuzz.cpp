// Any text can be read as a plan file; what could be read can be resolved, whatever is known of its
// images, and shown.
#include <nlohmann/json.hpp>

#include "fuzz/input.h"
#include "plan/plan.h"
#include "report/plan_report.h"

using namespace platter;  // NOLINT(google-build-using-namespace): a program of few functions

namespace {

// Images that fit, that are too large, and that nobody looked at, in turn.
plan::Known some_knowledge(const plan::WrittenPlan& written) {
  plan::Known known{.card_bytes = 64 * plan::kMiB, .images = {}};
  for (std::size_t i = 0; i < written.regions.size(); ++i) {
    const std::optional<plan::Written<std::uint64_t>>& size = written.regions[i].size;
    plan::KnownImage image;
    image.bytes = size ? saturating_add(size->value, i % 2) : 1000 * i;
    image.claimed_bytes = saturating_mul(image.bytes, i);
    image.claimed_by = "Sun disk label";
    image.label_format = i % 4 == 0 ? "sun" : "";
    if (i % 4 == 0) image.geometry = plan::Geometry{100 + i, 16, 63};
    image.block_bytes = i % 5 == 0 ? 2048 : 512;
    image.boot_verdict = "none";
    if (i % 3 == 2) {
      known.images.emplace_back();
    } else {
      known.images.emplace_back(std::move(image));
    }
  }
  return known;
}

void show(plan::Resolution resolution) {
  fuzz::promise_findings(resolution.plan.findings);
  CardJob job{.plan_path = "plan.toml",
              .plan = std::move(resolution.plan),
              .complaints = std::move(resolution.complaints),
              .missing = {}};
  fuzz::promise(nlohmann::json::accept(plan_json(job)), "a plan is JSON");
  const std::string words = plan_text(job, {}) + copy_commands_text(job);
  fuzz::promise(std::ranges::none_of(words, [](char c) { return c == '\x1B' || c == '\0'; }),
                "words are safe for a terminal");
  (void)plan::card_map(job.plan);
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  const fuzz::Input input(data, size);
  const plan::ReadPlan read = plan::read_plan(input.text());
  for (const plan::Complaint& complaint : read.complaints) {
    fuzz::promise(complaint.place.line >= 1 && complaint.place.column >= 1, "a place in the text");
    fuzz::promise(is_utf8(plan::complaint_text("plan.toml", complaint)), "a complaint is text");
  }
  if (!read.complaints.empty()) return 0;
  show(plan::resolve(read.plan, {}));
  show(plan::resolve(read.plan, some_knowledge(read.plan)));
  return 0;
}
