// The session that README.md shows, run again: what stands there is what the program says. With
// PLATTER_README=FILE the page is written anew, as the program speaks now.
#include <cstdlib>
#include <filesystem>
#include <sstream>

#include <catch2/catch.hpp>

#include "tool/program.h"

namespace platter::test {
namespace {

constexpr std::string_view kIndent = "    ";
constexpr std::string_view kPrompt = "    $ ";

// Each line indented as the page does it; blank ones stay blank.
std::string indented(const std::string& output) {
  std::istringstream in(output);
  std::string result;
  for (std::string line; std::getline(in, line);)
    result += line.empty() ? "\n" : std::string(kIndent) + line + "\n";
  return result;
}

// The page with what each command printed below it now; `ran` counts the commands.
std::string page_made_anew(const std::string& page, const std::string& directory, int& ran) {
  std::istringstream in(page);
  std::string made;
  bool old_output = false;
  for (std::string line; std::getline(in, line);) {
    if (old_output && (line.empty() || line.starts_with(kIndent)) && !line.starts_with(kPrompt)) {
      continue;
    }
    old_output = line.starts_with(kPrompt);
    made += line + "\n";
    if (!old_output) continue;
    const RunResult result = run("cd " + directory + " && " + line.substr(kPrompt.size()));
    CAPTURE(line);
    CHECK(result.err.empty());
    made += indented(result.out) + "\n";
    ++ran;
  }
  return made;
}

TEST_CASE("README: every command prints what is shown") {
  const TemporaryDirectory scratch;
  const std::string build = scratch.file("build");
  std::filesystem::create_directory(build);
  std::filesystem::create_symlink(PLATTER_PROGRAM, build + "/platter");
  must_run(std::string(PLATTER_DEMO_PROGRAM) + " " + build + "/demo");
  const std::vector<std::byte> bytes = read_file(PLATTER_DOCS "/../README.md");
  const std::string page(reinterpret_cast<const char*>(bytes.data()), bytes.size());
  int ran = 0;
  const std::string made = page_made_anew(page, scratch.path(), ran);
  CHECK(ran >= 6);
  CHECK(made == page);
  if (const char* out = std::getenv("PLATTER_README"); out != nullptr) write_text(out, made);
}

}  // namespace
}  // namespace platter::test
