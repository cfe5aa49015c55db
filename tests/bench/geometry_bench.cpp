// How long the geometry solver takes. The promise: any size below 2^32 answers within 50 ms. The
// slowest sizes are those without an exact answer near the top of what tight limits can describe,
// so those are sought out; `worst_ms` is the slowest single answer of a run.
#include <algorithm>
#include <ctime>
#include <random>
#include <vector>

#include <benchmark/benchmark.h>

#include "plan/geometry.h"

namespace {

using namespace platter::plan;

constexpr double kPromiseMs = 50;

GeometryLimits bounds(std::uint64_t c, std::uint64_t h, std::uint64_t s) {
  GeometryLimits limits;
  limits.max_cylinders = c;
  limits.max_heads = h;
  limits.max_sectors = s;
  return limits;
}

// Of processor time: what else the machine does meanwhile is not the solver's fault.
double processor_ms() {
  timespec now{};
  clock_gettime(CLOCK_THREAD_CPUTIME_ID, &now);
  return static_cast<double>(now.tv_sec) * 1e3 + static_cast<double>(now.tv_nsec) / 1e6;
}

double milliseconds_for(std::uint64_t blocks, const GeometryLimits& limits) {
  const double begin = processor_ms();
  benchmark::DoNotOptimize(solve_geometry(blocks, limits, 10));
  return processor_ms() - begin;
}

void report(benchmark::State& state, double worst) {
  state.counters["worst_ms"] = worst;
  if (worst > kPromiseMs) state.SkipWithError("an answer took longer than 50 ms");
}

void any_size(benchmark::State& state) {
  std::mt19937 random(1);
  double worst = 0;
  for (auto _ : state)
    worst = std::max(worst, milliseconds_for(random(), {}));
  report(state, worst);
}

void label_limits(benchmark::State& state) {
  std::mt19937 random(2);
  double worst = 0;
  for (auto _ : state) {
    for (const LabelWidths& widths : label_widths()) {
      worst = std::max(worst, milliseconds_for(random(), narrowed({}, widths)));
    }
  }
  report(state, worst);
}

// Limits whose product is about 2^32, and sizes just below that product.
void near_the_top(benchmark::State& state) {
  std::mt19937_64 random(3);
  double worst = 0;
  for (auto _ : state) {
    const std::uint64_t heads = 1 + random() % 255;
    const std::uint64_t sectors = 1 + random() % 65535;
    const std::uint64_t cylinders =
        std::clamp<std::uint64_t>((std::uint64_t{1} << 32) / (heads * sectors), 1, kMaxCylinders);
    const std::uint64_t top = heads * sectors * cylinders;
    const std::uint64_t step = std::max({heads * sectors, heads * cylinders, sectors * cylinders});
    const std::uint64_t below = 1 + random() % (2 * step);
    const std::uint64_t blocks = below < top ? top - below : top;
    if (blocks >> 32 != 0) continue;
    worst = std::max(worst, milliseconds_for(blocks, bounds(cylinders, heads, sectors)));
  }
  report(state, worst);
}

BENCHMARK(any_size)->Iterations(2000)->Unit(benchmark::kMillisecond);
BENCHMARK(label_limits)->Iterations(500)->Unit(benchmark::kMillisecond);
BENCHMARK(near_the_top)->Iterations(2000)->Unit(benchmark::kMillisecond);

}  // namespace

BENCHMARK_MAIN();
