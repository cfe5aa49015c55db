// Whether somebody else has a card.
#pragma once

#include <string>
#include <vector>

namespace platter::plan {

/// Where the system tells about itself; tests point these at folders of their own.
struct SystemFolders {
  std::string proc = "/proc";
  std::string sys = "/sys";
};

/// A device by the numbers that the system gives it.
struct DeviceNumber {
  unsigned major = 0;
  unsigned minor = 0;
  friend bool operator==(const DeviceNumber&, const DeviceNumber&) = default;
};

/// Every reason not to write to a block device: it, or one of its partitions, is mounted, is swap,
/// or is held by another device (a mapped or a mirrored one). Empty when there is none. Each reason
/// starts lower-case and has no stop. What the system does not tell counts as no reason; opening
/// the device exclusively is the last word.
[[nodiscard]] std::vector<std::string> reasons_in_use(DeviceNumber device,
                                                      const SystemFolders& folders = {});

/// The same for a path: of a block device as above, of a regular file when a loop device stands on
/// it, with the reasons of that device. Nothing for a path that does not exist.
[[nodiscard]] std::vector<std::string> reasons_in_use(const std::string& path,
                                                      const SystemFolders& folders = {});

}  // namespace platter::plan
