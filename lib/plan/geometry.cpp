// The solver works on the largest size <= the asked one that has any factorisation within the
// limits. That size is found in two ways: stepping down a few blocks, factorising each (nearly
// always enough, because most numbers have one), and otherwise by trying every pair of the two
// tightest dimensions, where the third follows by division.
#include "plan/geometry.h"

#include <algorithm>
#include <array>
#include <charconv>
#include <string>
#include <tuple>

#include <fmt/format.h>

#include "core/charset.h"
#include "core/numbers.h"

namespace platter::plan {
namespace {

// Field widths: illumos sys/dklabel.h (16 bits each); NetBSD sys/bootblock.h for the SGI volume
// header (16 bits each; whether its eighth cylinder byte is one is in doubt, so it is not counted),
// for the dlV label (32 bits, signed) and for the MBR (10, 8 and 6 bits; sectors count from 1);
// NetBSD sys/disklabel.h (32 bits each).
constexpr std::uint64_t k16 = 0xFFFF;
constexpr std::uint64_t k31 = 0x7FFFFFFF;
constexpr std::uint64_t k32 = 0xFFFFFFFF;
constexpr LabelWidths kLabelWidths[] = {
    {"sun", "Sun disk label", k16, k16, k16},
    {"sgi", "SGI volume header", k16, k16, k16},
    {"bsd", "BSD disklabel", k32, k32, k32},
    {"dlv", "dlV label", k31, k31, k31},
    {"mbr", "MBR", 1024, 256, 63},
};

// Bounds with the fixed values folded in.
struct Box {
  std::uint64_t min_heads = 1;
  std::uint64_t max_heads = kMaxHeads;
  std::uint64_t min_sectors = 1;
  std::uint64_t max_sectors = kMaxSectors;
  std::uint64_t max_cylinders = kMaxCylinders;

  [[nodiscard]] bool possible() const {
    return min_heads >= 1 && min_heads <= max_heads && min_sectors >= 1 &&
           min_sectors <= max_sectors && max_cylinders >= 1;
  }
  // At most 2^48.
  [[nodiscard]] std::uint64_t top() const { return max_cylinders * max_heads * max_sectors; }
};

Box box_of(const GeometryLimits& limits) {
  Box box;
  box.max_cylinders = std::min(limits.max_cylinders, kMaxCylinders);
  box.max_heads = std::min(limits.max_heads, kMaxHeads);
  box.max_sectors = std::min(limits.max_sectors, kMaxSectors);
  if (limits.heads) {
    box.min_heads = *limits.heads;
    box.max_heads = std::min(*limits.heads, box.max_heads);
  }
  if (limits.sectors_per_track) {
    box.min_sectors = *limits.sectors_per_track;
    box.max_sectors = std::min(*limits.sectors_per_track, box.max_sectors);
  }
  return box;
}

constexpr std::size_t kPrimesBelow65536 = 6542;

const std::array<std::uint16_t, kPrimesBelow65536>& small_primes() {
  static const auto primes = [] {
    std::array<std::uint16_t, kPrimesBelow65536> result{};
    std::vector<bool> composite(65536);
    std::size_t count = 0;
    for (std::size_t i = 2; i < composite.size(); ++i) {
      if (composite[i]) continue;
      result[count++] = static_cast<std::uint16_t>(i);
      for (std::size_t j = i * i; j < composite.size(); j += i)
        composite[j] = true;
    }
    return result;
  }();
  return primes;
}

// Divisors of n that are <= limit, in no order. Only primes <= limit can be in one, so a large
// cofactor is never factorised.
void divisors_up_to(std::uint64_t n, std::uint64_t limit, std::vector<std::uint64_t>& out) {
  out.assign(1, 1);
  std::uint64_t rest = n;
  for (const std::uint64_t prime : small_primes()) {
    if (prime > limit) break;
    if (prime * prime > rest) break;
    const std::size_t count = out.size();
    for (std::uint64_t power = prime; rest % prime == 0; power *= prime) {
      rest /= prime;
      for (std::size_t i = 0; i < count && power <= limit; ++i) {
        if (out[i] * power <= limit) out.push_back(out[i] * power);
      }
    }
  }
  if (rest > 1 && rest <= limit) {  // what is left then is prime
    const std::size_t end = out.size();
    for (std::size_t i = 0; i < end; ++i) {
      if (out[i] * rest <= limit) out.push_back(out[i] * rest);
    }
  }
}

// Calls visit for each exact geometry; stops when it returns false.
template <typename Visit>
void for_each_exact(std::uint64_t n, const Box& box, std::vector<std::uint64_t>& divisors,
                    Visit visit) {
  if (n == 0 || n > box.top()) return;
  divisors_up_to(n, box.max_sectors, divisors);
  for (std::uint64_t heads = box.min_heads; heads <= box.max_heads; ++heads) {
    if (n % heads != 0) continue;
    const std::uint64_t tracks = n / heads;
    for (const std::uint64_t sectors : divisors) {
      if (sectors < box.min_sectors || tracks % sectors != 0) continue;
      if (tracks / sectors > box.max_cylinders) continue;
      if (!visit(Geometry{tracks / sectors, heads, sectors})) return;
    }
  }
}

// The largest a * b * c <= n with b in [low_b, high_b], c in [low_c, high_c] and a in [1, max_a].
// One of the three is the outer loop's, so at most 255 x 65535 pairs are tried; `best` prunes.
struct PairSearch {
  std::uint64_t n = 0;
  std::uint64_t best = 0;

  void try_row(std::uint64_t outer, std::uint64_t low, std::uint64_t high,
               std::uint64_t max_third) {
    high = std::min(high, n / outer);
    // A smaller inner value cannot reach `best` even with the largest third value.
    low = std::max(low, best / outer / max_third);
    for (std::uint64_t inner = high; inner >= low && inner > 0; --inner) {
      const std::uint64_t pair = outer * inner;
      // 32-bit division is several times faster, and n is nearly always that small.
      const std::uint64_t quotient =
          n <= k32 ? static_cast<std::uint32_t>(n) / static_cast<std::uint32_t>(pair) : n / pair;
      const std::uint64_t reached = std::min(quotient, max_third) * pair;
      if (reached > best) best = reached;
      if (best == n) return;
    }
  }
};

std::uint64_t best_by_pairs(std::uint64_t n, const Box& box) {
  PairSearch search{.n = n};
  const bool by_cylinder =
      box.max_cylinders < box.max_sectors - box.min_sectors + 1 && box.min_sectors == 1;
  for (std::uint64_t heads = box.max_heads; heads >= box.min_heads; --heads) {
    if (heads > n) continue;
    if (by_cylinder) {
      search.try_row(heads, 1, box.max_cylinders, box.max_sectors);
    } else {
      search.try_row(heads, box.min_sectors, box.max_sectors, box.max_cylinders);
    }
    if (search.best == n) break;
  }
  return search.best;
}

constexpr std::uint64_t kStepsDown = 64;

// The largest size <= n that some geometry within the box describes; 0 when there is none.
std::uint64_t reachable(std::uint64_t n, const Box& box, std::vector<std::uint64_t>& divisors) {
  n = std::min(n, box.top());
  for (std::uint64_t lost = 0; lost < kStepsDown && lost < n; ++lost) {
    bool found = false;
    for_each_exact(n - lost, box, divisors, [&found](const Geometry&) {
      found = true;
      return false;
    });
    if (found) return n - lost;
  }
  return best_by_pairs(n, box);
}

}  // namespace

std::uint64_t Geometry::cylinder_blocks() const noexcept {
  return saturating_mul(heads, sectors_per_track);
}

std::uint64_t Geometry::blocks() const noexcept {
  return saturating_mul(cylinders, heads, sectors_per_track);
}

std::span<const LabelWidths> label_widths() noexcept {
  return kLabelWidths;
}

const LabelWidths* find_label_widths(std::string_view label) noexcept {
  const auto* found = std::ranges::find(kLabelWidths, label, &LabelWidths::label);
  return found == std::end(kLabelWidths) ? nullptr : found;
}

GeometryLimits narrowed(GeometryLimits limits, const LabelWidths& widths) noexcept {
  limits.max_cylinders = std::min(limits.max_cylinders, widths.max_cylinders);
  limits.max_heads = std::min(limits.max_heads, widths.max_heads);
  limits.max_sectors = std::min(limits.max_sectors, widths.max_sectors);
  return limits;
}

bool is_period_typical(const Geometry& geometry) noexcept {
  return geometry.heads <= 16 && geometry.sectors_per_track <= 63;
}

bool ranks_before(const GeometryChoice& a, const GeometryChoice& b) noexcept {
  const auto key = [](const GeometryChoice& choice) {
    return std::tuple(choice.unused_blocks, !is_period_typical(choice.geometry),
                      choice.geometry.cylinders, choice.geometry.heads,
                      choice.geometry.sectors_per_track);
  };
  return key(a) < key(b);
}

std::vector<GeometryChoice> solve_geometry(std::uint64_t blocks, const GeometryLimits& limits,
                                           std::size_t at_most) {
  std::vector<GeometryChoice> choices;
  const Box box = box_of(limits);
  if (blocks == 0 || !box.possible()) return choices;
  std::vector<std::uint64_t> divisors;
  const std::uint64_t size = reachable(blocks, box, divisors);
  for_each_exact(size, box, divisors, [&](const Geometry& geometry) {
    choices.push_back({geometry, blocks - size});
    return true;
  });
  const std::size_t kept = std::min(at_most, choices.size());
  std::partial_sort(choices.begin(), choices.begin() + static_cast<std::ptrdiff_t>(kept),
                    choices.end(), ranks_before);
  choices.resize(kept);
  return choices;
}

Parsed<Geometry> parse_geometry(std::string_view text) {
  std::array<std::uint64_t, 3> parts{};
  constexpr std::array<std::uint64_t, 3> kBounds = {kMaxCylinders, kMaxHeads, kMaxSectors};
  constexpr std::array<std::string_view, 3> kNames = {"cylinders", "heads", "sectors per track"};
  const std::string shown = printable(text);
  for (std::size_t i = 0; i < parts.size(); ++i) {
    const auto [end, problem] = std::from_chars(text.data(), text.data() + text.size(), parts[i]);
    if (problem != std::errc{} || (i < 2) != (end != text.data() + text.size() && *end == '/')) {
      return {{}, fmt::format("'{}' is no C/H/S", shown)};
    }
    if (i == 2 && end != text.data() + text.size()) {
      return {{}, fmt::format("'{}' is no C/H/S", shown)};
    }
    if (parts[i] < 1 || parts[i] > kBounds[i]) {
      return {{},
              fmt::format("'{}' has {} {}; a mode page can say 1 to {}", shown, parts[i], kNames[i],
                          kBounds[i])};
    }
    if (i < 2) text.remove_prefix(static_cast<std::size_t>(end - text.data()) + 1);
  }
  return {Geometry{parts[0], parts[1], parts[2]}, {}};
}

GeometryLike geometry_like(const Geometry& geometry, std::uint64_t blocks) noexcept {
  const std::uint64_t cylinder = geometry.cylinder_blocks();
  GeometryLike like{geometry.blocks(), geometry, geometry};
  if (cylinder == 0) return like;
  like.below.cylinders = blocks / cylinder;
  like.above.cylinders = divide_up(blocks, cylinder);
  return like;
}

}  // namespace platter::plan
