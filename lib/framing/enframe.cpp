#include "framing/enframe.h"

#include <algorithm>
#include <vector>

#include "core/numbers.h"
#include "framing/stream.h"

namespace platter::framing {
namespace {

namespace code = sector_code;

constexpr std::uint64_t kPiece = 64;

struct Bench {
  std::vector<std::byte> plain = std::vector<std::byte>(kPiece * code::user_bytes);
  std::vector<std::byte> frames = std::vector<std::byte>(kPiece * code::frame_bytes);
};

}  // namespace

bool enframe(const ByteSource& plain, unsigned jobs, const WritePlain& write,
             const KeepGoing& keep_going) {
  const std::uint64_t sectors = std::min(divide_up(plain.size(), code::user_bytes), kMostFrames);
  const Stream stream(plain);
  const unsigned workers = suitable_jobs(plain.size(), jobs);
  std::vector<Bench> benches(workers);
  const auto work = [&](unsigned worker, std::uint64_t piece) {
    Bench& bench = benches[worker];
    const std::uint64_t first = piece * kPiece;
    const auto count = static_cast<std::size_t>(std::min(kPiece, sectors - first));
    const auto user = std::span(bench.plain).first(count * code::user_bytes);
    const std::size_t got = stream.read(first * code::user_bytes, user);
    std::ranges::fill(user.subspan(got), std::byte{0});
    for (std::size_t i = 0; i < count; ++i) {
      const auto frame =
          code::encode_mode1(user.subspan(i * code::user_bytes).first<code::user_bytes>(),
                             static_cast<std::int32_t>(first + i));
      if (frame)
        std::ranges::copy(
            *frame, bench.frames.begin() + static_cast<std::ptrdiff_t>(i * code::frame_bytes));
    }
    write(first * code::frame_bytes, std::span(bench.frames).first(count * code::frame_bytes));
  };
  return share_out(divide_up(sectors, kPiece), workers, keep_going, work);
}

}  // namespace platter::framing
