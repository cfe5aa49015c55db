// Start-up and inspection of a 64 GiB sparse disk (Sun label, FFS), whole processes, side by side
// with /bin/true and with a program that does a full libblkid probe of the same disk.
#include <fcntl.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#include <algorithm>
#include <cstdlib>
#include <stdexcept>
#include <string>
#include <vector>

#include <benchmark/benchmark.h>
#include <spawn.h>

#include "writers/ffs_writer.h"
#include "writers/sun_writer.h"

extern char** environ;

namespace {

constexpr std::uint64_t kDiskBytes = std::uint64_t{64} << 30U;

class SparseDisk {
 public:
  SparseDisk() {
    std::string pattern = "/tmp/platter-bench-XXXXXX";
    const int file = mkstemp(pattern.data());
    if (file < 0) throw std::runtime_error("no temporary file");
    path_ = pattern;
    platter::fixtures::FfsOptions options;
    options.volume_bytes = std::uint64_t{16} << 20U;
    platter::fixtures::FfsWriter writer(options);
    writer.add_file("vmunix", "kernel");
    std::vector<std::byte> start = writer.build();
    platter::fixtures::SunLabel label;
    label.cylinders = 65533;
    label.heads = 32;
    label.sectors_per_track = 64;
    label.slices[0] = {.first_cylinder = 0, .blocks = 32768, .tag = 2};
    label.slices[2] = {.first_cylinder = 0, .blocks = 65533U * 2048U, .tag = 5};
    platter::fixtures::write_sun_label(start, label);
    const bool written =
        ftruncate(file, static_cast<off_t>(kDiskBytes)) == 0 &&
        pwrite(file, start.data(), start.size(), 0) == static_cast<ssize_t>(start.size());
    close(file);
    if (!written) throw std::runtime_error("cannot write the sparse disk");
  }
  SparseDisk(const SparseDisk&) = delete;
  SparseDisk& operator=(const SparseDisk&) = delete;
  ~SparseDisk() { unlink(path_.c_str()); }
  [[nodiscard]] const std::string& path() const noexcept { return path_; }

 private:
  std::string path_;
};

const SparseDisk& sparse_disk() {
  static const SparseDisk disk;
  return disk;
}

// Runs a program to its end with its output thrown away; returns its peak memory in KiB.
long run(std::vector<std::string> words) {
  std::vector<char*> arguments;
  for (std::string& word : words)
    arguments.push_back(word.data());
  arguments.push_back(nullptr);
  posix_spawn_file_actions_t actions;
  posix_spawn_file_actions_init(&actions);
  posix_spawn_file_actions_addopen(&actions, STDOUT_FILENO, "/dev/null", O_WRONLY, 0);
  pid_t child = 0;
  if (posix_spawn(&child, arguments[0], &actions, nullptr, arguments.data(), environ) != 0) {
    throw std::runtime_error("cannot start " + words[0]);
  }
  posix_spawn_file_actions_destroy(&actions);
  int status = 0;
  rusage usage{};
  wait4(child, &status, 0, &usage);
  if (status != 0) throw std::runtime_error(words[0] + " failed");
  return usage.ru_maxrss;
}

void whole_process(benchmark::State& state, const std::vector<std::string>& words) {
  long peak = 0;
  for (auto _ : state)
    peak = std::max(peak, run(words));
  state.counters["peak_KiB"] = static_cast<double>(peak);
}

void bin_true(benchmark::State& state) {
  whole_process(state, {"/bin/true"});
}
void platter_version(benchmark::State& state) {
  whole_process(state, {PLATTER_PROGRAM, "--version"});
}
void platter_inspect(benchmark::State& state) {
  whole_process(state, {PLATTER_PROGRAM, "inspect", sparse_disk().path()});
}
void libblkid_full_probe(benchmark::State& state) {
  whole_process(state, {PLATTER_BLKID_PROBE, sparse_disk().path()});
}

BENCHMARK(bin_true)->UseRealTime()->Unit(benchmark::kMicrosecond);
BENCHMARK(platter_version)->UseRealTime()->Unit(benchmark::kMicrosecond);
BENCHMARK(platter_inspect)->UseRealTime()->Unit(benchmark::kMicrosecond);
BENCHMARK(libblkid_full_probe)->UseRealTime()->Unit(benchmark::kMicrosecond);

}  // namespace
