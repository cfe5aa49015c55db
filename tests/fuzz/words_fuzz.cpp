// What a person types: sizes, extents, geometries, registers, and patterns of paths.
// The first line is a pattern or a number, what follows is a path.
#include "files/pattern.h"
#include "fuzz/input.h"
#include "plan/capacity.h"
#include "plan/geometry.h"
#include "plan/size.h"

using namespace platter;  // NOLINT(google-build-using-namespace): a program of one function

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  const fuzz::Input input(data, size);
  const std::string_view text = input.text();
  const std::size_t end = std::min(text.find('\n'), text.size());
  const std::string_view first = text.substr(0, end);
  const std::string_view rest = text.substr(std::min(end + 1, text.size()));

  for (const bool ignore_case : {false, true}) {
    const Pattern pattern(first, ignore_case);
    const bool matches = pattern.matches(rest);
    fuzz::promise(matches == pattern.matches(rest), "a pattern keeps its mind");
    if (!pattern.is_pattern()) {
      fuzz::promise(pattern.matches(pattern.text()), "a plain path is itself");
    }
  }

  const auto bytes = plan::parse_size(first);
  fuzz::promise(bytes || !bytes.error.empty(), "a refusal has a reason");
  if (bytes) (void)plan::readable_size(*bytes.value);
  const auto extent = plan::parse_extent(first);
  fuzz::promise(!extent || (extent.value->bytes != 0 &&
                            extent.value->start + extent.value->bytes > extent.value->start),
                "an extent is not empty and ends");
  const auto geometry = plan::parse_geometry(first);
  fuzz::promise(!geometry || geometry.value->blocks() != 0, "a geometry has blocks");
  (void)plan::card_bytes_of_csd_text(first);
  return 0;
}
