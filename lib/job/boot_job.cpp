#include "job/boot_job.h"

#include <algorithm>
#include <stdexcept>

#include <fmt/format.h>

namespace platter {
namespace {

void expect_known(const std::vector<std::string>& machines) {
  for (const std::string& name : machines) {
    if (find_machine(name) != nullptr) continue;
    std::string known;
    for (const Machine* machine : all_machines())
      known += fmt::format(" {}", machine->id);
    throw std::invalid_argument(fmt::format("there is no machine '{}'; there are{}", name, known));
  }
}

void add_findings(const BootVerdict& row, std::vector<Finding>& findings) {
  for (const Evidence& item : row.evidence) {
    if (item.holds) continue;
    findings.push_back({item.demanded ? Severity::fault : Severity::caution,
                        finding_code_of(item),
                        {},
                        item.start,
                        item.bytes,
                        fmt::format("{} as {}: {}: {}", row.machine, boot_as_name(row.as),
                                    item.check, item.detail)});
  }
}

}  // namespace

FindingCode finding_code_of(const Evidence& evidence) noexcept {
  const std::string_view id = evidence.check;
  if (id.find("checksum") != std::string_view::npos || id.ends_with("-sum")) {
    return FindingCode::boot_checksum;
  }
  for (const std::string_view word : {"reach", "limit", "size", "block-bytes"}) {
    if (id.find(word) != std::string_view::npos) return FindingCode::boot_beyond_limit;
  }
  return FindingCode::boot_missing;
}

BootReport boot_report(const Survey& survey, const BootRequest& request) {
  expect_known(request.machines);
  BootReport report;
  report.image = survey.image;
  const auto asked = [&](const BootVerdict& row) {
    return (request.machines.empty() || std::ranges::count(request.machines, row.machine) != 0) &&
           (!request.as || *request.as == row.as);
  };
  std::ranges::copy_if(survey.boot, std::back_inserter(report.rows), asked);
  for (const std::string& name : request.machines) {
    // Asked for without a kind of drive, a machine is content with either.
    const auto is_ready = [&](const BootVerdict& row) {
      return row.machine == name && row.verdict == Verdict::ready;
    };
    const bool ready = std::ranges::any_of(report.rows, is_ready);
    report.everything_asked_is_ready = report.everything_asked_is_ready && ready;
    for (const BootVerdict& row : report.rows) {
      if (row.machine == name && (!ready || row.verdict == Verdict::ready)) {
        add_findings(row, report.findings);
      }
    }
  }
  std::ranges::stable_sort(report.findings, std::ranges::greater{}, &Finding::severity);
  return report;
}

}  // namespace platter
