// Where files are taken out to.
#pragma once

#include <cstdint>
#include <functional>
#include <memory>
#include <stdexcept>
#include <string>
#include <vector>

#include "core/view.h"
#include "core/volume.h"
#include "files/content.h"
#include "files/walk.h"

namespace platter {

/// What was taken out so far.
struct TakenOut {
  std::uint64_t files = 0;
  std::uint64_t directories = 0;
  std::uint64_t links = 0;   ///< symbolic ones, and further names of a file
  std::uint64_t others = 0;  ///< devices, pipes, sockets
  std::uint64_t left_out = 0;
  std::uint64_t bytes = 0;  ///< of content
};

/// Thrown when the person wants to stop; what was being written is gone.
class Interrupted : public std::runtime_error {
 public:
  Interrupted() : std::runtime_error("interrupted") {}
};

struct SinkOptions {
  bool owner = false;    ///< give files their owners (needs root)
  bool devices = false;  ///< make device nodes, pipes and sockets (needs root)
  bool replace = false;  ///< replace what is there already
  bool strict = false;   ///< leave files out whose content is not whole
  /// Called now and then; false ends the work with Interrupted.
  std::function<bool(const TakenOut&)> on_progress = {};
};

/// Files that are left out for their kind alone: told together, because a disk of a system has
/// hundreds of device nodes.
class LeftOutKinds {
 public:
  void add(std::string_view path);
  /// One caution that names the first ones, if there were any.
  void tell(std::string_view reason, std::vector<Finding>& findings) const;

 private:
  std::uint64_t count_ = 0;
  std::string names_;
};

/// Takes files, one by one, in the order of a walk. What cannot be done as the disk has it becomes
/// a finding; what cannot be written at all is an IoError.
class FileSink {
 public:
  FileSink() = default;
  FileSink(const FileSink&) = delete;
  FileSink& operator=(const FileSink&) = delete;
  virtual ~FileSink() = default;

  virtual void add(const FileVisit& file, Volume& volume, const View& view,
                   std::vector<Finding>& findings) = 0;
  /// Forgets which files the following ones may be further names of, and puts them into a directory
  /// of their own ("" for none): for the next volume.
  virtual void begin_volume(const std::string& directory) = 0;
  /// Completes everything.
  virtual void finish(std::vector<Finding>& findings) = 0;
  /// The order in which files should come.
  [[nodiscard]] virtual WalkOrder order() const { return WalkOrder::by_directory; }
  [[nodiscard]] const TakenOut& taken_out() const noexcept { return taken_; }

 protected:
  TakenOut taken_;  // NOLINT: counted by the kinds of sinks
};

/// Makes the files below a directory of this machine, and never outside it: names are made safe,
/// symbolic links are not followed, nothing that is there is replaced unless that is wanted. Holes
/// stay holes; modes, times and further names are kept.
/// \param directory  is made when it does not exist
[[nodiscard]] std::unique_ptr<FileSink> directory_sink(const std::string& directory,
                                                       const SinkOptions& options);

/// Writes an archive whose kind follows from the ending: .tar, .tar.gz, .tgz, .tar.bz2, .tar.xz,
/// .tar.zst, .zip, .cpio. Under its name there is nothing until it is complete.
/// \param image  path of the image, which is never overwritten
/// \throws std::invalid_argument for another ending
[[nodiscard]] std::unique_ptr<FileSink> archive_sink(const std::string& path,
                                                     const std::string& image,
                                                     const SinkOptions& options);

/// The name of a file on this machine: the bytes on the disk where they are one here too, so that
/// names which are no text come back as they were; otherwise as FileVisit::name has it.
[[nodiscard]] std::string host_name(const FileVisit& file);
/// The same for the path of the directory that it is in ("" for the root).
[[nodiscard]] std::string host_directory(const FileVisit& file);

/// What is to be said about a file of which runs are missing (at least one).
/// \param bytes  of the whole file
[[nodiscard]] Finding missing_finding(std::string_view path, std::uint64_t bytes,
                                      const std::vector<Extent>& missing, bool left_out);

}  // namespace platter
