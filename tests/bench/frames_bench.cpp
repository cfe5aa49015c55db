// Throughput of `platter frames`: a file of 600 MiB that lies in the page cache, read through the
// source that the program opens. Promised: on one core at least 2.0 GB/s where the processor has
// carry-less multiplication and at least 0.8 GB/s in portable code, and at most 1.6 times as long
// as zlib's crc32 over the same bytes.
#include <unistd.h>

#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <string>
#include <thread>

#include <benchmark/benchmark.h>
#include <zlib.h>

#include "framing/enframe.h"
#include "framing/examine.h"
#include "framing/stream.h"

namespace {

using namespace platter;

constexpr std::uint64_t kImageBytes = std::uint64_t{600} << 20U;
constexpr std::uint64_t kFrames = kImageBytes / sector_code::frame_bytes;

// A file that is gone when the program ends.
class Dump {
 public:
  Dump()
      : path_(std::filesystem::temp_directory_path() /
              ("platter-bench-" + std::to_string(getpid()))) {
    std::vector<std::byte> plain(kFrames * sector_code::user_bytes);
    std::uint64_t state = 1;
    for (std::byte& byte : plain) {
      state = state * 6364136223846793005U + 1442695040888963407U;
      byte = static_cast<std::byte>(state >> 56U);
    }
    std::ofstream file(path_, std::ios::binary);
    const bool written = framing::enframe(
        MemorySource(std::move(plain)), 1,
        [&](std::uint64_t, std::span<const std::byte> bytes) {  // one thread: in order
          file.write(reinterpret_cast<const char*>(bytes.data()),
                     static_cast<std::streamsize>(bytes.size()));
        });
    file.close();
    if (!written || !file) std::abort();
    source_ = map_file(path_.string());
    layout_ = framing::find_layout(View(source_), 2352).value();
  }
  Dump(const Dump&) = delete;
  Dump& operator=(const Dump&) = delete;
  ~Dump() {
    std::error_code ignored;
    std::filesystem::remove(path_, ignored);
  }
  [[nodiscard]] const ByteSource& source() const { return *source_; }
  [[nodiscard]] const framing::FrameLayout& layout() const { return layout_; }

 private:
  std::filesystem::path path_;
  std::shared_ptr<const ByteSource> source_;
  framing::FrameLayout layout_;
};

const Dump& dump() {
  static const Dump made;
  return made;
}

// Hands the mapping out, but no descriptor: every byte comes through the guarded copy.
class Mapped final : public ByteSource {
 public:
  explicit Mapped(const ByteSource& inner) : inner_(inner) {}
  [[nodiscard]] std::uint64_t size() const noexcept override { return inner_.size(); }
  std::size_t read(std::uint64_t offset, std::span<std::byte> out) const override {
    return inner_.read(offset, out);
  }

 private:
  const ByteSource& inner_;
};

void examine(benchmark::State& state, const ByteSource& source, unsigned jobs,
             sector_code::Path path) {
  framing::ExamineOptions options;
  options.jobs = jobs;
  options.path = path;
  for (auto _ : state) {
    const auto seen = framing::examine(source, dump().layout(), options);
    if (!seen.bad.empty() || !seen.steps.empty()) state.SkipWithError("a sound dump was found bad");
  }
  state.SetBytesProcessed(state.iterations() * static_cast<std::int64_t>(source.size()));
}

void one_core(benchmark::State& state) {
  examine(state, dump().source(), 1, sector_code::Path::fastest);
}
void one_core_portable(benchmark::State& state) {
  examine(state, dump().source(), 1, sector_code::Path::portable);
}
void one_core_through_the_mapping(benchmark::State& state) {
  examine(state, Mapped(dump().source()), 1, sector_code::Path::fastest);
}
void two_cores(benchmark::State& state) {
  examine(state, dump().source(), 2, sector_code::Path::fastest);
}
void two_cores_portable(benchmark::State& state) {
  examine(state, dump().source(), 2, sector_code::Path::portable);
}

// The yardstick reads the same file in the same way.
void zlib_crc32(benchmark::State& state) {
  const framing::Stream stream(dump().source());
  std::vector<std::byte> buffer(64 * sector_code::frame_bytes);
  for (auto _ : state) {
    uLong sum = 0;
    for (std::uint64_t at = 0; at < dump().source().size(); at += buffer.size()) {
      const std::size_t got = stream.read(at, buffer);
      sum = crc32_z(sum, reinterpret_cast<const Bytef*>(buffer.data()), got);
    }
    benchmark::DoNotOptimize(sum);
  }
  state.SetBytesProcessed(state.iterations() * static_cast<std::int64_t>(dump().source().size()));
}

void reading_alone(benchmark::State& state) {
  const framing::Stream stream(dump().source());
  std::vector<std::byte> buffer(64 * sector_code::frame_bytes);
  for (auto _ : state) {
    for (std::uint64_t at = 0; at < dump().source().size(); at += buffer.size()) {
      benchmark::DoNotOptimize(stream.read(at, buffer));
    }
  }
  state.SetBytesProcessed(state.iterations() * static_cast<std::int64_t>(dump().source().size()));
}

BENCHMARK(one_core)->Unit(benchmark::kMillisecond)->UseRealTime()->MeasureProcessCPUTime();
BENCHMARK(one_core_portable)->Unit(benchmark::kMillisecond)->UseRealTime()->MeasureProcessCPUTime();
BENCHMARK(one_core_through_the_mapping)
    ->Unit(benchmark::kMillisecond)
    ->UseRealTime()
    ->MeasureProcessCPUTime();
BENCHMARK(two_cores)->Unit(benchmark::kMillisecond)->UseRealTime()->MeasureProcessCPUTime();
BENCHMARK(two_cores_portable)
    ->Unit(benchmark::kMillisecond)
    ->UseRealTime()
    ->MeasureProcessCPUTime();
BENCHMARK(zlib_crc32)->Unit(benchmark::kMillisecond)->UseRealTime()->MeasureProcessCPUTime();
BENCHMARK(reading_alone)->Unit(benchmark::kMillisecond)->UseRealTime()->MeasureProcessCPUTime();

}  // namespace

BENCHMARK_MAIN();
