// Starts an emulated machine on an image and watches its console.
#pragma once

#include <chrono>
#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

namespace platter::test {

/// What a firmware did with an image.
enum class Answer : std::uint8_t {
  booted,   ///< the line of the boot code appeared
  refused,  ///< the firmware said that it will not start this, or the emulator ended
  silent,   ///< control was handed over, and nothing came
  late,     ///< the time was up before any of this; says nothing about the image
};
[[nodiscard]] std::string_view answer_name(Answer answer) noexcept;

/// One emulated machine and how an image is attached to it.
struct Emulator {
  /// The program and its arguments; IMAGE and LOG in them stand for the two files.
  std::vector<std::string> command = {};
  /// Texts of a refusal on the console.
  std::vector<std::string> refusals = {};
  /// Printed when control is handed over to what was loaded; "" when nothing is.
  std::string handover = {};
  /// What the firmware's name begins with on the console; its version is the rest of the line.
  std::string banner = {};
  /// The console is the program's terminal and not the file LOG; the program writes to the image
  /// and brings a network of its own, so it gets a copy and, where that is permitted, no network.
  bool on_terminal = false;
};

struct Run {
  Answer answer = Answer::silent;
  std::chrono::milliseconds took{0};
  std::string console = {};
  std::string said = {};  ///< the line of the console that has the refusal
};

/// The hard limit of one run.
inline constexpr std::chrono::seconds kRunLimit{90};
/// How long code that was handed control may stay silent.
inline constexpr std::chrono::seconds kSilenceLimit{8};

/// Runs the emulator until `line` or a refusal appears on the console, or the time is up, and ends
/// it with everything that it started. Throws std::runtime_error when it cannot be started.
/// \param scratch a directory for this run alone
[[nodiscard]] Run run_emulator(const Emulator& emulator, const std::string& image,
                               const std::string& line, const std::string& scratch,
                               std::chrono::milliseconds limit = kRunLimit);

/// Whether the program is installed.
[[nodiscard]] bool installed(const std::string& program);

/// The emulator's own version, and the firmware's as its console told it.
[[nodiscard]] std::string version_of(const Emulator& emulator, const std::string& console);

}  // namespace platter::test
