// What the volumes for the witness kernel hold: files that break readers, as a list that every
// fixture writer can be given and that tells what must be read back.
#pragma once

#include <cstdint>
#include <map>
#include <string>
#include <vector>

#include "core/volume.h"
#include "support/tree.h"

namespace platter::test {

struct ContentPiece {
  std::uint64_t offset = 0;
  std::string text;
};

/// One name of a volume.
struct ContentItem {
  std::string path;
  NodeType type = NodeType::file;
  std::uint64_t bytes = 0;                ///< files
  std::vector<ContentPiece> pieces = {};  ///< files: zero elsewhere
  std::string target = {};                ///< symbolic links
  std::string same_as = {};               ///< a hard link: the first name; the rest is left out
  std::uint32_t mode = 0644;
  std::uint32_t uid = 0;
  std::uint32_t gid = 0;
  std::int64_t modified = 0;
  DeviceNumber device = {};
  [[nodiscard]] std::string content() const;
};

/// What a filesystem can hold.
struct ContentRecipe {
  std::vector<std::uint64_t> edges = {};       ///< files of one byte less, as many, and one more
  std::vector<std::uint64_t> far_edges = {};   ///< the same as holes with text around the edge
  std::vector<std::size_t> link_lengths = {};  ///< symbolic links
  std::size_t longest_name = 14;
  std::size_t entries = 120;     ///< names in one directory; the root when there are no others
  std::uint32_t top_id = 60000;  ///< the largest owner and group
  bool directories = true;
  bool holes = true;
  bool hard_links = true;
  bool devices = true;
  bool fifos = true;
  bool old_times = true;  ///< before 1970
};

[[nodiscard]] std::vector<ContentItem> contents(const ContentRecipe& recipe);

using Devices = std::map<std::string, DeviceNumber>;
[[nodiscard]] Tree tree_of(const std::vector<ContentItem>& items);
[[nodiscard]] Devices devices_of(const std::vector<ContentItem>& items);

}  // namespace platter::test
