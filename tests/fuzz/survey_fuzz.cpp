// Any bytes can be surveyed and put into words and JSON.
#include <cstddef>
#include <cstdint>

#include "report/json.h"
#include "report/text.h"
#include "survey/survey.h"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  const auto* first = reinterpret_cast<const std::byte*>(data);
  platter::Image image;
  image.path = "input";
  image.source =
      std::make_shared<platter::MemorySource>(std::vector<std::byte>(first, first + size));
  image.bytes = image.stored_bytes = size;
  const platter::Survey found = platter::survey(image);
  (void)platter::survey_json(found);
  (void)platter::survey_text(found, {});
  return 0;
}
