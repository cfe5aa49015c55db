// The walk itself: what has been visited and what waits.
#pragma once

#include <cstdint>
#include <optional>
#include <string_view>
#include <unordered_set>
#include <vector>

#include "files/reading_ahead.h"
#include "files/walk.h"

namespace platter {

class Walker {
 public:
  Walker(Volume& volume, FunctionRef<Step(const FileVisit&)> visit, std::vector<Finding>& findings,
         WalkOrder order)
      : volume_(volume), visit_(visit), findings_(findings), order_(order) {}

  /// Has directories read by another thread, as soon as there are many files. Only for a walk
  /// by_directory.
  /// \param put   takes what the other thread's visits made
  /// \param alone so many files are visited before
  void read_ahead(ReadingAhead& ahead, FunctionRef<Step(std::string_view)> put,
                  std::uint64_t alone) {
    ahead_ = &ahead;
    alone_ = alone;
    put_ = put;
  }

  /// The whole tree below `top`, whose path is `at`.
  WalkResult from(NodeId top, WalkPath at);

  /// The names of one directory only.
  WalkResult list(const DirectoryPlace& directory);
  /// The directories among them, the last one first.
  [[nodiscard]] std::vector<WaitingDirectory> take_waiting() { return std::move(waiting_); }

 private:
  void go_back_to(std::uint32_t depth);
  void take(WaitingDirectory next);
  void enter(const WaitingDirectory& directory, const Entry& entry);
  void read_directory(NodeId directory, std::uint32_t depth, std::uint64_t names_before = 0);
  bool has_to_wait(const Entry& entry, bool others_wait);
  bool visit_one(const Entry& entry, std::uint32_t depth);
  bool visit_one(const Entry& entry, const Attributes& attributes, std::uint32_t depth);
  void collect();
  void collect_new();

  // Reading ahead.
  void offer();
  [[nodiscard]] DirectoryPlace place_of(const WaitingDirectory& waiting) const;
  void take_over(ListedDirectory listed);

  Volume& volume_;
  FunctionRef<Step(const FileVisit&)> visit_;
  std::vector<Finding>& findings_;
  WalkOrder order_;
  ReadingAhead* ahead_ = nullptr;
  std::uint64_t alone_ = 0;
  std::optional<FunctionRef<Step(std::string_view)>> put_;
  WalkResult result_;
  std::vector<WaitingDirectory> waiting_;
  std::unordered_set<NodeId> entered_;
  WalkPath at_;
  std::vector<WalkPath::Mark> marks_;  // before each directory that is on the path
};

}  // namespace platter
