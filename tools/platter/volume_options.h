// What the commands that look into volumes have in common.
#pragma once

#include <string>
#include <vector>

#include "command.h"
#include "files/selection.h"
#include "job/volumes.h"

namespace platter::tool {

/// --in, --view, --charset, --ignore-case and the paths.
class VolumeChoice {
 public:
  explicit VolumeChoice(Options& options);

  std::string in;
  std::vector<std::string> paths;
  bool ignore_case = false;

  [[nodiscard]] VolumeOptions volume_options() const;
  [[nodiscard]] Selection selection() const { return {paths, ignore_case}; }

 private:
  std::string view_ = "best";
  std::string charset_;
};

/// The findings of a layer as lines on standard error, worst first; whether one is a fault.
bool tell_findings(std::vector<Finding> findings, Streams& streams);

/// Says why nothing could be listed; the exit status for it.
int tell_no_volume(const Survey& survey, const Volumes& volumes, const std::string& in,
                   Streams& streams);

/// Names the paths that nothing answered to; whether there are any.
bool tell_unanswered(const Selection& selection, Streams& streams);

/// For an archive of several files of which none was named: says so and how to name one. False for
/// every other image.
bool tell_archive(const Image& image, Streams& streams);

}  // namespace platter::tool
