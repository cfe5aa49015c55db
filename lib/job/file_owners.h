// Which files lie in given bytes of an image.
#pragma once

#include <cstdint>
#include <map>
#include <string>
#include <vector>

#include "survey/survey.h"

namespace platter {

/// Bytes [start, start + bytes) of the plain image.
struct ByteRun {
  std::uint64_t start = 0;
  std::uint64_t bytes = 0;
};

/// Answers for the runs it was made for. One walk over every volume of the survey; memory grows
/// with the runs, not with the files.
class FileOwners {
 public:
  FileOwners() = default;
  /// \param runs  ascending, without overlap
  FileOwners(const StraightSurvey& survey, const std::vector<ByteRun>& runs);

  /// "file usr/bin/ls of iso9660" for each file in one of the runs, where it starts at `start`; a
  /// few at most, "" when there is none.
  [[nodiscard]] std::string words(std::uint64_t start) const;

 private:
  struct Owned {
    std::uint64_t bytes = 0;
    std::string files;
    std::size_t count = 0;
  };
  std::map<std::uint64_t, Owned> runs_;
};

}  // namespace platter
