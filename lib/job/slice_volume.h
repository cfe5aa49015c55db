// Directories that are no filesystems: a label's own files, and the images of a boot catalog.
#pragma once

#include <string>
#include <vector>

#include "core/layer.h"
#include "core/volume.h"

namespace platter {

/// Whether a layer has such a directory: a LIF volume, an SGI volume header, a boot catalog.
[[nodiscard]] bool has_slices_as_files(const Layer& layer) noexcept;

/// The slices of a layer that are files, as a volume with one directory. Boot images are called by
/// their number and ".img".
class SliceVolume final : public Volume {
 public:
  /// \param layer has to live as long
  explicit SliceVolume(const Layer& layer);

  [[nodiscard]] NodeId root() const override { return 0; }
  [[nodiscard]] Attributes attributes(NodeId node) override;
  void each_entry(NodeId directory, FunctionRef<bool(const Entry&)> visit) override;
  void each_extent(NodeId node, FunctionRef<bool(const Extent&)> visit) override;
  [[nodiscard]] std::string link_target(NodeId /*node*/) override { return {}; }
  [[nodiscard]] bool counts_names() const override { return false; }

 private:
  struct File {
    const Layer* slice;
    std::string name;
    Charset charset;
  };
  std::vector<File> files_;  // node n is files_[n - 1]
};

}  // namespace platter
