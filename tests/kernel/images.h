// Images for the witness kernel: partition tables, and volumes with the tree that they hold.
#pragma once

#include <string>
#include <vector>

#include "support/tree.h"

namespace platter::test {

struct TableImage {
  std::string name;  ///< the label's format id
  std::vector<std::byte> image;
  /// The kernel's number of a slice of platter's, by the last part of its id; nullptr when the
  /// kernel counts in another way.
  int (*number)(const std::string& id) = nullptr;
};
[[nodiscard]] const std::vector<TableImage>& table_images();

struct VolumeImage {
  std::string name;
  std::string type;     ///< as mount names it
  std::string options;  ///< for mount
  std::vector<std::byte> image;
  Tree tree;  ///< what the writer was given
};
[[nodiscard]] std::vector<VolumeImage> volume_images();

}  // namespace platter::test
