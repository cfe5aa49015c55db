// What mkfs.xfs is to put into the volumes that it makes.
#pragma once

#include <string>

namespace platter::test {

/// A prototype file for mkfs.xfs -p with everything below a directory of this machine, in the form
/// that the manual page mkfs.xfs(8) describes. Names with blanks cannot stand in one and are left
/// out; each name of a hard link becomes a file of its own; times are those of the making.
[[nodiscard]] std::string xfs_prototype(const std::string& directory);

}  // namespace platter::test
