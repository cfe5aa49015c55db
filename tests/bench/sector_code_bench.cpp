// Throughput of the frame codes. The checks run over `image_bytes` of sound mode 1 frames, far more
// than the caches hold, and zlib's crc32 over the same bytes is the yardstick.
#include <cstring>
#include <random>
#include <vector>

#include <benchmark/benchmark.h>
#include <zlib.h>

#include "framing/sector_code.h"

namespace {

namespace code = platter::sector_code;

constexpr std::size_t image_bytes = std::size_t{128} * 1024 * 1024;
constexpr std::size_t frame_count = image_bytes / code::frame_bytes;

std::vector<std::byte> random_bytes(std::size_t count, unsigned seed) {
  std::mt19937_64 random(seed);
  std::vector<std::byte> bytes(count);
  for (std::byte& byte : bytes)
    byte = static_cast<std::byte>(random() & 0xFFU);
  return bytes;
}

enum class Content { mode1, form1, form2 };

code::Frame encode(Content content, std::span<const std::byte> bytes, std::int32_t lba) {
  const auto user = bytes.first<code::user_bytes>();
  switch (content) {
    case Content::mode1:
      return code::encode_mode1(user, lba).value();
    case Content::form1:
      return code::encode_form1(user, code::Subheader{}, lba).value();
    case Content::form2:
      break;
  }
  return code::encode_form2(bytes.first<code::form2_user_bytes>(), code::Subheader{}, lba).value();
}

std::vector<std::byte> make_image(Content content) {
  // A few distinct frames under every address: encoding all of them would only delay the start.
  const std::vector<std::byte> noise = random_bytes(std::size_t{64} * 1024, 1);
  std::vector<std::byte> image(frame_count * code::frame_bytes);
  for (std::size_t i = 0; i < frame_count; ++i) {
    const std::size_t from = i * 37 % (noise.size() - code::form2_user_bytes);
    const auto frame = encode(content, std::span(noise).subspan(from), static_cast<int>(i));
    std::memcpy(image.data() + i * code::frame_bytes, frame.data(), frame.size());
  }
  return image;
}

const std::vector<std::byte>& image_of(Content content) {
  static const std::vector<std::byte> mode1 = make_image(Content::mode1);
  if (content == Content::mode1) return mode1;
  static const std::vector<std::byte> form1 = make_image(Content::form1);
  if (content == Content::form1) return form1;
  static const std::vector<std::byte> form2 = make_image(Content::form2);
  return form2;
}

void check_image(benchmark::State& state, Content content, code::Path path) {
  const auto& image = image_of(content);
  std::vector<code::FrameCheck> checks(frame_count);
  for (auto _ : state) {
    code::check_frames(image, code::frame_bytes, checks, path);
    for (const auto& check : checks) {
      if (!check.sound()) state.SkipWithError("a sound frame was found bad");
    }
  }
  state.SetBytesProcessed(state.iterations() * static_cast<std::int64_t>(image.size()));
}

void edc_of_image(benchmark::State& state, code::Path path) {
  const auto& image = image_of(Content::mode1);
  for (auto _ : state) {
    for (std::size_t i = 0; i < frame_count; ++i) {
      benchmark::DoNotOptimize(
          code::edc(std::span(image).subspan(i * code::frame_bytes, code::frame_bytes), 0, path));
    }
  }
  state.SetBytesProcessed(state.iterations() * static_cast<std::int64_t>(image.size()));
}

void zlib_crc32_of_image(benchmark::State& state) {
  const auto& image = image_of(Content::mode1);
  for (auto _ : state) {
    benchmark::DoNotOptimize(
        crc32_z(0, reinterpret_cast<const Bytef*>(image.data()), image.size()));
  }
  state.SetBytesProcessed(state.iterations() * static_cast<std::int64_t>(image.size()));
}

// Frames per second with `wrong` bytes wrong in each: 1 is the common case, 400 is beyond repair.
void repair_frames(benchmark::State& state) {
  constexpr std::size_t batch = 64;
  const auto wrong = static_cast<std::size_t>(state.range(0));
  const auto& image = image_of(Content::mode1);
  std::mt19937 random(7);
  std::vector<code::Frame> damaged(batch);
  for (std::size_t i = 0; i < batch; ++i) {
    std::memcpy(damaged[i].data(), image.data() + i * code::frame_bytes, code::frame_bytes);
    for (std::size_t k = 0; k < wrong; ++k) {
      damaged[i][12 + random() % 2340] ^= static_cast<std::byte>(1 + random() % 255);
    }
  }
  for (auto _ : state) {
    for (code::Frame frame : damaged)
      benchmark::DoNotOptimize(code::repair(frame));
  }
  state.SetItemsProcessed(state.iterations() * static_cast<std::int64_t>(batch));
}

using code::Path;
BENCHMARK_CAPTURE(check_image, mode1_fastest, Content::mode1, Path::fastest)
    ->Unit(benchmark::kMillisecond);
BENCHMARK_CAPTURE(check_image, mode1_portable, Content::mode1, Path::portable)
    ->Unit(benchmark::kMillisecond);
BENCHMARK_CAPTURE(check_image, form1_fastest, Content::form1, Path::fastest)
    ->Unit(benchmark::kMillisecond);
BENCHMARK_CAPTURE(check_image, form1_portable, Content::form1, Path::portable)
    ->Unit(benchmark::kMillisecond);
BENCHMARK_CAPTURE(check_image, form2_fastest, Content::form2, Path::fastest)
    ->Unit(benchmark::kMillisecond);
BENCHMARK_CAPTURE(edc_of_image, fastest, Path::fastest)->Unit(benchmark::kMillisecond);
BENCHMARK_CAPTURE(edc_of_image, portable, Path::portable)->Unit(benchmark::kMillisecond);
BENCHMARK(zlib_crc32_of_image)->Unit(benchmark::kMillisecond);
BENCHMARK(repair_frames)->Arg(0)->Arg(1)->Arg(4)->Arg(20)->Arg(400);

}  // namespace
