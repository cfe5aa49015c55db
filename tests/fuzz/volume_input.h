// A filesystem opened from an input.
#pragma once

#include <memory>

#include "core/view.h"
#include "core/volume.h"
#include "files/walk.h"
#include "fuzz/input.h"

namespace platter::fuzz {

/// The last byte of the input chooses among the filesystems whose files can be listed, the one
/// before how names are read and the order of the walk.
struct VolumeInput {
  explicit VolumeInput(Input& input) {
    static const std::vector<const Format*> formats = formats_of(Stage::filesystem, true);
    format = formats[input.take() % formats.size()];
    const unsigned choices = input.take();
    options.names = static_cast<NameView>(choices % 4);
    if ((choices & 4U) != 0) options.charset = static_cast<Charset>((choices >> 3U) % 6);
    order = (choices & 0x80U) != 0 ? WalkOrder::nested : WalkOrder::by_directory;
    view = View(image_from(input));
    // Only what is claimed is ever opened.
    claims = format->claims(view, {.image = view});
    for (const Claim& claim : claims)
      promise_findings(claim.findings);
    if (!claims.empty()) volume = format->open(view, options);
  }

  const Format* format;
  VolumeOptions options;
  WalkOrder order;
  View view;
  std::vector<Claim> claims;
  std::unique_ptr<Volume> volume;  ///< nullptr when there is none
};

}  // namespace platter::fuzz
