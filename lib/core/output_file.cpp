#include "core/output_file.h"

#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cerrno>
#include <cstdio>
#include <cstdlib>
#include <system_error>

#include "core/source.h"

namespace platter {
namespace {

std::string system_reason() {
  return std::generic_category().message(errno);
}

// The file that an image's bytes come from; false when there is none to overwrite.
bool image_status(const std::string& image, struct stat& status) {
  if (image == "-") return fstat(STDIN_FILENO, &status) == 0;
  if (stat(image.c_str(), &status) == 0) return true;
  const std::size_t separator = image.find("::");
  return separator != std::string::npos && stat(image.substr(0, separator).c_str(), &status) == 0;
}

std::string directory_of(const std::string& path) {
  const std::size_t slash = path.find_last_of('/');
  if (slash == std::string::npos) return ".";
  return slash == 0 ? "/" : path.substr(0, slash);
}

mode_t permissions_for_new_files() {
  const mode_t mask = umask(0);
  umask(mask);
  return 0666 & ~mask;
}

}  // namespace

OutputFile::OutputFile(const std::string& path, bool force, const std::string& image)
    : path_(path), force_(force) {
  struct stat own {};
  struct stat input {};
  if (stat(path.c_str(), &own) == 0) {
    if (image_status(image, input) && own.st_dev == input.st_dev && own.st_ino == input.st_ino) {
      throw IoError(path, 0, 0, "is the image itself, which is never overwritten");
    }
    if (!S_ISREG(own.st_mode)) throw IoError(path, 0, 0, "is there already and is no plain file");
    if (!force) throw IoError(path, 0, 0, "is there already; --force replaces it");
  }
  temporary_ = directory_of(path) + "/.platter-XXXXXX";
  descriptor_ = Descriptor(mkostemp(temporary_.data(), O_CLOEXEC));
  if (descriptor_.get() < 0) {
    temporary_.clear();
    throw IoError(path, 0, 0, "cannot be made: " + system_reason());
  }
  fchmod(descriptor_.get(), permissions_for_new_files());
}

OutputFile::~OutputFile() {
  if (!temporary_.empty()) unlink(temporary_.c_str());
}

void OutputFile::fail(std::uint64_t offset, std::uint64_t bytes) const {
  throw IoError(path_, offset, bytes, "cannot be written: " + system_reason());
}

void OutputFile::write(std::uint64_t offset, std::span<const std::byte> bytes) const {
  while (!bytes.empty()) {
    const ssize_t wrote =
        pwrite(descriptor_.get(), bytes.data(), bytes.size(), static_cast<off_t>(offset));
    if (wrote < 0) {
      if (errno == EINTR) continue;
      fail(offset, bytes.size());
    }
    offset += static_cast<std::uint64_t>(wrote);
    bytes = bytes.subspan(static_cast<std::size_t>(wrote));
  }
}

void OutputFile::finish(std::uint64_t bytes) {
  if (ftruncate(descriptor_.get(), static_cast<off_t>(bytes)) != 0) fail(0, bytes);
  // Some systems report a full disk only now.
  if (close(descriptor_.release()) != 0) fail(0, bytes);
  // Without leave to replace, a file that appeared meanwhile must stay: link() refuses then.
  if (!force_) {
    if (link(temporary_.c_str(), path_.c_str()) == 0)
      return;  // the destructor drops the other name
    if (errno == EEXIST) throw IoError(path_, 0, 0, "appeared meanwhile; --force replaces it");
  }
  if (rename(temporary_.c_str(), path_.c_str()) != 0) fail(0, bytes);
  temporary_.clear();
}

void write_whole_file(const std::string& path, std::string_view content) {
  OutputFile file(path, true, {});
  file.write(0, std::as_bytes(std::span(content)));
  file.finish(content.size());
}

}  // namespace platter
