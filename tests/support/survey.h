// Surveys of bytes in memory, and questions about them.
#pragma once

#include <cstddef>
#include <string>
#include <string_view>
#include <vector>

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

/// Every finding in one string, for a failing test's message.
[[nodiscard]] std::string findings_of(const Survey& survey);

/// A directory that is removed with everything in it at the end of the scope.
class TemporaryDirectory {
 public:
  TemporaryDirectory();
  TemporaryDirectory(const TemporaryDirectory&) = delete;
  TemporaryDirectory& operator=(const TemporaryDirectory&) = delete;
  ~TemporaryDirectory();
  [[nodiscard]] const std::string& path() const noexcept { return path_; }
  [[nodiscard]] std::string file(const std::string& name) const { return path_ + "/" + name; }

 private:
  std::string path_;
};

void write_file(const std::string& path, const std::vector<std::byte>& bytes);
[[nodiscard]] std::vector<std::byte> read_file(const std::string& path);

/// Runs a shell command; its exit status, standard output and standard error.
struct RunResult {
  int status = -1;
  std::string out;
  std::string err;
};
[[nodiscard]] RunResult run(const std::string& command);

/// A word quoted for the shell.
[[nodiscard]] std::string shell_word(const std::string& word);

}  // namespace platter::test
