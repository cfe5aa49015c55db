// The survey: everything that was found in an image.
#pragma once

#include <cstdint>
#include <memory>
#include <string>
#include <string_view>
#include <vector>

#include "core/image.h"
#include "core/layer.h"
#include "machine/machine.h"

namespace platter {

/// What the survey says about the thing that was opened.
struct ImageFacts {
  std::string path;
  std::uint64_t bytes = 0;
  std::uint64_t stored_bytes = 0;
  std::vector<std::string> container;
  std::string member;
};

struct Survey {
  ImageFacts image;
  std::vector<Layer> layers;
  std::vector<BootVerdict> boot;  ///< a row for every machine, as disk and as optical disc
  std::vector<Finding> findings;
};

/// Surveys an image: image -> framing -> label -> slice -> filesystem, then one review of the
/// finished tree. Never throws for what is on the image; bytes that cannot be read become findings.
[[nodiscard]] Survey survey(const Image& image);

/// One framing that was undone, and the bytes on both sides of it.
struct UndoneFraming {
  std::string id;  ///< of its layer
  std::shared_ptr<const ByteSource> stored;
  std::shared_ptr<const ByteSource> plain;
};

/// A survey together with the way from the image's bytes to plain ones, outermost framing first.
struct StraightSurvey {
  Survey survey;
  std::vector<UndoneFraming> framings;
  std::shared_ptr<const ByteSource> plain;  ///< what every label and filesystem counts from
};
[[nodiscard]] StraightSurvey survey_straight(const Image& image);

}  // namespace platter
