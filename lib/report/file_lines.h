// Lists of files, one line each, for words and for JSON Lines. Written as they are found: a volume
// of a million files must not be held in memory.
#pragma once

#include <cstdint>
#include <ostream>
#include <string>
#include <string_view>
#include <vector>

#include "files/selection.h"
#include "files/walk.h"
#include "job/volumes.h"
#include "report/line_buffer.h"
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

  /// Lists what is selected in a volume, with a heading when `headed`. Stops when the stream takes
  /// no more.
  /// \param findings takes what the volume and the walk have to report
  void list(const OpenVolume& volume, bool headed, Selection& selection,
            std::vector<Finding>& findings);
  /// Hands everything on to the stream.
  void flush() { buffer_.flush(); }

 private:
  class Second;  // the same in another thread

  // JSON for attributes that neighbours share, and what it was made from.
  struct OwnerWords {
    struct Key {
      std::optional<std::uint32_t> mode;
      std::optional<std::uint32_t> uid;
      std::optional<std::uint32_t> gid;
      std::optional<std::uint32_t> links;
      std::optional<Timestamp> modified;
      friend bool operator==(const Key&, const Key&) = default;
    };
    Key key;
    std::string words;
  };

  void begin(const OpenVolume& volume, bool headed);
  void add(const FileVisit& file);
  void add_json(const FileVisit& file);
  void add_words(const FileVisit& file);
  void add_target(const FileVisit& file);
  void add_extents(const Entry& entry);
  std::string_view owner_words(const Attributes& attributes);

  std::ostream& out_;
  LineBuffer buffer_;
  FileListing listing_;
  bool details_;
  const TextStyle& style_;
  const OpenVolume* volume_ = nullptr;
  std::string json_start_;  // of every line: the layer's id
  OwnerWords owner_;
  bool first_ = true;
};

/// "drwxr-xr-x" as POSIX ls writes it; without permissions only the letter of the type.
[[nodiscard]] std::string mode_words(const Attributes& attributes);

}  // namespace platter
