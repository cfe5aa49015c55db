// How long a walk over the names and inodes of an ext2 volume with 100,000 files takes, beside the
// same walk with libext2fs. The promise: at most 0.6 of it; `of_libext2fs` is the quotient.
#include <algorithm>
#include <ctime>
#include <filesystem>
#include <fstream>
#include <string>
#include <vector>

#include <benchmark/benchmark.h>
#include <ext2fs/ext2fs.h>
#include <fmt/format.h>

#include "files/walk.h"
#include "formats.h"

namespace {

constexpr int kDirectories = 200;
constexpr int kFilesInEach = 500;

// Made once, below the system's folder for temporary files, and removed at the end.
class Sample {
 public:
  Sample() : folder_(std::filesystem::temp_directory_path() / "platter-ext2-bench") {
    namespace fs = std::filesystem;
    fs::remove_all(folder_);
    for (int i = 0; i < kDirectories; ++i) {
      const fs::path directory = folder_ / "tree" / fmt::format("directory {:03}", i);
      fs::create_directories(directory);
      for (int k = 0; k < kFilesInEach; ++k) {
        std::ofstream(directory / fmt::format("file number {:05}", k)) << std::string(k % 600, 'x');
      }
    }
    const std::string command =
        fmt::format("mke2fs -q -F -t ext2 -b 1024 -N 120000 -d '{}' '{}' 300M",
                    (folder_ / "tree").string(), path());
    made_ = std::system(command.c_str()) == 0;
  }
  ~Sample() { std::filesystem::remove_all(folder_); }
  [[nodiscard]] std::string path() const { return (folder_ / "volume.img").string(); }
  [[nodiscard]] bool made() const { return made_; }

 private:
  std::filesystem::path folder_;
  bool made_ = false;
};

const Sample& sample() {
  static const Sample sample;
  return sample;
}

std::uint64_t walk_with_platter(const std::string& path) {
  using namespace platter;
  const View view(map_file(path));
  const auto volume = find_format("ext2")->open(view, {});
  std::vector<Finding> findings;
  std::uint64_t bytes = 0;
  const WalkResult result = walk(
      *volume, volume->root(), "",
      [&](const FileVisit& visit) {
        bytes += visit.attributes.bytes;
        return Step::go_on;
      },
      findings);
  benchmark::DoNotOptimize(bytes);
  return result.files + result.directories;
}

struct LibraryWalk {
  ext2_filsys volume = nullptr;
  std::vector<ext2_ino_t> waiting;
  std::uint64_t files = 0;
  std::uint64_t bytes = 0;
};

int count_entry(ext2_dir_entry* entry, int, int, char*, void* data) {
  auto& walk = *static_cast<LibraryWalk*>(data);
  const std::string_view name(entry->name, static_cast<std::size_t>(ext2fs_dirent_name_len(entry)));
  if (name == "." || name == "..") return 0;
  ext2_inode inode{};
  if (ext2fs_read_inode(walk.volume, entry->inode, &inode) != 0) return 0;
  ++walk.files;
  walk.bytes += inode.i_size;
  if (LINUX_S_ISDIR(inode.i_mode)) walk.waiting.push_back(entry->inode);
  return 0;
}

std::uint64_t walk_with_libext2fs(const std::string& path) {
  LibraryWalk walk;
  if (ext2fs_open(path.c_str(), EXT2_FLAG_64BITS, 0, 0, unix_io_manager, &walk.volume) != 0)
    return 0;
  walk.waiting.push_back(EXT2_ROOT_INO);
  while (!walk.waiting.empty()) {
    const ext2_ino_t directory = walk.waiting.back();
    walk.waiting.pop_back();
    ext2fs_dir_iterate(walk.volume, directory, 0, nullptr, count_entry, &walk);
  }
  ext2fs_close(walk.volume);
  benchmark::DoNotOptimize(walk.bytes);
  return walk.files;
}

double processor_ms() {
  timespec now{};
  clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &now);
  return static_cast<double>(now.tv_sec) * 1e3 + static_cast<double>(now.tv_nsec) / 1e6;
}

double time_of(std::uint64_t (*walk)(const std::string&), std::uint64_t& files) {
  const double begin = processor_ms();
  files = walk(sample().path());
  return processor_ms() - begin;
}

void walk_100000_files(benchmark::State& state) {
  if (!sample().made()) {
    state.SkipWithError("mke2fs made no volume");
    return;
  }
  // The best of a few runs each, in turn: what the machine does besides only adds.
  constexpr int kRounds = 15;
  double ours = 1e9;
  double theirs = 1e9;
  std::uint64_t our_files = 0;
  std::uint64_t their_files = 0;
  for (auto _ : state) {
    for (int round = 0; round < kRounds; ++round) {
      ours = std::min(ours, time_of(walk_with_platter, our_files));
      theirs = std::min(theirs, time_of(walk_with_libext2fs, their_files));
    }
  }
  state.counters["files"] = static_cast<double>(our_files);
  state.counters["platter_ms"] = ours;
  state.counters["libext2fs_ms"] = theirs;
  state.counters["of_libext2fs"] = ours / theirs;
  if (our_files != their_files) state.SkipWithError("the two walks saw different numbers of files");
}

BENCHMARK(walk_100000_files)->Iterations(1)->Unit(benchmark::kMillisecond);

}  // namespace

BENCHMARK_MAIN();
