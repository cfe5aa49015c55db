// Walking the tree of a volume.
#pragma once

#include <cstdint>
#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "core/function_ref.h"
#include "core/volume.h"

namespace platter {

/// One file on a walk. Everything lives as long as the visit.
struct FileVisit {
  const Entry& entry;
  std::string_view path;  ///< decoded to UTF-8, parts joined by '/', without one at the start
  std::string_view name;  ///< the last part of `path`
  /// Where a part is no text in its character set, `path` has it percent-escaped and this has its
  /// bytes; equal to `path` otherwise.
  std::string_view raw_path;
  bool exact = true;  ///< whether the two are equal
  /// Whether `path` is printable ASCII without quotes and backslashes: it needs no escaping
  /// anywhere.
  bool plain = true;
  std::uint32_t depth = 0;  ///< directories above it
  const Attributes& attributes;
};

enum class Step : std::uint8_t {
  go_on,
  skip,  ///< do not enter this directory
  stop,
};

enum class WalkOrder : std::uint8_t {
  /// All names of a directory in the order of the disk, then what its subdirectories hold. Memory
  /// grows with the directories that wait to be entered, never with the files.
  by_directory,
  /// Each directory is followed by what it holds. For each level some ten thousands of names are
  /// kept
  /// at most; a directory with more of them behind a subdirectory is read several times.
  nested,
  /// The files of a directory, then each of its subdirectories followed by what that holds. Memory
  /// as by_directory.
  files_first,
};

struct WalkResult {
  std::uint64_t files = 0;        ///< everything that is no directory
  std::uint64_t directories = 0;  ///< without the top
  bool stopped = false;
};

/// Visits everything below `top`. A directory is entered once; one that leads back to itself is a
/// finding (`directory-loop`, a fault) and is not entered again. Depth is limited.
/// \param top_path  decoded path of `top`, put in front of every path
/// \param findings  takes what the volume and the walk have to report
WalkResult walk(Volume& volume, NodeId top, std::string_view top_path,
                FunctionRef<Step(const FileVisit&)> visit, std::vector<Finding>& findings,
                WalkOrder order = WalkOrder::by_directory);

/// Makes text of files in a second thread, through a volume of its own.
class SecondReader {
 public:
  SecondReader() = default;
  SecondReader(const SecondReader&) = delete;
  SecondReader& operator=(const SecondReader&) = delete;
  virtual ~SecondReader() = default;

  [[nodiscard]] virtual Volume& volume() = 0;
  /// Appends what is to be said of a file; returns about how many bytes wait to be taken.
  virtual std::size_t add(const FileVisit& file) = 0;
  /// What was made since the last time.
  /// \param spare a string whose memory may be used for what comes
  [[nodiscard]] virtual std::string take_text(std::string spare) = 0;
};

/// So many files make a second thread worth its start.
inline constexpr std::uint64_t kFilesAlone = 1000;

/// Walks everything in a volume by_directory and makes text of it. When there are many files, a
/// second thread reads some of the directories. Text and findings are the same, and in the same
/// order, as without it.
/// \param visit  makes the text of a file; has to say go_on unless the walk should end
/// \param put    takes the text of a directory that the second thread read, in its place
/// \param second opens the volume once more, in the other thread; null when that cannot be
/// \param alone  files that are visited before the other thread is started
WalkResult walk_to_text(Volume& volume, FunctionRef<Step(const FileVisit&)> visit,
                        FunctionRef<Step(std::string_view)> put,
                        std::function<std::unique_ptr<SecondReader>()> second,
                        std::vector<Finding>& findings, std::uint64_t alone = kFilesAlone);

/// The place of a name in the tree.
struct FoundPath {
  NodeId node = 0;
  std::uint64_t place = 0;  ///< image byte of the entry
  std::string path;         ///< decoded, as walk() gives it
  std::string raw_path;     ///< as FileVisit has it
  bool exact = true;        ///< whether the two are equal
  std::string name;         ///< the last part, as on the disk
  Charset charset = Charset::ascii;
};

/// Follows a decoded path ("usr/bin/ls"; '/' in front or behind is allowed) from the root. Symbolic
/// links are not followed.
[[nodiscard]] std::optional<FoundPath> find_path(Volume& volume, std::string_view path);

/// The same below a place that was found.
WalkResult walk(Volume& volume, const FoundPath& top, FunctionRef<Step(const FileVisit&)> visit,
                std::vector<Finding>& findings, WalkOrder order);

/// Whether a name from a disk cannot be the name of a file here: empty, ".", "..", with '/' or NUL.
[[nodiscard]] bool is_unusable_name(std::string_view name) noexcept;

}  // namespace platter
