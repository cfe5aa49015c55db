#include "boot/emulator.h"

#include <fcntl.h>
#include <signal.h>
#include <sys/prctl.h>
#include <sys/wait.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <regex>
#include <span>
#include <stdexcept>
#include <thread>

#include <pty.h>

#include "core/record.h"
#include "support/survey.h"

namespace platter::test {
namespace {

using std::chrono::milliseconds;
using std::chrono::steady_clock;

constexpr milliseconds kLook{40};
constexpr milliseconds kLastWords{150};  // for the rest of a line that was seen while it came

std::string filled(std::string word, const std::string& image, const std::string& log) {
  for (const auto& [name, value] : {std::pair{std::string("IMAGE"), image}, {"LOG", log}}) {
    const std::size_t at = word.find(name);
    if (at != std::string::npos) word.replace(at, name.size(), value);
  }
  return word;
}

std::string text_of(const std::string& path) {
  std::ifstream file(path, std::ios::binary);
  return {std::istreambuf_iterator<char>(file), {}};
}

bool network_can_be_left() {
  static const bool can = run("unshare -rn true").status == 0;
  return can;
}

// A program in a session and process group of its own; everything in it ends with this object.
class Child {
 public:
  Child(std::vector<std::string> words, bool on_terminal, const std::string& output) {
    std::vector<char*> arguments;
    for (std::string& word : words)
      arguments.push_back(word.data());
    arguments.push_back(nullptr);
    const int nothing = open("/dev/null", O_RDONLY | O_CLOEXEC);
    const int out = open(output.c_str(), O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0600);
    pid_ = on_terminal ? forkpty(&terminal_, nullptr, nullptr, nullptr) : fork();
    if (pid_ == 0) {  // only calls that are safe between fork and exec
      prctl(PR_SET_PDEATHSIG, SIGKILL);
      if (!on_terminal) {
        setsid();
        dup2(nothing, STDIN_FILENO);
        dup2(out, STDOUT_FILENO);
        dup2(out, STDERR_FILENO);
      }
      execvp(arguments.front(), arguments.data());
      _exit(127);
    }
    close(nothing);
    close(out);
    if (pid_ < 0) throw std::runtime_error("cannot start " + words.front());
    if (terminal_ >= 0) fcntl(terminal_, F_SETFD, FD_CLOEXEC);
    if (terminal_ >= 0) fcntl(terminal_, F_SETFL, O_NONBLOCK);
  }
  Child(const Child&) = delete;
  Child& operator=(const Child&) = delete;
  ~Child() {
    kill(-pid_, SIGKILL);
    if (!ended_) waitpid(pid_, nullptr, 0);
    if (terminal_ >= 0) close(terminal_);
  }

  [[nodiscard]] bool ended() {
    int status = 0;
    if (!ended_ && waitpid(pid_, &status, WNOHANG) == pid_) {
      ended_ = true;
      not_found_ = WIFEXITED(status) && WEXITSTATUS(status) == 127;
    }
    return ended_;
  }
  [[nodiscard]] bool not_found() const noexcept { return not_found_; }

  // What has come to the terminal since the last call.
  [[nodiscard]] std::string terminal_text() const {
    std::string all;
    std::array<char, 4096> piece{};
    for (ssize_t n = 0; (n = read(terminal_, piece.data(), piece.size())) > 0;) {
      all.append(piece.data(), static_cast<std::size_t>(n));
    }
    return all;
  }

 private:
  pid_t pid_ = -1;
  int terminal_ = -1;
  bool ended_ = false;
  bool not_found_ = false;
};

bool has(const std::string& console, const std::string& text) {
  return !text.empty() && console.find(text) != std::string::npos;
}

}  // namespace

std::string_view answer_name(Answer answer) noexcept {
  switch (answer) {
    case Answer::booted:
      return "booted";
    case Answer::refused:
      return "refused";
    case Answer::silent:
      return "silent";
    case Answer::late:
      return "late";
  }
  return "";
}

namespace {

// What the console says from the first of the texts to the end of that line.
std::string line_with(const std::string& console, const std::vector<std::string>& texts) {
  std::size_t at = std::string::npos;
  for (const std::string& text : texts)
    at = std::min(at, console.find(text));
  if (at == std::string::npos) return {};
  at = console.find_first_not_of("\r\n ", at);
  return at == std::string::npos ? std::string()
                                 : console.substr(at, console.find_first_of("\r\n", at) - at);
}

}  // namespace

Run run_emulator(const Emulator& emulator, const std::string& image, const std::string& line,
                 const std::string& scratch, milliseconds limit) {
  std::string attached = image;
  if (emulator.on_terminal) {
    attached = scratch + "/copy.img";
    std::filesystem::copy_file(image, attached, std::filesystem::copy_options::overwrite_existing);
  }
  const std::string log = scratch + "/console.txt";
  const std::string output = scratch + "/output.txt";
  std::filesystem::remove(log);
  std::vector<std::string> words;
  if (emulator.on_terminal) words = {"env", "TMPDIR=" + scratch};  // where it unpacks what it loads
  if (emulator.on_terminal && network_can_be_left()) words.insert(words.end(), {"unshare", "-rn"});
  for (const std::string& word : emulator.command)
    words.push_back(filled(word, attached, log));

  const auto began = steady_clock::now();
  const auto age = [&] {
    return std::chrono::duration_cast<milliseconds>(steady_clock::now() - began);
  };
  Run result;
  milliseconds handed_over = limit;
  Child child(words, emulator.on_terminal, output);
  const auto listen = [&] {
    if (emulator.on_terminal) {
      result.console += child.terminal_text();
    } else {
      result.console = text_of(log);
    }
  };
  for (bool ended = false;; std::this_thread::sleep_for(kLook)) {
    ended = child.ended();  // looked at first, so that its last words are read below
    listen();
    result.took = age();
    if (has(result.console, line)) {
      result.answer = Answer::booted;
      return result;
    }
    if (child.not_found()) throw std::runtime_error("not installed: " + emulator.command.front());
    const bool refused = std::ranges::any_of(
        emulator.refusals, [&](const std::string& text) { return has(result.console, text); });
    if (ended || refused) {
      result.answer = Answer::refused;
      std::this_thread::sleep_for(kLastWords);
      listen();
      if (ended) result.console += text_of(output);
      result.said = line_with(result.console, emulator.refusals);
      return result;
    }
    if (handed_over == limit && has(result.console, emulator.handover)) handed_over = age();
    if (age() > handed_over + kSilenceLimit) return result;
    if (age() > limit) {
      result.answer = handed_over == limit ? Answer::late : Answer::silent;
      return result;
    }
  }
}

bool installed(const std::string& program) {
  return run("command -v " + shell_word(program)).status == 0;
}

std::string version_of(const Emulator& emulator, const std::string& console) {
  static const std::regex kVersion(R"((\w+)[^0-9]*([0-9]+(\.[0-9]+)+))");
  const std::string& program = emulator.command.front();
  const std::string told =
      run("{ " + program + " --version || " + program + " -h; } 2>/dev/null </dev/null").out;
  std::smatch found;
  std::string version = program;
  if (std::regex_search(told, found, kVersion)) version = found.str(1) + " " + found.str(2);
  const std::size_t at =
      emulator.banner.empty() ? std::string::npos : console.find(emulator.banner);
  if (at == std::string::npos) return version;
  const std::size_t end = console.find_first_of("\r\n[", at);
  return version + ", " + unpadded_text(std::as_bytes(std::span(console).subspan(at, end - at)));
}

}  // namespace platter::test
