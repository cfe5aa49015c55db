// The volumes of a survey, opened.
#pragma once

#include <functional>
#include <memory>
#include <string>
#include <string_view>
#include <vector>

#include "core/view.h"
#include "core/volume.h"
#include "survey/survey.h"

namespace platter {

/// One filesystem (or directory of a label) whose files can be listed.
struct OpenVolume {
  const Layer* layer = nullptr;  ///< of the survey, which has to live as long
  View view;                     ///< what it was opened on; extents lie in here
  std::unique_ptr<Volume> volume;
  /// Opens the same once more, for another thread; empty where that is not worth anything.
  std::function<std::unique_ptr<Volume>()> open_again;
};

struct Volumes {
  std::vector<OpenVolume> open;  ///< in the order of the survey
  std::vector<const Layer*>
      not_listed;  ///< filesystems that are recognised only, or that would not open
};

/// Opens every filesystem, and every label that has files of its own, at or below the layer `in`;
/// all of them when it is empty. A boot catalog is opened when `in` names it: its images are the
/// files. \throws std::invalid_argument when the survey has no layer of that name
[[nodiscard]] Volumes open_volumes(const StraightSurvey& survey, std::string_view in,
                                   const VolumeOptions& options);

}  // namespace platter
