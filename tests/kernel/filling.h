// How the images of the fixture writers are put together.
#pragma once

#include <string>
#include <utility>

#include "core/layout.h"
#include "kernel/giving.h"
#include "kernel/images.h"

namespace platter::test {

[[nodiscard]] inline VolumeImage volume(const std::string& name, const std::string& made_by,
                                        const std::string& format, const std::string& type,
                                        const std::string& options) {
  VolumeImage image;
  image.name = name;
  image.made_by = made_by;
  image.format = format;
  image.type = type;
  image.options = options;
  return image;
}

/// Gives the contents to the writer, and notes them.
template <typename Writer>
[[nodiscard]] VolumeImage filled(VolumeImage image, Writer&& writer, ContentItems items) {
  image.given = std::move(items);
  give(writer, *image.given);
  image.image = writer.build();
  return image;
}

[[nodiscard]] inline const char* words_of(ByteOrder order) {
  return order == ByteOrder::big      ? "big-endian"
         : order == ByteOrder::little ? "little-endian"
                                      : "PDP-11 order";
}

using Images = std::vector<VolumeImage>;
void add_efs_images(Images& images);
void add_s5_images(Images& images);
void add_v7_images(Images& images);
void add_xfs_images(Images& images);

}  // namespace platter::test
