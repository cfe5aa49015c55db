// Filling files with their content, on two threads.
#pragma once

#include <sys/types.h>

#include <array>
#include <atomic>
#include <condition_variable>
#include <ctime>
#include <exception>
#include <functional>
#include <mutex>
#include <optional>
#include <string>
#include <thread>
#include <vector>

#include "core/descriptor.h"
#include "core/finding.h"
#include "core/view.h"
#include "core/volume.h"

namespace platter {

/// A file that was made and is still empty.
struct CopyJob {
  Descriptor out;
  std::string host;             ///< its name below the root directory
  std::string path;             ///< in the volume, decoded; for messages
  View view;                    ///< what the extents lie in
  std::vector<Extent> extents;  ///< joined and clipped; absent ones are missing
  std::uint64_t bytes = 0;
  mode_t mode = 0;
  std::array<timespec, 2> times{};
  std::optional<uid_t> uid;  ///< to be given, if any
  std::optional<gid_t> gid;
};

/// Copies within the kernel where the image is a file of this machine, and gives each file its
/// size, owner, mode and times. One file at a time waits for a second thread; more are done by the
/// caller, so neither runs away from the other.
class ContentCopier {
 public:
  /// \param root       descriptor of the directory that everything is below, for the copier's life
  /// \param directory  its name, for messages
  /// \param strict     remove files whose content is not whole
  ContentCopier(int root, std::string directory, bool strict);
  ContentCopier(const ContentCopier&) = delete;
  ContentCopier& operator=(const ContentCopier&) = delete;
  /// What was not begun is removed.
  ~ContentCopier();

  /// Fills a file, now or soon. Throws IoError for this file or an earlier one; the file is
  /// removed. \param keep_going  asked now and then; false ends the work with Interrupted
  void copy(CopyJob job, const std::function<bool()>& keep_going);
  /// Waits until everything is done. Throws as copy() does.
  void finish(const std::function<bool()>& keep_going);

  /// What was missing in files, and how many were left out for that, since the last call.
  struct Report {
    std::vector<Finding> findings;
    std::uint64_t left_out = 0;
  };
  [[nodiscard]] Report take_report();

 private:
  void work();
  void complete(CopyJob& job, std::vector<std::byte>& buffer,
                const std::function<bool()>& keep_going);
  void copy_extent(const CopyJob& job, const Extent& extent, std::vector<std::byte>& buffer,
                   std::vector<Extent>& missing);
  void write_all(const CopyJob& job, std::span<const std::byte> bytes, std::uint64_t offset) const;
  void remove(const CopyJob& job) const;
  void rethrow_failure();
  [[noreturn]] void fail(const CopyJob& job) const;

  int root_;
  std::string directory_;
  bool strict_;
  std::vector<std::byte> buffer_;

  std::mutex mutex_;
  std::condition_variable changed_;
  std::optional<CopyJob> waiting_;
  bool busy_ = false;
  bool stop_ = false;
  std::exception_ptr failure_;
  Report report_;
  std::atomic<bool> kernel_copies_{true};
  std::jthread thread_;  // last: it starts when everything else is there
};

}  // namespace platter
