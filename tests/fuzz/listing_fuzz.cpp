// Whatever names a volume has, a list of them is whole lines, safe for a terminal, and JSON.
#include <sstream>

#include <nlohmann/json.hpp>

#include "fuzz/volume_input.h"
#include "report/file_lines.h"

using namespace platter;  // NOLINT(google-build-using-namespace): a program of few functions

namespace {

constexpr std::uint64_t kFilesListed = 2000;

std::string listing(OpenVolume& open, WalkOrder order, FileListing kind) {
  std::ostringstream out;
  const TextStyle style;
  FileLines lines(out, kind, true, style);
  lines.begin(open, true);
  std::uint64_t files = 0;
  std::vector<Finding> findings;
  walk(
      *open.volume, open.volume->root(), "",
      [&](const FileVisit& file) {
        lines.add(file);
        return ++files < kFilesListed ? Step::go_on : Step::stop;
      },
      findings, order);
  lines.flush();
  return out.str();
}

void promise_words(const std::string& words) {
  const auto unsafe = [](char c) {
    return (static_cast<unsigned char>(c) < 0x20 && c != '\n') || c == '\x7F';
  };
  fuzz::promise(is_utf8(words), "words are UTF-8");
  fuzz::promise(std::ranges::none_of(words, unsafe), "words are safe for a terminal");
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  fuzz::Input input(data, size);
  fuzz::VolumeInput opened(input);
  if (opened.volume == nullptr) return 0;
  const Layer layer{.id = std::string(opened.format->id),
                    .format = std::string(opened.format->id),
                    .title = "volume"};
  OpenVolume open{&layer, opened.view, std::move(opened.volume)};
  promise_words(listing(open, opened.order, FileListing::paths));
  promise_words(listing(open, WalkOrder::nested, FileListing::tree));
  std::istringstream lines(listing(open, opened.order, FileListing::json));
  for (std::string line; std::getline(lines, line);) {
    fuzz::promise(nlohmann::json::accept(line), "a line is JSON");
  }
  return 0;
}
