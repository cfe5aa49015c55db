// Files for the tests of the planner: a folder that goes away, whole-file reads and writes, random
// bytes, and commands through the system's shell.
#pragma once

#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

#include <cstddef>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <random>
#include <stdexcept>
#include <string>
#include <vector>

namespace platter::test {

/// A folder of its own under the system's folder for temporary files, removed with the object.
class Scratch {
 public:
  Scratch() {
    std::string pattern = (std::filesystem::temp_directory_path() / "platter-plan-XXXXXX").string();
    if (mkdtemp(pattern.data()) == nullptr) throw std::runtime_error("no temporary folder");
    folder_ = pattern;
  }
  Scratch(const Scratch&) = delete;
  Scratch& operator=(const Scratch&) = delete;
  ~Scratch() {
    std::error_code ignored;
    std::filesystem::remove_all(folder_, ignored);
  }
  [[nodiscard]] const std::string& folder() const { return folder_; }
  [[nodiscard]] std::string path(const std::string& name) const { return folder_ + "/" + name; }

 private:
  std::string folder_;
};

inline void write_file(const std::string& path, const std::vector<std::byte>& bytes) {
  std::ofstream out(path, std::ios::binary | std::ios::trunc);
  out.write(reinterpret_cast<const char*>(bytes.data()),
            static_cast<std::streamsize>(bytes.size()));
  if (!out.flush()) throw std::runtime_error("cannot write " + path);
}

inline std::vector<std::byte> read_file(const std::string& path) {
  std::ifstream in(path, std::ios::binary);
  if (!in) throw std::runtime_error("cannot read " + path);
  const std::string text(std::istreambuf_iterator<char>(in), {});
  const auto* first = reinterpret_cast<const std::byte*>(text.data());
  return {first, first + text.size()};
}

template <typename Random>
std::vector<std::byte> noise(Random& random, std::size_t count) {
  std::vector<std::byte> bytes(count);
  for (std::byte& byte : bytes)
    byte = static_cast<std::byte>(random() >> 5U & 0xFFU);
  return bytes;
}

/// Runs a command through `sh`; its exit status, or -1.
inline int run_shell(const std::string& command) {
  const pid_t child = fork();
  if (child == 0) {
    execl("/bin/sh", "sh", "-c", command.c_str(), static_cast<char*>(nullptr));
    _exit(127);
  }
  int status = 0;
  if (child < 0 || waitpid(child, &status, 0) != child || !WIFEXITED(status)) return -1;
  return WEXITSTATUS(status);
}

}  // namespace platter::test
