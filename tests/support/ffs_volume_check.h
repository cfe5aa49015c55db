// A second reading of UFS1 volumes, for checks on the FFS writer: every offset here is typed from
// the headers (4.3BSD and NetBSD sys/fs.h, fs.h, dinode.h, dir.h), nothing comes from the library.
#pragma once

#include <cstddef>
#include <cstdint>
#include <map>
#include <string>
#include <vector>

namespace platter::test {

struct FfsCheck {
  std::vector<std::string> problems;         ///< empty: every map, count and link agrees
  std::map<std::string, std::string> files;  ///< path to content; links "-> target", directories ""
  std::uint64_t used_bytes = 0;              ///< fragments of inodes, counted one by one
};

/// Walks the whole volume that starts at byte 0 of `image`.
/// \param big            byte order
/// \param typed_entries  directories of the 4.4BSD form
[[nodiscard]] FfsCheck check_ffs_volume(const std::vector<std::byte>& image, bool big,
                                        bool typed_entries);

}  // namespace platter::test
