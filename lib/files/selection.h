// The files of a volume that a person asked for.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "files/pattern.h"
#include "files/walk.h"

namespace platter {

/// Paths and patterns; a directory stands for everything below it. Without any, everything is
/// meant. A file that several of them mean is visited once.
class Selection {
 public:
  Selection() = default;
  Selection(const std::vector<std::string>& paths, bool ignore_case);

  [[nodiscard]] bool everything() const noexcept { return patterns_.empty(); }
  /// Those that no file answered to so far, in all walks with this selection.
  [[nodiscard]] std::vector<std::string> unanswered() const;

  /// Visits what is selected in a volume. Plain paths are looked up, patterns need a whole walk.
  WalkResult walk(Volume& volume, FunctionRef<Step(const FileVisit&)> visit,
                  std::vector<Finding>& findings, WalkOrder order = WalkOrder::by_directory);

 private:
  WalkResult look_up(Volume& volume, FunctionRef<Step(const FileVisit&)> visit,
                     std::vector<Finding>& findings, WalkOrder order);
  bool selects(std::string_view path);

  std::vector<Pattern> patterns_;
  std::vector<bool> answered_;
  bool only_plain_ = true;
};

}  // namespace platter
