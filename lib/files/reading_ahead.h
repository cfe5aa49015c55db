// Directories read by a second thread while a walk is busy with earlier ones.
#pragma once

#include <condition_variable>
#include <cstdint>
#include <deque>
#include <functional>
#include <memory>
#include <mutex>
#include <optional>
#include <string>
#include <thread>
#include <vector>

#include "core/volume.h"
#include "files/path_parts.h"
#include "files/walk.h"

namespace platter {

struct AheadJob;

/// A directory on a walk that was visited and waits to be entered; in nested order, any file that
/// waits to be visited.
struct WaitingDirectory {
  NodeId node = 0;
  std::uint64_t place = 0;
  std::uint32_t depth = 0;  ///< directories above it
  Charset charset = Charset::ascii;
  bool visited = false;
  std::string name = {};               ///< as on the disk
  std::uint64_t names_before = 0;      ///< not 0: it is entered already, and goes on behind them
  std::shared_ptr<AheadJob> job = {};  ///< when it was offered to the other thread
};

/// A directory and all that a walk knows when it comes there.
struct DirectoryPlace {
  NodeId node = 0;
  std::uint32_t depth = 0;  ///< of its names
  WalkPath at;              ///< its own path
};

/// What the names of one directory came to.
struct ListedDirectory {
  std::string text;
  std::uint64_t files = 0;
  std::uint64_t directories = 0;
  std::vector<WaitingDirectory> waiting;  ///< the last one first
};

/// The second thread. It reads through a volume of its own, and the outcome is the same as without
/// it: as soon as that volume has anything to report, or cannot be read, the thread ends and the
/// walk reads that directory, and all later ones, by itself. What waits to be taken is bounded.
class ReadingAhead {
 public:
  /// \param second makes the reader; called in the thread, when the first directory is offered
  explicit ReadingAhead(std::function<std::unique_ptr<SecondReader>()> second)
      : second_(std::move(second)) {}
  ReadingAhead(const ReadingAhead&) = delete;
  ReadingAhead& operator=(const ReadingAhead&) = delete;
  ~ReadingAhead();

  /// Whether it will soon have nothing to do.
  [[nodiscard]] bool wants_more();
  [[nodiscard]] std::shared_ptr<AheadJob> offer(DirectoryPlace directory);
  /// Begins with what was offered.
  void go_on();
  /// What became of an offer, which ends with it; waits when the directory is just being read.
  /// Nothing when it has to be read by the walk.
  [[nodiscard]] std::optional<ListedDirectory> take(AheadJob& job);
  /// Takes back the text of a directory, to use its memory again.
  void give_back(std::string text);

 private:
  void work();
  std::optional<ListedDirectory> read(SecondReader& reader, const DirectoryPlace& directory,
                                      bool& in_order);
  std::string take_spare();

  std::function<std::unique_ptr<SecondReader>()> second_;
  std::mutex mutex_;
  std::condition_variable changed_;
  std::deque<std::shared_ptr<AheadJob>> offers_;  // that nobody began
  std::size_t untaken_ = 0;                       // offers that take() was not called for
  std::size_t kept_ = 0;                          // bytes of text of those
  std::vector<std::string> spare_;
  bool stop_ = false;
  std::thread thread_;  // the last member: it uses the others
};

}  // namespace platter
