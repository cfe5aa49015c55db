// Opening what a person names: a file, a member of an archive, a compressed stream, a device, or
// standard input.
#pragma once

#include <cstdint>
#include <memory>
#include <string>
#include <vector>

#include "core/source.h"

namespace platter {

struct OpenOptions {
  /// Most bytes that an unpacked container may take in temporary space.
  std::uint64_t spool_limit = std::uint64_t{8} << 30U;
};

/// What was opened, and how it was wrapped.
struct Image {
  std::string path;                          ///< as named
  std::uint64_t bytes = 0;                   ///< after containers are undone
  std::uint64_t stored_bytes = 0;            ///< the file as it lies there
  std::vector<std::string> container;        ///< outermost first, e.g. {"gzip"}, {"zip"}
  std::string member;                        ///< name inside the archive, when there is one
  std::vector<std::string> archive_members;  ///< when several were found and none was named
  std::shared_ptr<const ByteSource> source;
};

/// Opens `path`: "-" is standard input; "archive::member" names a file in an archive unless a file
/// of exactly that name exists; compressed files (.gz .bz2 .xz .zst .Z, told by their first bytes)
/// and archives with one file are unpacked on the way. An archive with several files and no member
/// named is opened as the file it is, with the names in `archive_members`.
/// Throws IoError: not there, not readable, damaged container, larger than the spool limit.
[[nodiscard]] Image open_image(const std::string& path, const OpenOptions& options = {});

}  // namespace platter
