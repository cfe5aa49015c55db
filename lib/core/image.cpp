#include "core/image.h"

#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

#include <array>
#include <cerrno>
#include <cstdlib>
#include <optional>
#include <system_error>
#include <vector>

#include <fmt/format.h>

#include "core/descriptor.h"
#include "core/packed.h"

namespace platter {
namespace {

std::string system_reason() {
  return std::generic_category().message(errno);
}

// What cannot be seeked is stored first; the limit guards the temporary space.
std::shared_ptr<const ByteSource> spool(int input, const std::string& name, std::uint64_t limit) {
  Descriptor file = unnamed_temporary_file();
  std::vector<char> buffer(std::size_t{1} << 20U);
  std::uint64_t total = 0;
  while (true) {
    const ssize_t got = ::read(input, buffer.data(), buffer.size());
    if (got == 0) break;
    if (got < 0) {
      if (errno == EINTR) continue;
      throw IoError(name, total, 0, system_reason());
    }
    if (static_cast<std::uint64_t>(got) > limit - total) {
      throw IoError(name, total, 0,
                    fmt::format("is longer than {} bytes; raise --spool-limit if there is room for "
                                "it in the directory for temporary files",
                                limit));
    }
    for (ssize_t done = 0; done < got;) {
      const ssize_t wrote =
          ::write(file.get(), buffer.data() + done, static_cast<std::size_t>(got - done));
      if (wrote < 0) throw IoError(name, total, 0, "cannot be stored: " + system_reason());
      done += wrote;
    }
    total += static_cast<std::uint64_t>(got);
  }
  return map_descriptor(file.release(), name);
}

std::shared_ptr<const ByteSource> open_bytes(const std::string& path, const OpenOptions& options) {
  struct stat status {};
  if (path == "-") {
    if (fstat(STDIN_FILENO, &status) == 0 && S_ISREG(status.st_mode)) {
      const int copy = fcntl(STDIN_FILENO, F_DUPFD_CLOEXEC, 0);
      if (copy < 0) throw IoError("standard input", 0, 0, system_reason());
      return map_descriptor(copy, "standard input");
    }
    return spool(STDIN_FILENO, "standard input", options.spool_limit);
  }
  if (stat(path.c_str(), &status) != 0) throw IoError(path, 0, 0, system_reason());
  if (S_ISREG(status.st_mode)) return map_file(path);
  if (S_ISBLK(status.st_mode) || S_ISCHR(status.st_mode)) return open_device(path);
  if (S_ISFIFO(status.st_mode)) {
    return spool(open_for_reading(path).get(), path, options.spool_limit);
  }
  if (S_ISDIR(status.st_mode)) throw IoError(path, 0, 0, "is a directory");
  throw IoError(path, 0, 0, "is neither a file, a device nor a pipe");
}

bool exists(const std::string& path) {
  struct stat status {};
  return stat(path.c_str(), &status) == 0;
}

}  // namespace

Descriptor unnamed_temporary_file() {
  const char* configured = std::getenv("TMPDIR");
  const std::string directory = configured != nullptr && *configured != '\0' ? configured : "/tmp";
  const int unnamed = open(directory.c_str(), O_TMPFILE | O_RDWR | O_CLOEXEC, 0600);
  if (unnamed >= 0) return Descriptor(unnamed);
  std::string pattern = directory + "/platter-XXXXXX";  // a filesystem without O_TMPFILE
  const int named = mkostemp(pattern.data(), O_CLOEXEC);
  if (named < 0) throw IoError(directory, 0, 0, "no temporary file: " + system_reason());
  unlink(pattern.c_str());
  return Descriptor(named);
}

Image open_image(const std::string& path, const OpenOptions& options) {
  std::string file = path;
  std::optional<std::string> member;
  const std::size_t separator = path.find("::");
  if (separator != std::string::npos && !exists(path)) {
    file = path.substr(0, separator);
    member = path.substr(separator + 2);
  }

  Image image;
  image.path = path;
  image.source = open_bytes(file, options);
  image.stored_bytes = image.source->size();
  std::array<std::byte, 512> head{};
  std::size_t got = 0;
  try {
    got = image.source->read(0, head);
  } catch (const IoError&) {
    got = 0;  // an unreadable first block is the survey's finding, not a failure to open
  }
  const std::string_view kind = container_kind(std::span(head).first(got));
  if (member && kind.empty())
    throw IoError(file, 0, 0, "is no archive, so it has no member to name");
  if (!kind.empty()) {
    Unpacked unpacked = unpack(*image.source, file, member, options.spool_limit);
    if (unpacked.source) {
      image.source = unpacked.source;
      image.container = std::move(unpacked.container);
      image.member = std::move(unpacked.member);
    } else {
      image.archive_members = std::move(unpacked.members);
    }
  }
  image.bytes = image.source->size();
  return image;
}

}  // namespace platter
