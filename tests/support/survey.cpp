#include "support/survey.h"

#include <sys/wait.h>

#include <algorithm>
#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <iterator>
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

std::string findings_of(const Survey& survey) {
  std::string all;
  for (const Finding& one : survey.findings) {
    all += std::string(severity_name(one.severity)) + " " +
           std::string(finding_kind(one.code).code) + " " + one.layer + " @" +
           std::to_string(one.start) + "+" + std::to_string(one.bytes) + " " + one.message + "\n";
  }
  return all;
}

TemporaryDirectory::TemporaryDirectory() {
  std::string pattern = (std::filesystem::temp_directory_path() / "platter-test-XXXXXX").string();
  if (mkdtemp(pattern.data()) == nullptr) throw std::runtime_error("no temporary directory");
  path_ = pattern;
}

TemporaryDirectory::~TemporaryDirectory() {
  std::error_code ignored;
  std::filesystem::remove_all(path_, ignored);
}

void write_file(const std::string& path, const std::vector<std::byte>& bytes) {
  std::ofstream file(path, std::ios::binary | std::ios::trunc);
  file.write(reinterpret_cast<const char*>(bytes.data()),
             static_cast<std::streamsize>(bytes.size()));
  if (!file) throw std::runtime_error("cannot write " + path);
}

std::vector<std::byte> read_file(const std::string& path) {
  std::ifstream file(path, std::ios::binary);
  if (!file) throw std::runtime_error("cannot read " + path);
  const std::string all{std::istreambuf_iterator<char>(file), {}};
  const auto* first = reinterpret_cast<const std::byte*>(all.data());
  return {first, first + all.size()};
}

RunResult run(const std::string& command) {
  const TemporaryDirectory scratch;
  const std::string out = scratch.file("out");
  const std::string err = scratch.file("err");
  const int raw = std::system(("{ " + command + "\n} >" + out + " 2>" + err).c_str());
  RunResult result;
  result.status = WIFEXITED(raw) ? WEXITSTATUS(raw) : 128 + WTERMSIG(raw);
  const auto text = [](const std::string& path) {
    std::ifstream file(path, std::ios::binary);
    return std::string{std::istreambuf_iterator<char>(file), {}};
  };
  result.out = text(out);
  result.err = text(err);
  return result;
}

std::string shell_word(const std::string& word) {
  std::string quoted = "'";
  for (const char c : word) {
    if (c == '\'') {
      quoted += "'\\''";
    } else {
      quoted += c;
    }
  }
  return quoted + "'";
}

}  // namespace platter::test
