// Whatever names a volume has, a list of them is whole lines, safe for a terminal, and JSON.
#include <sstream>
#include <streambuf>

#include <nlohmann/json.hpp>

#include "fuzz/volume_input.h"
#include "report/file_lines.h"

using namespace platter;  // NOLINT(google-build-using-namespace): a program of few functions

namespace {

constexpr std::size_t kMostText = std::size_t{512} * 1024;

// Takes so much text and no more, so that a listing ends.
class Limited final : public std::streambuf {
 public:
  std::string taken;

 private:
  std::streamsize xsputn(const char* text, std::streamsize bytes) override {
    if (taken.size() >= kMostText) return 0;
    taken.append(text, static_cast<std::size_t>(bytes));
    return bytes;
  }
};

std::string listing(const OpenVolume& open, FileListing kind) {
  Limited text;
  std::ostream out(&text);
  const TextStyle style;
  FileLines lines(out, kind, true, style);
  Selection everything;
  std::vector<Finding> findings;
  lines.list(open, true, everything, findings);
  lines.flush();
  text.taken.resize(text.taken.rfind('\n') + 1);  // whole lines
  return std::move(text.taken);
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
  const OpenVolume open{&layer, opened.view, std::move(opened.volume), {}};
  promise_words(listing(open, FileListing::paths));
  promise_words(listing(open, FileListing::tree));
  std::istringstream lines(listing(open, FileListing::json));
  for (std::string line; std::getline(lines, line);) {
    fuzz::promise(nlohmann::json::accept(line), "a line is JSON");
  }
  return 0;
}
