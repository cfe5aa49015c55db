// What a listing lacks because the image ends too early.
#pragma once

#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

#include "core/view.h"
#include "core/volume.h"
#include "files/walk.h"

namespace platter {

/// Looks at the files of a volume that reaches past the end of its image: names are missing where a
/// directory lies behind the end, and nothing is known of a file whose record does. On a volume
/// that is whole it does nothing.
class CutWatch {
 public:
  /// \param claimed_bytes  of the volume, from the start of the view on
  CutWatch(Volume& volume, const View& view, std::uint64_t claimed_bytes);

  [[nodiscard]] bool is_cut() const noexcept { return is_cut_; }
  /// Takes each file of a walk.
  void look(const FileVisit& file) {
    if (is_cut_) look_closely(file);
  }
  /// Faults: directories of which bytes are missing, and how many names lead nowhere.
  void tell(std::vector<Finding>& findings);

 private:
  void look_closely(const FileVisit& file);
  void look_at_directory(NodeId node, std::uint64_t bytes, std::uint64_t place,
                         std::string_view path);

  Volume& volume_;
  const View& view_;
  bool is_cut_;
  std::vector<Finding> directories_;
  std::uint64_t more_directories_ = 0;
  std::uint64_t without_record_ = 0;
  std::uint64_t first_place_ = 0;
  std::string first_name_;
};

}  // namespace platter
