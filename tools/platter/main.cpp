// The command line: finds the command and hands over.
#include <sys/ioctl.h>
#include <unistd.h>

#include <algorithm>
#include <csignal>
#include <cstdlib>
#include <exception>
#include <iostream>
#include <system_error>

#include <fmt/format.h>

#include "command.h"
#include "core/source.h"
#include "standard_output.h"

namespace {

using namespace platter;
using namespace platter::tool;

std::string overview() {
  std::string text =
      "platter looks into raw images of vintage disks and discs, and helps to place\n"
      "them on a card.\n\nUse: platter COMMAND [options] ...\n\n";
  for (const Command& command : commands()) {
    text += fmt::format("  {:<10} {}\n", command.name, command.summary);
  }
  return text + "\nplatter COMMAND --help explains a command and shows an example.\n";
}

TextStyle style_of_standard_output() {
  TextStyle style;
  if (isatty(STDOUT_FILENO) == 0) return style;
  const char* no_colour = std::getenv("NO_COLOR");
  style.colour = no_colour == nullptr || *no_colour == '\0';
  winsize size{};
  if (ioctl(STDOUT_FILENO, TIOCGWINSZ, &size) == 0 && size.ws_col != 0) {
    style.columns = std::clamp<std::size_t>(size.ws_col, 40, 120);
  }
  return style;
}

int run(const std::vector<std::string>& words, Streams& streams) {
  if (words.empty()) {
    streams.err << overview();
    return kNotUnderstood;
  }
  if (words[0] == "--help" || words[0] == "-h" || words[0] == "help") {
    streams.out << overview();
    return kDone;
  }
  if (words[0] == "--version") {
    streams.out << "platter " << PLATTER_VERSION << '\n';
    return kDone;
  }
  const auto known = commands();
  const auto command = std::ranges::find(known, words[0], &Command::name);
  if (command == known.end()) {
    complain(streams, fmt::format("there is no command '{}' (see platter --help)", words[0]));
    return kNotUnderstood;
  }
  return command->run(std::span(words).subspan(1), streams);
}

}  // namespace

int main(int count, char** arguments) {
  const std::vector<std::string> words(arguments + 1, arguments + count);
  // A reader that goes away is told like every other failure to write.
  std::signal(SIGPIPE, SIG_IGN);
  StandardOutput output;
  std::ostream out(&output);
  Streams streams{out, std::cerr, style_of_standard_output()};
  int status = kDone;
  try {
    status = run(words, streams);
  } catch (const IoError& error) {
    complain(streams, error.what());
    status = kInputOutput;
  } catch (const CLI::Error& error) {
    complain(streams, error.what());
    status = kNotUnderstood;
  } catch (const std::bad_alloc&) {
    complain(streams, "out of memory");
    status = kInputOutput;
  }
  out.flush();
  if (!out) {
    const IoError error("standard output", output.written(), 0,
                        std::generic_category().message(output.error()));
    complain(streams, error.what());
    status = kInputOutput;
  }
  return status;
}
