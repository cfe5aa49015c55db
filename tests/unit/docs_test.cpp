// The pages hold together: links lead somewhere, every page is reached, every command is listed.
#include <algorithm>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <set>
#include <string>
#include <vector>

#include <catch2/catch.hpp>

namespace platter {
namespace {

namespace fs = std::filesystem;

fs::path root() {
  return fs::path(PLATTER_DOCS).parent_path();
}

std::string text_of(const fs::path& path) {
  std::ifstream file(path);
  return {std::istreambuf_iterator<char>(file), {}};
}

// The targets of links of the form [words](target), without fragments and other sites.
std::vector<std::string> links_in(const std::string& page) {
  std::vector<std::string> links;
  for (std::size_t at = page.find("]("); at != std::string::npos; at = page.find("](", at + 2)) {
    std::string target = page.substr(at + 2, page.find(')', at) - at - 2);
    target.resize(std::min(target.size(), target.find('#')));
    if (!target.empty() && target.find("://") == std::string::npos) links.push_back(target);
  }
  return links;
}

std::set<fs::path> all_pages() {
  std::set<fs::path> pages = {root() / "README.md", root() / "DEVELOPERS.md"};
  for (const auto& entry : fs::recursive_directory_iterator(PLATTER_DOCS)) {
    if (entry.path().extension() == ".md") pages.insert(entry.path());
  }
  return pages;
}

TEST_CASE("docs: every link leads somewhere, and README leads to every page") {
  std::set<fs::path> linked;
  std::size_t links = 0;
  for (const fs::path& page : all_pages()) {
    for (const std::string& target : links_in(text_of(page))) {
      CAPTURE(page, target);
      const fs::path place = (page.parent_path() / target).lexically_normal();
      CHECK(fs::exists(place));
      if (page == root() / "README.md") linked.insert(place);
      ++links;
    }
  }
  CHECK(links > 10);
  for (const auto& entry : fs::directory_iterator(PLATTER_DOCS)) {
    CAPTURE(entry.path());
    CHECK(linked.contains(entry.path().lexically_normal()));
  }
}

TEST_CASE("docs: README lists every command") {
  const std::string readme = text_of(root() / "README.md");
  const std::vector<std::string> commands = {
#define COMMAND(name, summary) #name,
#include "../../tools/platter/commands.def"
#undef COMMAND
  };
  for (const std::string& command : commands) {
    CAPTURE(command);
    CHECK(readme.find("| `platter " + command + " ") != std::string::npos);
  }
}

}  // namespace
}  // namespace platter
