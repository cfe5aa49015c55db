// Listing a disc of 100 000 files in 1 000 directories, with every file's attributes: platter's
// walk, libarchive's reader and a recursion with libiso9660. The image is made once with
// genisoimage and lies in the page cache. Promised: at most 0.15 of libarchive's time and 0.6 of
// libiso9660's.
#include <unistd.h>

#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <string>

#include <archive.h>
#include <archive_entry.h>
#include <benchmark/benchmark.h>
#include <cdio/iso9660.h>
#include <fmt/format.h>

#include "core/source.h"
#include "files/walk.h"
#include "formats.h"

namespace {

using namespace platter;

constexpr std::int64_t kDirectories = 1000;
constexpr std::int64_t kFilesInEach = 100;
constexpr std::int64_t kNames = kDirectories * (kFilesInEach + 1);

// A disc that is gone when the program ends.
class Disc {
 public:
  Disc()
      : directory_(std::filesystem::temp_directory_path() / fmt::format("platter-{}", getpid())) {
    const std::filesystem::path source = directory_ / "source";
    for (std::int64_t d = 0; d < kDirectories; ++d) {
      const auto in = source / fmt::format("directory{:04}", d);
      std::filesystem::create_directories(in);
      for (std::int64_t f = 0; f < kFilesInEach; ++f) {
        std::ofstream(in / fmt::format("file number {:03}.txt", f)) << d << ' ' << f;
      }
    }
    const std::string command =
        fmt::format("genisoimage -quiet -R -J -o '{}' '{}'", path(), source.string());
    made_ = std::system(command.c_str()) == 0;  // NOLINT: a bench, run by hand
  }
  Disc(const Disc&) = delete;
  Disc& operator=(const Disc&) = delete;
  ~Disc() {
    std::error_code ignored;
    std::filesystem::remove_all(directory_, ignored);
  }
  [[nodiscard]] std::string path() const { return (directory_ / "disc.iso").string(); }
  [[nodiscard]] bool made() const { return made_; }

 private:
  std::filesystem::path directory_;
  bool made_ = false;
};

const Disc& disc() {
  static const Disc made;
  return made;
}

void finish(benchmark::State& state, std::int64_t names) {
  if (names != kNames) state.SkipWithError("not all names were listed");
  state.SetItemsProcessed(state.iterations() * kNames);
}

bool ready(benchmark::State& state) {
  if (!disc().made()) state.SkipWithError("genisoimage made no image");
  return disc().made();
}

void list_with_platter(benchmark::State& state) {
  if (!ready(state)) return;
  std::int64_t names = 0;
  for (auto _ : state) {
    const View view(map_file(disc().path()));
    const auto volume = find_format("iso9660")->open(view, {});
    std::vector<Finding> findings;
    const WalkResult result = walk(
        *volume, volume->root(), "",
        [](const FileVisit& visit) {
          benchmark::DoNotOptimize(visit.attributes.bytes);
          return Step::go_on;
        },
        findings);
    names = static_cast<std::int64_t>(result.files + result.directories);
  }
  finish(state, names);
}

void list_with_libarchive(benchmark::State& state) {
  if (!ready(state)) return;
  std::int64_t names = 0;
  for (auto _ : state) {
    archive* reader = archive_read_new();
    archive_read_support_format_iso9660(reader);
    archive_read_open_filename(reader, disc().path().c_str(), 65536);
    archive_entry* entry = nullptr;
    names = -1;  // it counts the root as well
    while (archive_read_next_header(reader, &entry) == ARCHIVE_OK)
      ++names;
    archive_read_free(reader);
  }
  finish(state, names);
}

std::int64_t count_with_libiso9660(iso9660_t* volume, const std::string& directory) {
  std::int64_t names = 0;
  CdioISO9660FileList_t* list = iso9660_ifs_readdir(volume, directory.c_str());
  CdioListNode_t* node = nullptr;
  _CDIO_LIST_FOREACH(node, list) {
    const auto* stat = static_cast<const iso9660_stat_t*>(_cdio_list_node_data(node));
    const std::string name = stat->filename;
    if (name == "." || name == "..") continue;
    ++names;
    if (stat->type == iso9660_stat_s::_STAT_DIR) {
      names += count_with_libiso9660(volume, directory + name + "/");
    }
  }
  iso9660_filelist_free(list);
  return names;
}

void list_with_libiso9660(benchmark::State& state) {
  if (!ready(state)) return;
  std::int64_t names = 0;
  for (auto _ : state) {
    iso9660_t* volume = iso9660_open_ext(disc().path().c_str(), ISO_EXTENSION_ROCK_RIDGE);
    names = count_with_libiso9660(volume, "/");
    iso9660_close(volume);
  }
  finish(state, names);
}

BENCHMARK(list_with_platter)->Unit(benchmark::kMillisecond);
BENCHMARK(list_with_libarchive)->Unit(benchmark::kMillisecond);
BENCHMARK(list_with_libiso9660)->Unit(benchmark::kMillisecond);

}  // namespace
