#include "job/file_owners.h"

#include <fmt/format.h>

#include "files/content.h"
#include "files/walk.h"
#include "job/volumes.h"

namespace platter {
namespace {

constexpr std::size_t kMostFiles = 3;

}  // namespace

FileOwners::FileOwners(const StraightSurvey& survey, const std::vector<ByteRun>& runs) {
  for (const ByteRun& run : runs)
    runs_[run.start].bytes = run.bytes;
  if (runs_.empty()) return;
  for (OpenVolume& open : open_volumes(survey, "", {}).open) {
    const auto note = [&](const Extent& extent, const FileVisit& file) {
      const std::uint64_t end = saturating_add(extent.start, extent.bytes);
      auto run = runs_.upper_bound(extent.start);
      if (run != runs_.begin() &&
          saturating_add(std::prev(run)->first, std::prev(run)->second.bytes) > extent.start) {
        --run;
      }
      for (; run != runs_.end() && run->first < end; ++run) {
        Owned& owned = run->second;
        if (++owned.count > kMostFiles) continue;
        const bool directory = file.attributes.type == NodeType::directory;
        owned.files += fmt::format("{}{} {} of {}", owned.files.empty() ? "" : "; ",
                                   directory ? "directory" : "file", file.path, open.layer->id);
      }
    };
    std::vector<Finding> ignored;  // frames are what is asked about here
    walk(
        *open.volume, open.volume->root(), "",
        [&](const FileVisit& file) {
          try {
            each_present_extent(*open.volume, open.view, file.entry.node,
                                [&](const Extent& extent) {
                                  if (!extent.absent) note(extent, file);
                                  return true;
                                });
          } catch (const IoError&) {
            return Step::skip;  // a frame that cannot be read; it is told as such
          }
          return Step::go_on;
        },
        ignored);
  }
}

std::string FileOwners::words(std::uint64_t start) const {
  const auto run = runs_.find(start);
  if (run == runs_.end()) return {};
  return run->second.files + (run->second.count > kMostFiles ? "; ..." : "");
}

}  // namespace platter
