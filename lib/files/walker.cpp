#include "files/walker.h"

#include <algorithm>
#include <iterator>

#include <fmt/format.h>

#include "files/path_parts.h"

namespace platter {
namespace {

// Deeper trees than this were never made by hand; path names have limits of 1024 bytes and less.
constexpr std::uint32_t kDeepest = 1024;

// Names of one directory that wait at a time, in nested order.
constexpr std::size_t kMostWaiting = 32768;

// The directories that the walk keeps for itself before those that it offers, and how many it
// offers at a time, so that both are busy.
constexpr std::size_t kRun = 8;
constexpr std::size_t kLookedAt = 256;

}  // namespace

WalkResult Walker::from(NodeId top, WalkPath at) {
  at_ = std::move(at);
  entered_.insert(top);
  read_directory(top, 0);
  while (!waiting_.empty() && !result_.stopped) {
    if (ahead_ != nullptr) offer();
    WaitingDirectory next = std::move(waiting_.back());
    waiting_.pop_back();
    take(std::move(next));
  }
  collect();
  return result_;
}

WalkResult Walker::list(const DirectoryPlace& directory) {
  at_ = directory.at;
  read_directory(directory.node, directory.depth);
  return result_;
}

void Walker::go_back_to(std::uint32_t depth) {
  if (marks_.size() <= depth) return;
  at_.go_back_to(marks_[depth]);
  marks_.resize(depth);
}

void Walker::take(WaitingDirectory next) {
  go_back_to(next.depth);
  if (next.names_before != 0) {
    read_directory(next.node, next.depth, next.names_before);
    return;
  }
  const Entry entry{next.name, next.charset, next.node, next.place};
  if (!next.visited && !visit_one(entry, next.depth)) return;
  enter(next, entry);
}

void Walker::enter(const WaitingDirectory& directory, const Entry& entry) {
  marks_.push_back(at_.mark());
  at_.append(entry);
  std::optional<ListedDirectory> listed;
  if (directory.job != nullptr) listed = ahead_->take(*directory.job);
  if (!entered_.insert(entry.node).second) {
    findings_.push_back({Severity::fault,
                         FindingCode::directory_loop,
                         {},
                         entry.place,
                         0,
                         fmt::format("the directory {} was entered before under another name",
                                     printable(at_.path))});
  } else if (directory.depth + 1 >= kDeepest) {
    findings_.push_back(
        {Severity::caution,
         FindingCode::filesystem_damaged,
         {},
         entry.place,
         0,
         fmt::format("no more than {} levels of directories are entered", kDeepest)});
  } else if (listed) {
    take_over(std::move(*listed));
  } else {
    read_directory(directory.node, directory.depth + 1);
  }
}

void Walker::read_directory(NodeId directory, std::uint32_t depth, std::uint64_t names_before) {
  const std::size_t first = waiting_.size();
  std::uint64_t names = 0;
  volume_.each_entry(directory, [&](const Entry& entry) {
    if (names++ < names_before) return true;
    const bool waits = has_to_wait(entry, waiting_.size() != first);
    if (waits || visit_one(entry, depth)) {
      waiting_.push_back(
          {entry.node, entry.place, depth, entry.charset, !waits, std::string(entry.name)});
    }
    // In nested order the files of a directory wait too. It is read again for those behind.
    const bool enough = order_ == WalkOrder::nested && waiting_.size() - first == kMostWaiting;
    if (enough) waiting_.push_back({.node = directory, .depth = depth, .names_before = names});
    return !enough && !result_.stopped;
  });
  // The last of a stack comes first: keep the order of the disk.
  std::reverse(waiting_.begin() + static_cast<std::ptrdiff_t>(first), waiting_.end());
  if (names_before == 0) {
    collect();
  } else {
    collect_new();
  }
}

// Whether it is not to be visited yet.
bool Walker::has_to_wait(const Entry& entry, bool others_wait) {
  if (order_ == WalkOrder::by_directory) return false;
  if (order_ == WalkOrder::nested) return others_wait;
  const NodeType type =
      entry.attributes != nullptr ? entry.attributes->type : volume_.attributes(entry.node).type;
  return type == NodeType::directory;
}

// Whether it is a directory to be entered.
bool Walker::visit_one(const Entry& entry, std::uint32_t depth) {
  if (entry.attributes != nullptr) return visit_one(entry, *entry.attributes, depth);
  return visit_one(entry, volume_.attributes(entry.node), depth);
}

bool Walker::visit_one(const Entry& entry, const Attributes& attributes, std::uint32_t depth) {
  const WalkPath::Mark before = at_.mark();
  at_.append(entry);
  const bool is_directory = attributes.type == NodeType::directory;
  ++(is_directory ? result_.directories : result_.files);
  const std::string_view path = at_.path;
  const Step step = visit_({.entry = entry,
                            .path = path,
                            .name = path.substr(before.path == 0 ? 0 : before.path + 1),
                            .raw_path = at_.exact ? path : at_.bytes,
                            .exact = at_.exact,
                            .plain = at_.plain,
                            .depth = depth,
                            .attributes = attributes});
  at_.go_back_to(before);
  if (step == Step::stop) result_.stopped = true;
  return is_directory && step == Step::go_on;
}

void Walker::collect() {
  std::ranges::move(volume_.take_findings(), std::back_inserter(findings_));
}

// Of a directory that is read once more.
void Walker::collect_new() {
  for (Finding& finding : volume_.take_findings()) {
    const bool known = std::ranges::any_of(findings_, [&](const Finding& other) {
      return other.start == finding.start && other.message == finding.message;
    });
    if (!known) findings_.push_back(std::move(finding));
  }
}

// Offers a run of directories, behind a run that the walk will come to before.
void Walker::offer() {
  if (result_.files + result_.directories < alone_ || !ahead_->wants_more()) return;
  const std::size_t run = std::min(kRun, waiting_.size() / 3);
  const std::size_t end = waiting_.size() - std::min(kLookedAt, waiting_.size());
  std::size_t own = 0;
  std::size_t offered = 0;
  for (std::size_t i = waiting_.size(); i-- > end && offered < run;) {
    WaitingDirectory& waiting = waiting_[i];
    if (waiting.job != nullptr) {
      own = 0;
    } else if (own < run) {
      ++own;
    } else {
      waiting.job = ahead_->offer(place_of(waiting));
      ++offered;
    }
  }
  if (offered != 0) ahead_->go_on();
}

// What waits lies in a directory that is on the path.
DirectoryPlace Walker::place_of(const WaitingDirectory& waiting) const {
  const bool here = waiting.depth >= marks_.size();
  DirectoryPlace place{.node = waiting.node,
                       .depth = waiting.depth + 1,
                       .at = at_.up_to(here ? at_.mark() : marks_[waiting.depth])};
  place.at.append({waiting.name, waiting.charset, waiting.node, waiting.place});
  return place;
}

void Walker::take_over(ListedDirectory listed) {
  result_.files += listed.files;
  result_.directories += listed.directories;
  std::ranges::move(listed.waiting, std::back_inserter(waiting_));
  if ((*put_)(listed.text) == Step::stop) result_.stopped = true;
  ahead_->give_back(std::move(listed.text));
}

}  // namespace platter
