// Lists of files, one line each, for words and for JSON Lines. Written as they are found: a volume of
// a million files must not be held in memory.
#pragma once

#include <cstdint>
#include <ostream>
#include <string>
#include <string_view>

#include "files/walk.h"
#include "job/volumes.h"
#include "report/text.h"

namespace platter {

enum class FileListing : std::uint8_t {
  paths,  ///< whole paths
  tree,   ///< names, indented below their directory
  json,   ///< JSON Lines as docs/json.md tells
};

class FileLines {
 public:
  /// \param details  type, mode, owner, size and time in front (words only)
  FileLines(std::ostream& out, FileListing listing, bool details, const TextStyle& style);
  FileLines(const FileLines&) = delete;
  FileLines& operator=(const FileLines&) = delete;
  ~FileLines();

  /// The volume that the next files are from, with a heading when `headed`.
  void begin(const OpenVolume& volume, bool headed);
  void add(const FileVisit& file);
  /// Hands everything on to the stream.
  void flush();

 private:
  void add_json(const FileVisit& file);
  void add_words(const FileVisit& file);
  void add_extents(NodeId node);

  std::ostream& out_;
  FileListing listing_;
  bool details_;
  const TextStyle& style_;
  const OpenVolume* volume_ = nullptr;
  std::string json_start_;  // of every line: the layer's id
  std::string buffer_;
  bool first_ = true;
};

/// "drwxr-xr-x" as POSIX ls writes it; without permissions only the letter of the type.
[[nodiscard]] std::string mode_words(const Attributes& attributes);

}  // namespace platter
