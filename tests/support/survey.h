// Surveys of bytes in memory, and questions about them.
#pragma once

#include <cstddef>
#include <string>
#include <string_view>
#include <vector>

#include "support/files.h"
#include "survey/survey.h"

namespace platter::test {

[[nodiscard]] View view_of(std::vector<std::byte> bytes);
[[nodiscard]] Survey survey_bytes(std::vector<std::byte> bytes);

/// The layer with that id, or nullptr.
[[nodiscard]] const Layer* layer(const Survey& survey, std::string_view id);

/// The finding with that code (about that layer, when one is named), or nullptr.
[[nodiscard]] const Finding* finding(const Survey& survey, FindingCode code,
                                     std::string_view about = {});
[[nodiscard]] bool has_finding(const Survey& survey, FindingCode code);
[[nodiscard]] std::size_t count_findings(const Survey& survey, FindingCode code);

/// A text fact of a layer, "" when it is absent.
[[nodiscard]] std::string fact(const Survey& survey, std::string_view id, std::string_view name);

/// The boot verdict for a machine, which the survey must have.
[[nodiscard]] const BootVerdict& verdict_row(const Survey& survey, std::string_view machine,
                                             BootAs as);
/// Ids of the demanded conditions that do not hold, separated by blanks.
[[nodiscard]] std::string missing_from(const BootVerdict& verdict);

/// Every finding in one string, for a failing test's message.
[[nodiscard]] std::string findings_of(const Survey& survey);

}  // namespace platter::test
