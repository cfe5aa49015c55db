// The registry against the documents and fixtures that every format must have.
#include "formats.h"

#include <algorithm>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <map>
#include <set>

#include <catch2/catch.hpp>

#include "core/finding.h"
#include "support/hexfile.h"

namespace platter {
namespace {

std::string text_of(const std::filesystem::path& path) {
  std::ifstream file(path);
  return {std::istreambuf_iterator<char>(file), {}};
}

TEST_CASE("every format has a page, and every id is said once") {
  std::set<std::string_view> ids;
  for (const Format* format : all_formats()) {
    CAPTURE(format->id);
    CHECK(ids.insert(format->id).second);
    CHECK(format->claims != nullptr);
    CHECK_FALSE(format->title.empty());
    const std::string page = text_of(std::filesystem::path(PLATTER_DOCS) / "formats" /
                                     (std::string(format->id) + ".md"));
    CHECK(page.size() > 300);
    CHECK(find_format(format->id) == format);
  }
}

TEST_CASE("every code of a finding is explained in docs/findings.md, and no other") {
  const std::string page = text_of(std::filesystem::path(PLATTER_DOCS) / "findings.md");
  std::set<std::string> documented;
  for (std::size_t at = page.find("| `"); at != std::string::npos; at = page.find("| `", at + 1)) {
    documented.insert(page.substr(at + 3, page.find('`', at + 3) - at - 3));
  }
  std::set<std::string> known;
  for (std::size_t i = 0; i < finding_kind_count(); ++i) {
    const FindingKind& kind = finding_kind(static_cast<FindingCode>(i));
    CHECK(known.insert(std::string(kind.code)).second);
    CHECK_FALSE(kind.meaning.empty());
    CHECK_FALSE(kind.advice.empty());
  }
  CHECK(documented == known);
}

TEST_CASE("folders of the library include only what the picture allows") {
  // docs/architecture.md, "Who may know whom".
  const std::map<std::string, std::set<std::string>> allowed = {
      {"core", {"core"}},
      {"framing", {"core", "framing"}},
      {"label", {"core", "label"}},
      {"filesystem", {"core", "filesystem"}},
      {"boot", {"core", "label", "filesystem", "boot"}},
      {"machine", {"core", "label", "boot", "machine"}},
      {"files", {"core", "files"}},
      {"survey", {"core", "machine", "survey"}},
      {"plan", {"core", "plan"}},
      {"job", {"core", "machine", "framing", "survey", "files", "plan", "job"}},
      {"report", {"core", "machine", "framing", "survey", "files", "plan", "job", "report"}},
  };
  const std::filesystem::path lib = std::filesystem::path(PLATTER_FIXTURES).parent_path() / "lib";
  std::size_t seen = 0;
  for (const auto& entry : std::filesystem::recursive_directory_iterator(lib)) {
    const std::string folder = entry.path().parent_path().filename().string();
    if (!entry.is_regular_file() || !allowed.contains(folder)) continue;
    std::ifstream file(entry.path());
    std::string line;
    while (std::getline(file, line)) {
      if (line.rfind("#include \"", 0) != 0) continue;
      const std::string name = line.substr(10, line.find('"', 10) - 10);
      const std::size_t slash = name.find('/');
      if (slash == std::string::npos) continue;  // the registry itself
      CAPTURE(entry.path().string(), line);
      CHECK(allowed.at(folder).contains(name.substr(0, slash)));
      ++seen;
    }
  }
  CHECK(seen > 50);
}

}  // namespace
}  // namespace platter
