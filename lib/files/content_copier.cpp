#include "files/content_copier.h"

#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <chrono>
#include <system_error>

#include <fmt/format.h>

#include "files/below.h"
#include "files/sink.h"

namespace platter {
namespace {

constexpr std::uint64_t kPiece = std::uint64_t{8} << 20U;
constexpr std::size_t kBuffer = std::size_t{1} << 20U;
constexpr std::chrono::milliseconds kLook{200};

// False when these two files do not allow it, or the image ends early; `done` tells how far it
// came.
bool copy_in_kernel(int from, const Extent& extent, int to, std::uint64_t& done) {
  auto in = static_cast<off64_t>(extent.start);
  auto out = static_cast<off64_t>(extent.offset);
  while (done < extent.bytes) {
    const ssize_t copied = copy_file_range(from, &in, to, &out, extent.bytes - done, 0);
    if (copied < 0 && errno == EINTR) continue;
    if (copied <= 0) return false;
    done += static_cast<std::uint64_t>(copied);
  }
  return true;
}

}  // namespace

ContentCopier::ContentCopier(int root, std::string directory, bool strict)
    : root_(root), directory_(std::move(directory)), strict_(strict), thread_([this] { work(); }) {}

ContentCopier::~ContentCopier() {
  const std::lock_guard lock(mutex_);
  stop_ = true;
  if (waiting_) remove(*waiting_);
  waiting_.reset();
  changed_.notify_all();
}

void ContentCopier::copy(CopyJob job, const std::function<bool()>& keep_going) {
  {
    const std::lock_guard lock(mutex_);
    if (failure_) {
      remove(job);
      rethrow_failure();
    }
    if (!waiting_) {
      waiting_ = std::move(job);
      changed_.notify_all();
      return;
    }
  }
  complete(job, buffer_, keep_going);
}

void ContentCopier::finish(const std::function<bool()>& keep_going) {
  std::unique_lock lock(mutex_);
  while (waiting_ || busy_) {
    changed_.wait_for(lock, kLook);
    if (keep_going && !keep_going()) throw Interrupted();
  }
  if (failure_) rethrow_failure();
}

ContentCopier::Report ContentCopier::take_report() {
  const std::lock_guard lock(mutex_);
  return std::exchange(report_, {});
}

void ContentCopier::rethrow_failure() {
  std::rethrow_exception(std::exchange(failure_, nullptr));
}

void ContentCopier::work() {
  std::vector<std::byte> buffer;
  const auto keep_going = [this] {
    const std::lock_guard lock(mutex_);
    return !stop_;
  };
  std::unique_lock lock(mutex_);
  while (true) {
    changed_.wait(lock, [this] { return stop_ || waiting_; });
    if (stop_) return;
    CopyJob job = std::move(*waiting_);
    waiting_.reset();
    busy_ = true;
    lock.unlock();
    std::exception_ptr failure;
    try {
      complete(job, buffer, keep_going);
    } catch (...) {
      failure = std::current_exception();
    }
    lock.lock();
    busy_ = false;
    if (failure && !failure_) failure_ = failure;
    changed_.notify_all();
  }
}

void ContentCopier::complete(CopyJob& job, std::vector<std::byte>& buffer,
                             const std::function<bool()>& keep_going) {
  std::vector<Extent> missing;
  try {
    std::uint64_t end = 0;
    for (const Extent& extent : job.extents) {
      if (extent.absent) {
        missing.push_back(extent);
        continue;
      }
      for (std::uint64_t done = 0; done < extent.bytes; done += kPiece) {
        const std::uint64_t piece = std::min(kPiece, extent.bytes - done);
        copy_extent(job, {extent.offset + done, extent.start + done, piece, false}, buffer,
                    missing);
        if (keep_going && !keep_going()) throw Interrupted();
      }
      end = extent.offset + extent.bytes;
    }
    const int out = job.out.get();
    if (end != job.bytes && ftruncate(out, static_cast<off_t>(job.bytes)) != 0) fail(job);
    if ((job.uid || job.gid) && fchown(out, job.uid.value_or(static_cast<uid_t>(-1)),
                                       job.gid.value_or(static_cast<gid_t>(-1))) != 0) {
      fail(job);
    }
    if (fchmod(out, job.mode) != 0 || futimens(out, job.times.data()) != 0) fail(job);
  } catch (...) {
    remove(job);
    throw;
  }
  if (missing.empty()) return;
  if (strict_) remove(job);
  const std::lock_guard lock(mutex_);
  report_.findings.push_back(missing_finding(job.path, job.bytes, missing, strict_));
  report_.left_out += strict_ ? 1 : 0;
}

void ContentCopier::copy_extent(const CopyJob& job, const Extent& extent,
                                std::vector<std::byte>& buffer, std::vector<Extent>& missing) {
  const int in = job.view.source()->descriptor();
  std::uint64_t done = 0;
  if (in >= 0 && kernel_copies_ && copy_in_kernel(in, extent, job.out.get(), done)) return;
  if (done == 0) kernel_copies_ = false;  // not between these filesystems
  buffer.resize(kBuffer);
  while (done < extent.bytes) {
    const auto count =
        static_cast<std::size_t>(std::min<std::uint64_t>(buffer.size(), extent.bytes - done));
    const std::span<std::byte> piece = std::span(buffer).first(count);
    const std::uint64_t offset = extent.offset + done;
    try {
      job.view.read(extent.start - job.view.start() + done, piece);
    } catch (const IoError&) {
      missing.push_back({offset, extent.start + done, count, true});
      done += count;
      continue;
    }
    write_all(job, piece, offset);
    done += count;
  }
}

void ContentCopier::write_all(const CopyJob& job, std::span<const std::byte> bytes,
                              std::uint64_t offset) const {
  while (!bytes.empty()) {
    const ssize_t wrote =
        pwrite(job.out.get(), bytes.data(), bytes.size(), static_cast<off_t>(offset));
    if (wrote < 0 && errno == EINTR) continue;
    if (wrote < 0) fail(job);
    bytes = bytes.subspan(static_cast<std::size_t>(wrote));
    offset += static_cast<std::uint64_t>(wrote);
  }
}

void ContentCopier::remove(const CopyJob& job) const {
  const PlaceBelow place(root_, job.host);
  unlinkat(place.directory.get(), place.name.c_str(), 0);
}

void ContentCopier::fail(const CopyJob& job) const {
  throw IoError(directory_ + "/" + job.host, 0, 0, std::generic_category().message(errno));
}

}  // namespace platter
