// A label's own files as a volume.
#include "job/slice_volume.h"

#include <catch2/catch.hpp>

#include "files/walk.h"

namespace platter {
namespace {

TEST_CASE("slices that are files make a volume of one directory") {
  Layer label;
  label.id = "sgi";
  label.kind = LayerKind::label;
  Layer sash;
  sash.id = "sgi/sash";
  sash.kind = LayerKind::slice;
  sash.role = SliceRole::file;
  sash.start = 4096;
  sash.bytes = 1000;
  sash.facts.set_text("name", "sash").set("created", Timestamp{5});
  Layer data = sash;
  data.id = "sgi/0";
  data.role = SliceRole::data;
  label.layers = {sash, data};
  REQUIRE(has_slices_as_files(label));
  SliceVolume volume(label);
  std::vector<Finding> findings;
  std::size_t seen = 0;
  walk(
      volume, volume.root(), "",
      [&](const FileVisit& file) {
        ++seen;
        CHECK(file.path == "sash");
        CHECK(file.attributes.bytes == 1000);
        CHECK(file.attributes.modified == Timestamp{5});
        volume.each_extent(file.entry.node, [](const Extent& extent) {
          CHECK(extent.start == 4096);
          CHECK(extent.bytes == 1000);
          return true;
        });
        return Step::go_on;
      },
      findings);
  CHECK(seen == 1);

  // The images of a boot catalog are called by their numbers.
  Layer catalog;
  catalog.id = "iso9660/el-torito";
  catalog.kind = LayerKind::boot;
  catalog.format = "el-torito";
  Layer image = catalog;
  image.id += "/2";
  image.bytes = 2048;
  catalog.layers = {image};
  SliceVolume images(catalog);
  const auto found = find_path(images, "2.img");
  REQUIRE(found);
  CHECK(images.attributes(found->node).bytes == 2048);
  CHECK_FALSE(has_slices_as_files(image));
}

}  // namespace
}  // namespace platter
