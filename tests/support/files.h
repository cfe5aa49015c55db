// Files, folders and commands for tests.
#pragma once

#include <cstddef>
#include <string>
#include <vector>

namespace platter::test {

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
void write_text(const std::string& path, const std::string& text);
[[nodiscard]] std::vector<std::byte> read_file(const std::string& path);

/// Runs a shell command; its exit status, standard output and standard error.
struct RunResult {
  int status = -1;
  std::string out;
  std::string err;
};
[[nodiscard]] RunResult run(const std::string& command);
/// Runs a command that has to succeed; throws std::runtime_error with what it said when it does
/// not.
void must_run(const std::string& command);

/// A word quoted for the shell.
[[nodiscard]] std::string shell_word(const std::string& word);

}  // namespace platter::test
