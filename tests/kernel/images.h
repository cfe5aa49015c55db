// Images for the witness kernel: partition tables, and volumes with the tree that they hold.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "core/volume.h"
#include "kernel/contents.h"
#include "support/tree.h"

namespace platter::test {

struct TableImage {
  std::string name;  ///< the label's format id; of the inner one when there are two
  std::vector<std::byte> image;
  /// The kernel's number of a slice of platter's, by the last part of its id; nullptr when the
  /// kernel counts in another way.
  int (*number)(const std::string& id) = nullptr;
  /// The label that is looked into; "": the one called `name`. The slices of the labels inside it
  /// count as well, but for those that span the disk or are unused: the kernel drops them.
  std::string outer = {};
};
[[nodiscard]] const std::vector<TableImage>& table_images();

/// What a listing tells.
struct Listing {
  Tree tree;
  Devices devices;
  friend bool operator==(const Listing&, const Listing&) = default;
};

/// Something that a driver shows in its own way. `apply` makes a listing of platter's or of
/// the writer look so. It must change something, or there is nothing to explain.
struct DriverHabit {
  void (*apply)(Listing& listing);
  std::string words;  ///< for the evidence page
  /// How kernel messages begin that come with it, behind the driver's and the disk's name.
  std::string warning = {};
  /// Takes out of the driver's own listing what only the driver shows.
  void (*undo)(Listing& listing) = nullptr;
};

struct VolumeImage {
  std::string name;     ///< letters, digits and '-'; at most 19 of them
  std::string made_by;  ///< for the evidence page
  std::string format;   ///< platter's format id
  std::string type;     ///< as mount names it
  std::string options;  ///< for mount
  std::vector<std::byte> image;
  /// What the writer was given; stock makers: nothing.
  std::optional<std::vector<ContentItem>> given = {};
  /// What the filesystem keeps at all; a driver makes the rest up.
  TreeView kept = {};
  NameView names = NameView::best;
  std::vector<DriverHabit> habits = {};
  /// How the kernel message begins in which the driver tells what it took the volume for; "" when
  /// the driver is silent.
  std::string announced = {};
  bool given_names = true;  ///< false: the filesystem shows other names than the writer was given
  /// Where the volume fills a slice of the image: the slice's layer, the kernel's number of the
  /// partition, and the disk's name, which several volumes share.
  std::string slice = {};
  int number = 0;
  std::string disk = {};
};

/// Volumes of the fixture writers.
[[nodiscard]] std::vector<VolumeImage> written_images();
/// Volumes of makers that share no code with platter, from one tree.
[[nodiscard]] std::vector<VolumeImage> maker_images();
/// Volumes in slices; each has the whole disk for its image.
[[nodiscard]] std::vector<VolumeImage> slice_images();

}  // namespace platter::test
