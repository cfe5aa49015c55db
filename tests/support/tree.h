// Trees of files, for comparing what a volume shows with where it came from.
#pragma once

#include <cstdint>
#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "core/view.h"
#include "core/volume.h"
#include "formats.h"

namespace platter::test {

/// What a test compares of one file.
struct TreeFile {
  std::string type;         ///< words of the JSON key `type`
  std::uint64_t bytes = 0;  ///< directories: 0, because every filesystem counts them in its own way
  std::optional<std::uint32_t> mode;
  std::optional<std::uint32_t> uid;
  std::optional<std::uint32_t> gid;
  std::optional<std::uint32_t> links;  ///< directories: absent
  std::optional<std::int64_t> modified;
  std::string target;  ///< symbolic links
  std::string sha256;  ///< regular files
  friend bool operator==(const TreeFile&, const TreeFile&) = default;
};

/// By path, without the root.
using Tree = std::map<std::string, TreeFile>;

/// Opens the volume of that format at the start of the view; fails the test when there is none.
[[nodiscard]] std::unique_ptr<Volume> open_volume(std::string_view format, const View& view,
                                                  const VolumeOptions& options = {});

/// Everything in a volume, read with platter. `findings` takes what was reported; when it is null,
/// a report fails the test. Holes count as zeros; a file with a missing run has sha256 "missing".
[[nodiscard]] Tree tree_of_volume(Volume& volume, const View& view,
                                  std::vector<Finding>* findings = nullptr);

/// Everything below a directory of this machine, read through the kernel.
[[nodiscard]] Tree tree_of_directory(const std::string& path);

/// Takes what a filesystem cannot hold out of a tree before it is compared.
struct TreeView {
  bool modes = true;
  bool ids = true;
  bool links = true;
  bool times = true;
  std::int64_t time_step = 1;  ///< times are rounded down to multiples of it (FAT: 2)
};
[[nodiscard]] Tree seen_as(Tree tree, const TreeView& view);

/// One line for each difference, "" when the trees are equal: for CHECK(differences(a, b) == "").
[[nodiscard]] std::string differences(const Tree& ours, const Tree& theirs);

/// Makes a tree that breaks readers below `path`: empty and one-byte files, sizes around `unit` and
/// every level of indirection up to `largest` bytes, holes at both ends, long names, many entries,
/// links of both kinds, set-uid bits, old and late times. Everything is the same on each call.
struct TreeRecipe {
  std::uint64_t unit = 1024;            ///< the fragment or cluster; sizes around it and 8 of it
  std::uint64_t largest = 1024 * 1024;  ///< size of the largest file
  std::size_t entries = 200;            ///< names in one directory
  std::size_t longest_name = 200;
  bool symlinks = true;
  bool hard_links = true;
  bool holes = true;
  bool upper_case = false;  ///< names of 8.3 upper-case characters only
};
void make_tree(const std::string& path, const TreeRecipe& recipe);

}  // namespace platter::test
