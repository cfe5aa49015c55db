// Walking the tree of a volume.
#pragma once

#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

#include "core/function_ref.h"
#include "core/volume.h"

namespace platter {

/// One file on a walk. Everything lives as long as the visit.
struct FileVisit {
  const std::vector<std::string>& directory;  ///< names on the disk from the root down, decoded
  const Entry& entry;
  std::string_view path;  ///< decoded, parts joined by '/', without one at the start
  bool path_exact = true; ///< false: the path stands for bytes that are no text; see raw_path
  std::string_view raw_path;  ///< the same with the bytes of the disk
  const Attributes& attributes;
};

enum class Step : std::uint8_t {
  go_on,
  skip,  ///< do not enter this directory
  stop,
};

struct WalkResult {
  std::uint64_t files = 0;        ///< everything that is no directory
  std::uint64_t directories = 0;  ///< without the root
  bool stopped = false;
};

/// Visits everything below `top`: first the names in a directory, in the order of the disk, then
/// what is below its subdirectories. A directory is entered once; one that leads back to itself is a
/// finding (`directory-loop`, a fault) and is not entered again. Depth is limited.
///
/// Memory grows with the directories that wait to be entered, never with the files.
/// \param findings takes what the volume and the walk have to report
WalkResult walk(Volume& volume, NodeId top, std::string_view top_path,
                FunctionRef<Step(const FileVisit&)> visit, std::vector<Finding>& findings);

/// Follows a decoded path ("usr/bin/ls", a leading '/' is allowed) from the root. Symbolic links
/// are not followed. Returns nullopt when there is no such name.
struct Place {
  NodeId node = 0;
  std::string path;      ///< decoded, as walk() would give it
  std::string raw_path;
};
[[nodiscard]] std::optional<Place> find_path(Volume& volume, std::string_view path);

/// Whether a name from a disk cannot be a name in a directory: empty, ".", "..", or with a '/' or NUL.
[[nodiscard]] bool is_unusable_name(std::string_view name) noexcept;

}  // namespace platter
