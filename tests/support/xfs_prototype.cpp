#include "support/xfs_prototype.h"

#include <sys/stat.h>
#include <sys/sysmacros.h>

#include <algorithm>
#include <filesystem>
#include <vector>

#include <fmt/format.h>

namespace platter::test {
namespace {

namespace fs = std::filesystem;

char letter_of(mode_t mode) {
  switch (mode & S_IFMT) {
    case S_IFDIR:
      return 'd';
    case S_IFLNK:
      return 'l';
    case S_IFBLK:
      return 'b';
    case S_IFCHR:
      return 'c';
    case S_IFIFO:
      return 'p';
    default:
      return '-';
  }
}

// "-ug644 UID GID": type, set-user, set-group, permissions, owners.
std::string attributes_of(const struct stat& about) {
  return fmt::format("{}{}{}{:03o} {} {}", letter_of(about.st_mode),
                     (about.st_mode & S_ISUID) != 0 ? 'u' : '-',
                     (about.st_mode & S_ISGID) != 0 ? 'g' : '-', about.st_mode & 0777U,
                     about.st_uid, about.st_gid);
}

void add(const fs::path& directory, std::string& text) {
  std::vector<fs::path> paths;
  for (const auto& entry : fs::directory_iterator(directory))
    paths.push_back(entry.path());
  std::ranges::sort(paths);
  for (const fs::path& path : paths) {
    const std::string name = path.filename().string();
    struct stat about = {};
    if (name.find(' ') != std::string::npos || lstat(path.c_str(), &about) != 0) continue;
    text += name + " " + attributes_of(about);
    if (S_ISDIR(about.st_mode)) {
      text += "\n";
      add(path, text);
      text += "$";
    } else if (S_ISLNK(about.st_mode)) {
      text += " " + fs::read_symlink(path).string();
    } else if (S_ISREG(about.st_mode)) {
      text += " " + path.string();
    } else if (S_ISCHR(about.st_mode) || S_ISBLK(about.st_mode)) {
      text += fmt::format(" {} {}", major(about.st_rdev), minor(about.st_rdev));
    }
    text += "\n";
  }
}

}  // namespace

std::string xfs_prototype(const std::string& directory) {
  // No boot file; sizes are the volume's.
  std::string text = "-\n0 0\nd--755 0 0\n";
  add(directory, text);
  return text + "$\n";
}

}  // namespace platter::test
