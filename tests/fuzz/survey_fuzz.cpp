// Any bytes can be surveyed, judged and put into words and JSON.
#include <set>

#include <nlohmann/json.hpp>

#include "fuzz/input.h"
#include "job/boot_job.h"
#include "job/card_job.h"
#include "job/fit.h"
#include "report/boot_text.h"
#include "report/json.h"
#include "report/text.h"
#include "survey/survey.h"

using namespace platter;  // NOLINT(google-build-using-namespace): a program of one function

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  fuzz::Input input(data, size);
  Image image;
  image.path = "input";
  image.source = fuzz::image_from(input);
  image.bytes = image.stored_bytes = image.source->size();
  const Survey found = survey(image);

  std::set<std::string> ids;
  for_each_layer(found.layers, [&](const Layer& layer) {
    fuzz::promise(ids.insert(layer.id).second, "a layer's id is its own");
  });
  fuzz::promise(ids.size() <= 4096, "few layers");
  fuzz::promise(found.findings.size() <= 20'000, "few findings");
  fuzz::promise_findings(found.findings);
  fuzz::promise(nlohmann::json::accept(survey_json(found)), "a survey is JSON");
  const std::string words = survey_text(found, {});
  fuzz::promise(std::ranges::none_of(words, [](char c) { return c == '\x1B' || c == '\0'; }),
                "words are safe for a terminal");
  (void)fit_text(found, fit(found, 0, image.bytes / 2), {});
  (void)boot_report(found, {});
  (void)known_image(found);
  return 0;
}
