#include "plan/place.h"

#include <algorithm>
#include <atomic>
#include <cstring>
#include <exception>
#include <mutex>
#include <optional>
#include <thread>
#include <vector>

#include <fmt/format.h>

#include "core/digest.h"
#include "core/numbers.h"
#include "plan/image_reader.h"

namespace platter::plan {
namespace {

// Two threads move bytes about twice as fast as one from cache to cache; more would not help a
// card.
unsigned copying_threads(bool digest_too) {
  return !digest_too && std::thread::hardware_concurrency() > 1 ? 2 : 1;
}

// The digest of an image on a thread of its own, from construction on.
class DigestThread {
 public:
  explicit DigestThread(const ImageReader& image)
      : image_(image), thread_([this, &image] {
          try {
            digest_ = image.digest(stop_, done_);
          } catch (...) {
            failure_ = std::current_exception();
          }
        }) {}
  DigestThread(const DigestThread&) = delete;
  DigestThread& operator=(const DigestThread&) = delete;
  ~DigestThread() { stop_ = true; }

  std::string wait() {
    // Unmapping takes time as well; most of it can be spent while the digest goes on.
    image_.let_go(done_);
    thread_.join();
    if (failure_) std::rethrow_exception(failure_);
    return digest_;
  }

 private:
  const ImageReader& image_;
  std::atomic<bool> stop_{false};
  std::atomic<std::uint64_t> done_{0};
  std::string digest_;
  std::exception_ptr failure_;
  std::jthread thread_;  // last: it starts when everything else is there, and is joined first
};

// Two buffers for each thread: what should be there, and what is.
class Buffers {
 public:
  Buffers(unsigned workers, std::size_t chunk_bytes) {
    for (unsigned i = 0; i < 2 * workers; ++i)
      buffers_.emplace_back(chunk_bytes);
  }
  [[nodiscard]] std::span<std::byte> wanted(unsigned worker, std::size_t bytes) const {
    return buffers_[2 * worker].first(bytes);
  }
  [[nodiscard]] std::span<std::byte> found(unsigned worker, std::size_t bytes) const {
    return buffers_[2 * worker + 1].first(bytes);
  }

 private:
  std::vector<AlignedBuffer> buffers_;
};

bool equal(std::span<const std::byte> a, std::span<const std::byte> b) {
  return std::memcmp(a.data(), b.data(), a.size()) == 0;
}

// Compares the card with what should be in the region; used by the second pass and by verify.
class Comparison {
 public:
  Comparison(const ImageReader& image, Card& card, Extent region)
      : image_(image), card_(card), region_(region) {}

  // One chunk, from the medium.
  void chunk(const Buffers& buffers, unsigned worker, std::uint64_t offset, std::size_t bytes) {
    const auto wanted = buffers.wanted(worker, bytes);
    const auto found = buffers.found(worker, bytes);
    const auto looked_at = image_.look(offset, wanted);
    card_.read_back(region_.start + offset, found);
    if (image_.same(offset, looked_at, found)) return;
    image_.read(offset, wanted);
    note_differences(offset, wanted, found);
  }

  // Threads come here in any order, a map wants ascending runs.
  [[nodiscard]] BlockMap differing() {
    std::ranges::sort(differing_);
    BlockMap map;
    // A block that two chunks share is there twice.
    differing_.erase(std::unique(differing_.begin(), differing_.end()), differing_.end());
    for (const std::uint64_t block : differing_)
      map.paint({block, 1, BlockState::differing, {}});
    return map;
  }
  [[nodiscard]] std::uint64_t first() const { return first_; }

 private:
  void note_differences(std::uint64_t offset, std::span<const std::byte> wanted,
                        std::span<const std::byte> found) {
    const std::lock_guard lock(mutex_);
    const auto [mine, its] = std::ranges::mismatch(wanted, found);
    const std::uint64_t place = region_.start + offset;
    first_ = std::min(first_, place + static_cast<std::uint64_t>(mine - wanted.begin()));
    // Blocks are the card's: the region may start inside one.
    for (std::size_t at = 0; at < wanted.size();) {
      const std::uint64_t block = (place + at) / kBlockBytes;
      const auto until = static_cast<std::size_t>(
          std::min<std::uint64_t>((block + 1) * kBlockBytes - place, wanted.size()));
      if (!equal(wanted.subspan(at, until - at), found.subspan(at, until - at))) {
        differing_.push_back(block);
      }
      at = until;
    }
  }

  const ImageReader& image_;
  Card& card_;
  const Extent region_;
  std::mutex mutex_;
  std::vector<std::uint64_t> differing_;  // blocks of the card
  std::uint64_t first_ = kLargest;
};

class Placing {
 public:
  Placing(const ImageReader& image, Card& card, Extent region, const PlaceOptions& options,
          const std::function<void()>& before_writing, const OnProgress& on_progress)
      : image_(image),
        card_(card),
        region_(region),
        options_(options),
        before_writing_(before_writing),
        on_progress_(on_progress),
        total_(options.fill ? region.bytes : image.size()),
        workers_(copying_threads(options.digest)),
        chunk_bytes_(card.chunk_bytes()),
        buffers_(workers_, chunk_bytes_) {}

  PlaceResult run() {
    std::optional<DigestThread> digest;
    if (options_.digest) digest.emplace(image_);
    PlaceResult result;
    if (!copy() || !read_back(result)) {
      result.written_bytes = written_;
      return result;
    }
    if (digest) result.sha256 = digest->wait();
    image_.expect_unchanged();
    result.finished = true;
    result.verified = result.differing.empty();
    result.written_bytes = written_;
    return result;
  }

 private:
  bool copy() {
    if (!options_.changed_only) {
      return over_chunks(total_, chunk_bytes_, workers_, Progress::Stage::writing, on_progress_,
                         [this](unsigned worker, std::uint64_t offset, std::size_t bytes) {
                           write_chunk(worker, offset, bytes);
                         });
    }
    card_.forget(region_.start, total_);
    return over_chunks(total_, chunk_bytes_, workers_, Progress::Stage::comparing, on_progress_,
                       [this](unsigned worker, std::uint64_t offset, std::size_t bytes) {
                         write_changes(worker, offset, bytes);
                       });
  }

  void write_chunk(unsigned worker, std::uint64_t offset, std::size_t bytes) {
    const auto wanted = buffers_.wanted(worker, bytes);
    image_.expect(offset, bytes);
    try {
      write(offset, image_.look(offset, wanted));
    } catch (const IoError&) {
      image_.read(offset, wanted);  // throws when it was the mapped image that failed
      throw;
    }
  }

  void write_changes(unsigned worker, std::uint64_t offset, std::size_t bytes) {
    const auto wanted = buffers_.wanted(worker, bytes);
    const auto found = buffers_.found(worker, bytes);
    image_.expect(offset, bytes);
    const auto looked_at = image_.look(offset, wanted);
    card_.read_back(region_.start + offset, found);
    if (image_.same(offset, looked_at, found)) return;
    image_.read(offset, wanted);
    for (std::size_t at = 0; at < bytes; at += kChangeBytes) {
      const std::size_t part = std::min(kChangeBytes, bytes - at);
      if (!equal(wanted.subspan(at, part), found.subspan(at, part))) {
        write(offset + at, wanted.subspan(at, part));
      }
    }
    const std::lock_guard lock(mutex_);
    changed_.push_back(offset);
  }

  // The only place where anything is written.
  void write(std::uint64_t offset, std::span<const std::byte> bytes) {
    if (!fits_within(offset, bytes.size(), region_.bytes)) {
      throw IoError(card_.path(), saturating_add(region_.start, offset), bytes.size(),
                    "lies outside the region and was not written");
    }
    std::call_once(first_write_, [this] {
      if (before_writing_) before_writing_();
    });
    card_.write(region_.start + offset, bytes);
    written_ += bytes.size();
  }

  // The second pass. After `changed_only`, chunks that were equal have been read from the medium
  // already; only those that were written are read again.
  bool read_back(PlaceResult& result) {
    if (written_ > 0) card_.sync();
    Comparison comparison(image_, card_, region_);
    bool finished = true;
    if (!options_.changed_only) {
      card_.forget(region_.start, total_);
      finished =
          over_chunks(total_, chunk_bytes_, workers_, Progress::Stage::verifying, on_progress_,
                      [&](unsigned worker, std::uint64_t offset, std::size_t bytes) {
                        comparison.chunk(buffers_, worker, offset, bytes);
                      });
    } else if (!changed_.empty()) {
      card_.forget(region_.start, total_);
      std::ranges::sort(changed_);
      finished = over_chunks(
          changed_.size() * chunk_bytes_, chunk_bytes_, workers_, Progress::Stage::verifying,
          on_progress_, [&](unsigned worker, std::uint64_t index, std::size_t) {
            const std::uint64_t offset = changed_[index / chunk_bytes_];
            const auto bytes = std::min<std::uint64_t>(chunk_bytes_, total_ - offset);
            comparison.chunk(buffers_, worker, offset, static_cast<std::size_t>(bytes));
          });
    }
    result.differing = comparison.differing();
    return finished;
  }

  const ImageReader& image_;
  Card& card_;
  const Extent region_;
  const PlaceOptions& options_;
  const std::function<void()>& before_writing_;
  const OnProgress& on_progress_;
  const std::uint64_t total_;
  const unsigned workers_;
  const std::size_t chunk_bytes_;
  const Buffers buffers_;
  std::once_flag first_write_;
  std::atomic<std::uint64_t> written_{0};
  std::mutex mutex_;
  std::vector<std::uint64_t> changed_;  // offsets of chunks that were written, in part or whole
};

void expect_room(std::uint64_t image_bytes, const std::string& image_path, const Card& card,
                 Extent region) {
  if (image_bytes > region.bytes) {
    throw IoError(
        image_path, region.bytes, image_bytes - region.bytes,
        fmt::format("the image has {} bytes, its region only {}", image_bytes, region.bytes));
  }
  const std::uint64_t card_bytes = card.size();
  if (!fits_within(region.start, region.bytes, card_bytes)) {
    throw IoError(card.path(), card_bytes, 0,
                  fmt::format("the region ends at byte {}, the card at byte {}",
                              saturating_add(region.start, region.bytes), card_bytes));
  }
}

}  // namespace

PlaceResult place_image(const ByteSource& image, const std::string& image_path, Card& card,
                        Extent region, const PlaceOptions& options,
                        const std::function<void()>& before_writing,
                        const OnProgress& on_progress) {
  const ImageReader reader(image, image_path, options.digest);
  expect_room(reader.size(), image_path, card, region);
  return Placing(reader, card, region, options, before_writing, on_progress).run();
}

std::string digest_of_image(const ByteSource& image, const std::string& image_path) {
  const ImageReader reader(image, image_path, true);
  const std::atomic<bool> never{false};
  std::atomic<std::uint64_t> done{0};
  std::string digest = reader.digest(never, done);
  reader.expect_unchanged();
  return digest;
}

VerifyResult verify_image(const ByteSource& image, const std::string& image_path, Card& card,
                          Extent region, const OnProgress& on_progress) {
  const ImageReader reader(image, image_path, false);
  expect_room(reader.size(), image_path, card, region);
  const unsigned workers = copying_threads(false);
  const Buffers buffers(workers, card.chunk_bytes());
  Comparison comparison(reader, card, region);
  card.forget(region.start, reader.size());
  VerifyResult result;
  result.finished =
      over_chunks(reader.size(), card.chunk_bytes(), workers, Progress::Stage::verifying,
                  on_progress, [&](unsigned worker, std::uint64_t offset, std::size_t bytes) {
                    comparison.chunk(buffers, worker, offset, bytes);
                  });
  if (result.finished) reader.expect_unchanged();
  result.differing = comparison.differing();
  result.equal = result.finished && result.differing.empty();
  if (!result.differing.empty()) result.first_difference = comparison.first();
  return result;
}

VerifyResult verify_digest(const std::string& sha256, std::uint64_t bytes, Card& card,
                           Extent region, const OnProgress& on_progress) {
  expect_room(bytes, card.path(), card, region);
  Sha256 digest;
  const AlignedBuffer buffer(card.chunk_bytes());
  card.forget(region.start, bytes);
  VerifyResult result;
  result.finished =
      over_chunks(bytes, card.chunk_bytes(), 1, Progress::Stage::verifying, on_progress,
                  [&](unsigned, std::uint64_t offset, std::size_t count) {
                    card.read_back(region.start + offset, buffer.first(count));
                    digest.update(buffer.first(count));
                  });
  result.equal = result.finished && digest.finish() == sha256;
  return result;
}

}  // namespace platter::plan
