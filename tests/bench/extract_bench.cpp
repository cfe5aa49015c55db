// Taking 500 MiB in 5,000 files out of an ISO image on tmpfs: platter as a whole process,
// libarchive's reader writing to disk, and cp -r of the same tree.
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <stdexcept>
#include <string>

#include <archive.h>
#include <archive_entry.h>
#include <benchmark/benchmark.h>

namespace {

namespace fs = std::filesystem;

constexpr int kDirectories = 50;
constexpr int kFilesEach = 100;
constexpr std::size_t kFileBytes = 100 * 1024 + 377;  // no whole number of sectors

void run(const std::string& command) {
  if (std::system(command.c_str()) != 0) throw std::runtime_error("failed: " + command);
}

// The tree, the image of it, and a place for the output, in memory.
class Place {
 public:
  Place() {
    std::string pattern = "/dev/shm/platter-bench-XXXXXX";
    if (mkdtemp(pattern.data()) == nullptr) throw std::runtime_error("no temporary directory");
    path_ = pattern;
    std::string content(kFileBytes, '\0');
    unsigned state = 1;
    for (int d = 0; d < kDirectories; ++d) {
      const fs::path directory = path_ / "tree" / ("directory-" + std::to_string(d));
      fs::create_directories(directory);
      for (int f = 0; f < kFilesEach; ++f) {
        for (std::size_t i = 0; i < content.size(); i += 512) {
          content[i] = static_cast<char>((state = state * 1664525U + 1013904223U) >> 24U);
        }
        std::ofstream(directory / ("file-" + std::to_string(f)), std::ios::binary) << content;
      }
    }
    run("genisoimage -quiet -R -o " + image() + " " + (path_ / "tree").string());
    // A virtual machine takes its time for memory that it touches for the first time.
    run("cp -r " + tree() + " " + out());
  }
  Place(const Place&) = delete;
  Place& operator=(const Place&) = delete;
  ~Place() { fs::remove_all(path_); }

  [[nodiscard]] std::string image() const { return (path_ / "image.iso").string(); }
  [[nodiscard]] std::string tree() const { return (path_ / "tree").string(); }
  [[nodiscard]] std::string out() const { return (path_ / "out").string(); }

 private:
  fs::path path_;
};

const Place& place() {
  static const Place made;
  return made;
}

void clear_out(benchmark::State& state) {
  state.PauseTiming();
  fs::remove_all(place().out());
  state.ResumeTiming();
}

void platter_extract(benchmark::State& state) {
  const std::string command = std::string(PLATTER_PROGRAM " extract ") + place().image() +
                              " --to " + place().out() + " >/dev/null";
  for (auto _ : state) {
    clear_out(state);
    run(command);
  }
}

void libarchive_extract(benchmark::State& state) {
  for (auto _ : state) {
    clear_out(state);
    fs::create_directory(place().out());
    const fs::path before = fs::current_path();
    archive* reader = archive_read_new();
    archive_read_support_format_iso9660(reader);
    archive* disk = archive_write_disk_new();
    archive_write_disk_set_options(disk, ARCHIVE_EXTRACT_TIME | ARCHIVE_EXTRACT_PERM);
    if (archive_read_open_filename(reader, place().image().c_str(), 1 << 20) != ARCHIVE_OK) {
      throw std::runtime_error(archive_error_string(reader));
    }
    fs::current_path(place().out());
    archive_entry* entry = nullptr;
    while (archive_read_next_header(reader, &entry) == ARCHIVE_OK) {
      archive_read_extract2(reader, entry, disk);
    }
    archive_read_free(reader);
    archive_write_free(disk);
    fs::current_path(before);
  }
}

void cp_recursive(benchmark::State& state) {
  const std::string command = "cp -r " + place().tree() + " " + place().out();
  for (auto _ : state) {
    clear_out(state);
    run(command);
  }
}

BENCHMARK(platter_extract)->UseRealTime()->Unit(benchmark::kMillisecond);
BENCHMARK(libarchive_extract)->UseRealTime()->Unit(benchmark::kMillisecond);
BENCHMARK(cp_recursive)->UseRealTime()->Unit(benchmark::kMillisecond);

}  // namespace
