// A second reading of S5, Xenix, Coherent, V7 and V6 volumes, for checks on their reader and
// writer. Every offset here is typed from the headers (Linux sysv_fs.h, NetBSD v7fs.h, 6th Edition
// manual, section V); nothing comes from the library's filesystem code. It goes the other way
// round: inodes are scanned in a row, every block of a file is computed from its number, and free
// blocks are taken one by one as a kernel allocates them.
#pragma once

#include <cstddef>
#include <string>
#include <vector>

#include "support/tree.h"

namespace platter::test {

enum class OldKind { release4, release2, xenix, coherent, v7, v6 };
enum class OldOrder { little, big, pdp };

struct OldUnixCheck {
  std::vector<std::string> problems;  ///< empty: every block, count and link agrees
  Tree files;
  std::size_t free_blocks = 0;
  std::size_t used_blocks = 0;  ///< of files, indirect blocks included
};

/// \param block_bytes of S5 and Xenix; the others have 512
[[nodiscard]] OldUnixCheck check_old_unix_volume(const std::vector<std::byte>& image, OldKind kind,
                                                 OldOrder order, std::size_t block_bytes);

struct EfsCheck {
  std::vector<std::string> problems;
  Tree files;
  std::size_t free_blocks = 0;
};
/// The same for Extent File System volumes, from the offsets of NetBSD sys/fs/efs.
[[nodiscard]] EfsCheck check_efs_volume(const std::vector<std::byte>& image);

}  // namespace platter::test
