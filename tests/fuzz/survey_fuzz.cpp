// Any bytes can be surveyed and put into words and JSON, and what looks like a volume can be
// walked.
#include <cstddef>
#include <cstdint>

#include "files/check.h"
#include "job/volumes.h"
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
  const platter::StraightSurvey straight = platter::survey_straight(image);
  const platter::Survey& found = straight.survey;
  (void)platter::survey_json(found);
  (void)platter::survey_text(found, {});
  for (platter::OpenVolume& open : platter::open_volumes(straight, "", {}).open) {
    (void)platter::check_volume(*open.volume, open.view);
  }
  return 0;
}
