#include "support/survey.h"

#include <algorithm>
#include <stdexcept>

namespace platter::test {

View view_of(std::vector<std::byte> bytes) {
  return View(std::make_shared<MemorySource>(std::move(bytes)));
}

Survey survey_bytes(std::vector<std::byte> bytes) {
  Image image;
  image.path = "memory";
  image.bytes = image.stored_bytes = bytes.size();
  image.source = std::make_shared<MemorySource>(std::move(bytes));
  return survey(image);
}

const Layer* layer(const Survey& survey, std::string_view id) {
  return find_layer(survey.layers, id);
}

const Finding* finding(const Survey& survey, FindingCode code, std::string_view about) {
  const auto found = std::ranges::find_if(survey.findings, [&](const Finding& candidate) {
    return candidate.code == code && (about.empty() || candidate.layer == about);
  });
  return found == survey.findings.end() ? nullptr : &*found;
}

bool has_finding(const Survey& survey, FindingCode code) {
  return finding(survey, code) != nullptr;
}

std::size_t count_findings(const Survey& survey, FindingCode code) {
  return static_cast<std::size_t>(std::ranges::count(survey.findings, code, &Finding::code));
}

std::string fact(const Survey& survey, std::string_view id, std::string_view name) {
  const Layer* found = layer(survey, id);
  return found == nullptr ? std::string() : found->facts.words(name);
}

const BootVerdict& verdict_row(const Survey& survey, std::string_view machine, BootAs as) {
  const auto found = std::ranges::find_if(
      survey.boot, [&](const BootVerdict& row) { return row.machine == machine && row.as == as; });
  if (found == survey.boot.end()) {
    throw std::runtime_error("the survey has no verdict for " + std::string(machine));
  }
  return *found;
}

std::string missing_from(const BootVerdict& verdict) {
  std::string all;
  for (const Evidence& evidence : verdict.evidence) {
    if (evidence.demanded && !evidence.holds) {
      all += (all.empty() ? "" : " ") + std::string(evidence.check);
    }
  }
  return all;
}

std::string findings_of(const Survey& survey) {
  std::string all;
  for (const Finding& one : survey.findings) {
    all += std::string(severity_name(one.severity)) + " " +
           std::string(finding_kind(one.code).code) + " " + one.layer + " @" +
           std::to_string(one.start) + "+" + std::to_string(one.bytes) + " " + one.message + "\n";
  }
  return all;
}

}  // namespace platter::test
