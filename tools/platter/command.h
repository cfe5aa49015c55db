// What every command has: a row in the table of commands, its options, its streams.
#pragma once

#include <cstdint>
#include <ostream>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include <CLI/App.hpp>
#include <CLI/Config.hpp>
#include <CLI/Formatter.hpp>

#include "core/image.h"
#include "exit.h"
#include "report/text.h"

namespace platter::tool {

/// Where a command writes. Tests give it string streams.
struct Streams {
  std::ostream& out;
  std::ostream& err;
  TextStyle style;
};

struct Command {
  std::string_view name;
  std::string_view summary;  ///< the question it answers
  int (*run)(std::span<const std::string> arguments, Streams& streams);
};

/// Every command, in the order in which the overview lists them.
[[nodiscard]] std::span<const Command> commands() noexcept;

#define COMMAND(name, summary) \
  int run_##name(std::span<const std::string> arguments, Streams& streams);
#include "commands.def"
#undef COMMAND

/// The options of one command. Only the command that is asked for builds its options, so the
/// overview and --version cost nothing.
class Options {
 public:
  /// \param example one or two real command lines, shown by --help
  Options(std::string_view command, std::string_view summary, std::string_view example);

  CLI::App& app() noexcept { return app_; }
  /// The image that the command looks at, its first argument.
  CLI::Option* add_image(std::string& path);
  void add_json() { app_.add_flag("--json", json, "print one JSON document instead of words"); }
  void add_spool_limit();

  /// Parses; returns true to go on. Otherwise help was shown or the line made no sense, and
  /// `status` says how to exit.
  bool parse(std::span<const std::string> arguments, Streams& streams);

  bool json = false;
  int status = kDone;
  [[nodiscard]] OpenOptions open_options() const;

 private:
  CLI::App app_;
  std::string spool_limit_;
};

/// What an IMAGE may be, for --help.
inline constexpr const char* kImageMeaning =
    "file, archive::member, device, or - for standard input";

/// "platter: " and the words, as one line on standard error.
void complain(Streams& streams, std::string_view words);

/// A number of bytes from START or LENGTH words of the contract ("700MiB", "0x800", "2048B").
/// Throws CLI::ValidationError.
[[nodiscard]] std::uint64_t bytes_from_words(std::string_view words);

}  // namespace platter::tool
