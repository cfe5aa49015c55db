// The files of every specimen, with one wrong byte in what the readers look at, and cut anywhere.
// A walk must come to its end and stay inside what is there; run under the sanitizers too.
#include <algorithm>
#include <set>

#include <catch2/catch.hpp>

#include "files/check.h"
#include "files/content.h"
#include "files/walk.h"
#include "hostile/damage.h"
#include "job/volumes.h"

namespace platter::test {
namespace {

// Enough to reach every field of small volumes, and to stay within minutes.
constexpr std::size_t kMostPlaces = 300;
constexpr std::uint64_t kMostFiles = 100'000;

struct Went {
  std::size_t volumes = 0;
  std::uint64_t files = 0;
};

// Lists everything, with all that a list can hold, then checks the volume.
Went go_through(const std::shared_ptr<const Damaged>& source) {
  Went went;
  const StraightSurvey straight = survey_straight(image_of(source));
  Volumes volumes = open_volumes(straight, "", {});
  for (OpenVolume& open : volumes.open) {
    ++went.volumes;
    std::vector<Finding> findings;
    const WalkResult result = walk(
        *open.volume, open.volume->root(), "",
        [&](const FileVisit& file) {
          std::uint64_t end = 0;
          each_present_extent(*open.volume, open.view, file.entry.node, [&](const Extent& extent) {
            // By rising offset, without overlap, inside the file and inside the view.
            const bool sound =
                extent.offset >= end && extent.bytes != 0 &&
                saturating_add(extent.offset, extent.bytes) <= file.attributes.bytes &&
                (extent.absent ||
                 (extent.start >= open.view.start() &&
                  extent.start + extent.bytes <= open.view.start() + open.view.bytes()));
            if (!sound) {
              CAPTURE(file.path, extent.offset, extent.start, extent.bytes, file.attributes.bytes,
                      end);
              CHECK(sound);
            }
            end = saturating_add(extent.offset, extent.bytes);
            return true;
          });
          if (file.attributes.type == NodeType::symlink) {
            CHECK(open.volume->link_target(file.entry.node).size() <= 65536);
          }
          return went.files++ < kMostFiles ? Step::go_on : Step::stop;
        },
        findings);
    CHECK_FALSE(result.stopped);
    CHECK(findings.size() < 20'000);
    std::uint64_t next = open.view.start();
    open.volume->each_run([&](const BlockRun& run) {
      CHECK(run.start >= next);
      next = saturating_add(run.start, run.bytes);
      return true;
    });
    (void)check_volume(*open.volume, open.view);
  }
  return went;
}

std::vector<std::size_t> places_looked_at(const Specimen& specimen) {
  const auto source = std::make_shared<Damaged>(specimen.bytes, specimen.bytes.size());
  source->note_reads();
  (void)go_through(source);
  std::vector<std::size_t> all;
  std::uint64_t done = 0;
  for (const auto& [start, end] : source->reads()) {
    for (std::uint64_t at = std::max(start, done); at < end; ++at) {
      // Zeros far from anything else tell nothing; neighbours of something do.
      const auto index = static_cast<std::size_t>(at);
      const bool near_something =
          specimen.bytes[index] != std::byte{0} ||
          (index > 0 && specimen.bytes[index - 1] != std::byte{0}) ||
          (index + 1 < specimen.bytes.size() && specimen.bytes[index + 1] != std::byte{0});
      if (near_something) all.push_back(index);
    }
    done = std::max(done, end);
  }
  if (all.size() <= kMostPlaces) return all;
  std::vector<std::size_t> some;
  for (std::size_t i = 0; i < kMostPlaces; ++i)
    some.push_back(all[i * all.size() / kMostPlaces]);
  return some;
}

TEST_CASE("every specimen with a filesystem shows its files while it is whole") {
  std::size_t with_files = 0;
  for (const Specimen& specimen : specimens()) {
    CAPTURE(specimen.name);
    const Went went = go_through(std::make_shared<Damaged>(specimen.bytes, specimen.bytes.size()));
    with_files += went.files != 0 ? 1 : 0;
  }
  CHECK(with_files >= 6);
}

TEST_CASE("no wrong byte makes a walk crash, hang or leave the volume") {
  for (const Specimen& specimen : specimens()) {
    CAPTURE(specimen.name);
    for (const std::size_t place : places_looked_at(specimen)) {
      CAPTURE(place);
      for (const std::byte value :
           {specimen.bytes[place] ^ std::byte{0xFF}, specimen.bytes[place] ^ std::byte{0x01}}) {
        const auto source = std::make_shared<Damaged>(specimen.bytes, place, value);
        (void)go_through(source);
        CHECK(source->bytes_read() <= 50'000'000 + 400 * specimen.bytes.size());
      }
    }
  }
}

TEST_CASE("no cut makes a walk crash, hang or leave the volume") {
  for (const Specimen& specimen : specimens()) {
    CAPTURE(specimen.name);
    constexpr std::size_t kCuts = 60;
    for (std::size_t i = 0; i < kCuts; ++i) {
      const std::size_t length =
          specimen.bytes.size() * i / kCuts + (i % 3 == 0 ? 0 : i * 37 % 512);
      CAPTURE(length);
      (void)go_through(std::make_shared<Damaged>(specimen.bytes, length));
    }
  }
}

}  // namespace
}  // namespace platter::test
