// FFS and UFS2 volumes of every dialect for tests, and what must be found on them.
#pragma once

#include <string>
#include <vector>

#include "support/tree.h"
#include "writers/ffs_writer.h"

namespace platter::test {

/// One way to write a volume.
struct FfsCase {
  std::string name;
  fixtures::FfsOptions options;
  [[nodiscard]] const char* format() const {
    return options.style == fixtures::FfsStyle::ufs2 ? "ufs2" : "ffs";
  }
};

/// Every dialect in every byte order that it has, with blocks of 4096 bytes.
[[nodiscard]] std::vector<FfsCase> ffs_cases();

/// A volume with files of every kind, and the tree that must be found on it.
struct FfsSample {
  std::vector<std::byte> image;
  Tree tree;
};
[[nodiscard]] FfsSample ffs_sample(const FfsCase& its_case);

/// Text that no two places share by chance.
[[nodiscard]] std::string ffs_text(std::size_t bytes, unsigned seed);

}  // namespace platter::test
