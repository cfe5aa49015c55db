#include "files/reading_ahead.h"

#include <algorithm>

#include "files/walker.h"

namespace platter {
namespace {

// More text than this is not kept for one directory: the walk writes it as it comes.
constexpr std::size_t kMostText = std::size_t{1} << 20U;
// Nothing new is begun while so much text waits to be taken.
constexpr std::size_t kMostKept = std::size_t{1} << 20U;
// Offers that may wait at a time, done or not, and how many are few.
constexpr std::size_t kMostUntaken = 64;
constexpr std::size_t kFew = 4;

}  // namespace

struct AheadJob {
  enum class State : std::uint8_t { offered, begun, done };
  DirectoryPlace directory;
  State state = State::offered;
  std::optional<ListedDirectory> listed = {};
};

ReadingAhead::~ReadingAhead() {
  {
    const std::lock_guard lock(mutex_);
    stop_ = true;
  }
  changed_.notify_all();
  if (thread_.joinable()) thread_.join();
}

bool ReadingAhead::wants_more() {
  const std::lock_guard lock(mutex_);
  return !stop_ && offers_.size() < kFew && untaken_ < kMostUntaken;
}

std::shared_ptr<AheadJob> ReadingAhead::offer(DirectoryPlace directory) {
  auto job = std::make_shared<AheadJob>(AheadJob{.directory = std::move(directory)});
  const std::lock_guard lock(mutex_);
  offers_.push_back(job);
  ++untaken_;
  return job;
}

void ReadingAhead::go_on() {
  changed_.notify_all();
  if (!thread_.joinable()) thread_ = std::thread([this] { work(); });
}

std::optional<ListedDirectory> ReadingAhead::take(AheadJob& job) {
  std::unique_lock lock(mutex_);
  --untaken_;
  if (job.state == AheadJob::State::offered) {
    std::erase_if(offers_, [&](const auto& offer) { return offer.get() == &job; });
    return std::nullopt;
  }
  changed_.wait(lock, [&] { return job.state == AheadJob::State::done; });
  const bool was_full = kept_ > kMostKept;
  if (job.listed) kept_ -= job.listed->text.size();
  lock.unlock();
  if (was_full) changed_.notify_all();
  return std::move(job.listed);
}

// Memory that goes back and forth between threads would else be asked from the system each time.
void ReadingAhead::give_back(std::string text) {
  text.clear();
  const std::lock_guard lock(mutex_);
  spare_.push_back(std::move(text));
}

std::string ReadingAhead::take_spare() {
  const std::lock_guard lock(mutex_);
  if (spare_.empty()) return {};
  std::string text = std::move(spare_.back());
  spare_.pop_back();
  return text;
}

void ReadingAhead::work() {
  std::unique_ptr<SecondReader> reader;
  bool in_order = true;
  try {
    reader = second_();
    in_order = reader != nullptr && reader->volume().take_findings().empty();
  } catch (...) {  // the walk meets the same and says so
    in_order = false;
  }
  std::unique_lock lock(mutex_);
  while (in_order) {
    changed_.wait(lock, [this] { return stop_ || (!offers_.empty() && kept_ <= kMostKept); });
    if (stop_) return;
    const std::shared_ptr<AheadJob> job = std::move(offers_.front());
    offers_.pop_front();
    job->state = AheadJob::State::begun;
    lock.unlock();
    std::optional<ListedDirectory> listed;
    try {
      listed = read(*reader, job->directory, in_order);
    } catch (...) {
      in_order = false;
    }
    lock.lock();
    if (listed) kept_ += listed->text.size();
    job->listed = std::move(listed);
    job->state = AheadJob::State::done;
    changed_.notify_all();
  }
  stop_ = true;
}

std::optional<ListedDirectory> ReadingAhead::read(SecondReader& reader,
                                                  const DirectoryPlace& directory, bool& in_order) {
  std::vector<Finding> findings;
  bool too_much = false;
  const auto add = [&](const FileVisit& file) {
    too_much = reader.add(file) > kMostText;
    return too_much ? Step::stop : Step::go_on;
  };
  Walker walker(reader.volume(), add, findings, WalkOrder::by_directory);
  const WalkResult result = walker.list(directory);
  std::string text = reader.take_text(take_spare());
  in_order = findings.empty();
  if (too_much || !in_order) return std::nullopt;
  return ListedDirectory{std::move(text), result.files, result.directories, walker.take_waiting()};
}

}  // namespace platter
