// A file that is written: under its final name only when it is complete.
#pragma once

#include <sys/types.h>

#include <cstddef>
#include <cstdint>
#include <span>
#include <string>
#include <string_view>

#include "core/descriptor.h"

namespace platter {

/// Writes under a temporary name in the directory of the file and renames at the end. Whatever ends
/// the work earlier (an exception, an interruption that is watched for) removes the temporary file.
class OutputFile {
 public:
  /// Throws IoError: the file exists and `force` is not set, it is the image itself (even with
  /// `force`) or no plain file, or its directory cannot be written to.
  /// \param image  the path that the image was opened by, archive::member too
  OutputFile(const std::string& path, bool force, const std::string& image);
  OutputFile(const OutputFile&) = delete;
  OutputFile& operator=(const OutputFile&) = delete;
  ~OutputFile();

  /// Safe to call from several threads. Throws IoError.
  void write(std::uint64_t offset, std::span<const std::byte> bytes) const;
  /// Gives the file its length and its name. Throws IoError.
  void finish(std::uint64_t bytes);

  [[nodiscard]] const std::string& path() const noexcept { return path_; }

 private:
  [[noreturn]] void fail(std::uint64_t offset, std::uint64_t bytes) const;

  std::string path_;
  std::string temporary_;
  bool force_;
  Descriptor descriptor_;
};

/// Writes a whole file at once, replacing what is there. Throws IoError.
void write_whole_file(const std::string& path, std::string_view content);

}  // namespace platter
