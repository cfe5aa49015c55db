#include "command.h"

#include <array>

#include <fmt/format.h>

#include "core/charset.h"
#include "plan/size.h"
#include "report/writing.h"

namespace platter::tool {

std::span<const Command> commands() noexcept {
  static constexpr auto kCommands = std::to_array<Command>({
#define COMMAND(name, summary) {#name, summary, run_##name},
#include "commands.def"
#undef COMMAND
  });
  return kCommands;
}

Options::Options(std::string_view command, std::string_view summary, std::string_view example)
    : app_(wrapped(summary, 0, 0, TextStyle{}.columns), fmt::format("platter {}", command)) {
  app_.footer(fmt::format("Example:\n  {}", example));
  app_.set_help_flag("-h,--help", "show this help");
  const auto formatter = app_.get_formatter();
  formatter->column_width(26);
  formatter->label("Usage", "Use");
  formatter->label("OPTIONS", "options");
  formatter->label("Positionals", "Arguments");
  formatter->label("Excludes", "not with");
}

CLI::Option* Options::add_image(std::string& path) {
  return app_.add_option("IMAGE", path, kImageMeaning)->required()->option_text("(required)");
}

void Options::add_spool_limit() {
  app_.add_option("--spool-limit", spool_limit_,
                  "most temporary space for unpacking (default 8GiB)")
      ->option_text("SIZE");
}

OpenOptions Options::open_options() const {
  OpenOptions options;
  if (!spool_limit_.empty()) options.spool_limit = bytes_from_words(spool_limit_);
  return options;
}

bool Options::parse(std::span<const std::string> arguments, Streams& streams) {
  // CLI11 takes a vector of arguments in reverse order.
  std::vector<std::string> reversed(arguments.rbegin(), arguments.rend());
  try {
    app_.parse(reversed);
    return true;
  } catch (const CLI::CallForHelp&) {
    streams.out << app_.help();
    status = kDone;
  } catch (const CLI::ParseError& error) {
    complain(streams, fmt::format("{} (see {} --help)", error.what(), app_.get_name()));
    status = kNotUnderstood;
  }
  return false;
}

void complain(Streams& streams, std::string_view words) {
  streams.err << "platter: " << printable(words) << '\n';
}

std::uint64_t bytes_from_words(std::string_view words) {
  const auto size = plan::parse_size(words);
  if (!size.value) throw CLI::ValidationError(fmt::format("'{}': {}", words, size.error));
  return *size.value;
}

}  // namespace platter::tool
