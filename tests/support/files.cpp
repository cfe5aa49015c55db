#include "support/files.h"

#include <sys/wait.h>

#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <stdexcept>

namespace platter::test {

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
  if (!file.flush()) throw std::runtime_error("cannot write " + path);
}

void write_text(const std::string& path, const std::string& text) {
  const auto* first = reinterpret_cast<const std::byte*>(text.data());
  write_file(path, {first, first + text.size()});
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

void must_run(const std::string& command) {
  const RunResult result = run(command);
  if (result.status != 0) {
    throw std::runtime_error(command + ": exit status " + std::to_string(result.status) + "\n" +
                             result.out + result.err);
  }
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
