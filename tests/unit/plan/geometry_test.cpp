// The solver against brute force over everything small, and against figures from outside.
#include "plan/geometry.h"

#include <algorithm>
#include <random>
#include <vector>

#include <catch2/catch.hpp>

namespace {

using namespace platter::plan;

constexpr std::size_t kAll = 1000000;

// Sanitizers make the exhaustive run many times slower; they look at every 61st size (a prime, so
// that no residue is favoured).
#if defined(__SANITIZE_ADDRESS__) || defined(__SANITIZE_THREAD__)
constexpr std::uint64_t kStride = 61;
#else
constexpr std::uint64_t kStride = 1;
#endif

bool allowed(const GeometryLimits& limits, const Geometry& g) {
  return g.cylinders <= limits.max_cylinders && g.heads <= limits.max_heads &&
         g.sectors_per_track <= limits.max_sectors && g.heads == limits.heads.value_or(g.heads) &&
         g.sectors_per_track == limits.sectors_per_track.value_or(g.sectors_per_track);
}

// Every triple, no arithmetic shared with the solver: products are counted up, not divided.
std::vector<GeometryChoice> brute_force(std::uint64_t blocks, const GeometryLimits& limits) {
  std::vector<GeometryChoice> all;
  std::uint64_t least = blocks + 1;
  const std::uint64_t max_heads = std::min<std::uint64_t>({255, limits.max_heads, blocks});
  for (std::uint64_t h = 1; h <= max_heads; ++h) {
    for (std::uint64_t s = 1; s * h <= blocks && s <= limits.max_sectors; ++s) {
      std::uint64_t c = blocks / (h * s);
      c = std::min(c, limits.max_cylinders);
      const Geometry geometry{c, h, s};
      if (!allowed(limits, geometry)) continue;
      const std::uint64_t unused = blocks - c * h * s;
      if (unused > least) continue;
      if (unused < least) all.clear();
      least = unused;
      all.push_back({geometry, unused});
    }
  }
  std::sort(all.begin(), all.end(), ranks_before);
  return all;
}

GeometryLimits bounds(std::uint64_t c, std::uint64_t h, std::uint64_t s) {
  GeometryLimits limits;
  limits.max_cylinders = c;
  limits.max_heads = h;
  limits.max_sectors = s;
  return limits;
}

TEST_CASE("geometry: every size below 2^14 agrees with brute force") {
  std::uint64_t different = 0;
  for (std::uint64_t blocks = 0; blocks < (1U << 14); blocks += kStride) {
    if (solve_geometry(blocks, {}, kAll) != brute_force(blocks, {})) ++different;
  }
  CHECK(different == 0);
}

TEST_CASE("geometry: every size below 2^14 agrees with brute force when little is allowed") {
  GeometryLimits fixed_heads = bounds(100, 255, 40);
  fixed_heads.heads = 7;
  GeometryLimits fixed_sectors = bounds(300, 9, 63);
  fixed_sectors.sectors_per_track = 17;
  GeometryLimits both;
  both.heads = 16;
  both.sectors_per_track = 63;
  const GeometryLimits cases[] = {
      bounds(10, 10, 10),  bounds(3, 16, 200), bounds(1024, 255, 63), bounds(1, 255, 16384),
      bounds(16384, 1, 1), fixed_heads,        fixed_sectors,         both};
  for (const GeometryLimits& limits : cases) {
    std::uint64_t different = 0;
    for (std::uint64_t blocks = 0; blocks < (1U << 14); blocks += kStride) {
      if (solve_geometry(blocks, limits, kAll) != brute_force(blocks, limits)) ++different;
    }
    CHECK(different == 0);
  }
}

TEST_CASE("geometry: random limits and larger sizes agree with brute force") {
  std::mt19937 random(5);
  const auto up_to = [&random](std::uint64_t n) { return 1 + random() % n; };
  const int rounds = kStride == 1 ? 150 : 10;
  for (int i = 0; i < rounds; ++i) {
    const GeometryLimits limits = bounds(up_to(4000), up_to(255), up_to(3000));
    const std::uint64_t blocks =
        up_to(limits.max_cylinders * limits.max_heads * limits.max_sectors);
    CAPTURE(blocks, limits.max_cylinders, limits.max_heads, limits.max_sectors);
    CHECK(solve_geometry(blocks, limits, kAll) == brute_force(blocks, limits));
  }
}

TEST_CASE("geometry: what is answered keeps within the mode pages and the asked number") {
  for (const std::uint64_t blocks : {1ULL, 2097152ULL, 4294967291ULL, 1ULL << 40, ~0ULL}) {
    const auto choices = solve_geometry(blocks, {}, 5);
    REQUIRE_FALSE(choices.empty());
    CHECK(choices.size() <= 5);
    for (const GeometryChoice& choice : choices) {
      CHECK(choice.geometry.cylinders <= kMaxCylinders);
      CHECK(choice.geometry.heads <= 255);
      CHECK(choice.geometry.sectors_per_track <= 65535);
      CHECK(choice.geometry.blocks() + choice.unused_blocks == blocks);
    }
  }
  CHECK(solve_geometry(0, {}, 5).empty());
  CHECK(solve_geometry(100, {}, 0).empty());
}

TEST_CASE("geometry: drives of the trade are found") {
  // Common practice, no source: a 1 GiB disk as 64 heads x 32 sectors has 1 MiB cylinders. The same
  // split is the fallback of NetBSD sys/dev/scsipi/sd.c for drives that report nothing useful.
  GeometryLimits limits;
  limits.heads = 64;
  limits.sectors_per_track = 32;
  const auto mib_cylinders = solve_geometry(2097152, limits, 5);
  REQUIRE(mib_cylinders.size() == 1);
  CHECK(mib_cylinders[0].geometry == Geometry{1024, 64, 32});

  // The worked label of a 1151+2-cylinder drive with 9 heads and 80 sectors.
  const auto choices = solve_geometry(1153 * 9 * 80, bounds(2500, 9, 80), kAll);
  CHECK(std::ranges::count(choices, GeometryChoice{{1153, 9, 80}, 0}) == 1);
}

TEST_CASE("geometry: the ranking rule, one step at a time") {
  const auto before = [](GeometryChoice a, GeometryChoice b) {
    return ranks_before(a, b) && !ranks_before(b, a);
  };
  CHECK(before({{9999, 255, 999}, 0}, {{1, 1, 1}, 1}));  // exact before lossy
  CHECK(before({{9999, 255, 999}, 1}, {{1, 1, 1}, 2}));  // then fewest lost
  CHECK(before({{9999, 16, 63}, 0}, {{1, 17, 63}, 0}));  // then typical of the period
  CHECK(before({{9999, 16, 63}, 0}, {{1, 16, 64}, 0}));
  CHECK(before({{100, 16, 63}, 0}, {{101, 1, 1}, 0}));   // then fewer cylinders
  CHECK(before({{100, 8, 32}, 0}, {{100, 16, 16}, 0}));  // then fewer heads
}

TEST_CASE("geometry: the fields of labels") {
  // illumos sys/dklabel.h: ncyl, nhead, nsect are 16 bits. MBR (NetBSD sys/bootblock.h): 10 bits of
  // cylinder counting from 0, 6 bits of sector counting from 1.
  REQUIRE(find_label_widths("sun") != nullptr);
  CHECK(find_label_widths("sun")->max_cylinders == 65535);
  CHECK(find_label_widths("mbr")->max_cylinders == 1024);
  CHECK(find_label_widths("mbr")->max_sectors == 63);
  CHECK(find_label_widths("ext2") == nullptr);
  CHECK(label_widths().size() == 5);
  const auto limits = narrowed({}, *find_label_widths("mbr"));
  CHECK(limits.max_heads == 255);  // SCSI-2 is narrower than the MBR here
  const auto largest = solve_geometry(std::uint64_t{1} << 31, limits, 1);
  REQUIRE(largest.size() == 1);
  // The well-known end of cylinder-head-sector addressing, just short of 8 GiB (common practice).
  CHECK(largest[0].geometry == Geometry{1024, 255, 63});
  CHECK(largest[0].geometry.blocks() == 16450560);
}

TEST_CASE("geometry: impossible wishes get no answer") {
  GeometryLimits limits;
  limits.heads = 0;
  CHECK(solve_geometry(100, limits, 5).empty());
  limits.heads = 256;
  CHECK(solve_geometry(100, limits, 5).empty());
  limits.heads = 20;
  limits.sectors_per_track = 20;
  CHECK(solve_geometry(399, limits, 5).empty());
  CHECK(solve_geometry(401, limits, 5) == std::vector<GeometryChoice>{{{1, 20, 20}, 1}});
  CHECK(solve_geometry(100, bounds(0, 1, 1), 5).empty());
}

TEST_CASE("geometry: reading C/H/S") {
  CHECK(parse_geometry("1024/64/32").value == Geometry{1024, 64, 32});
  for (const char* wrong :
       {"", "1", "1/2", "1/2/", "1/2/3/4", "a/b/c", "0/1/1", "1/256/1", "1/1/65536", "16777216/1/1",
        "1/2/3 ", "-1/2/3", "1//3", "99999999999999999999/1/1"}) {
    CAPTURE(wrong);
    CHECK_FALSE(parse_geometry(wrong));
  }
}

TEST_CASE("geometry: sizes that a geometry divides") {
  const GeometryLike like = geometry_like({1024, 16, 63}, 2097152);
  CHECK(like.blocks == 1032192);
  CHECK(like.below == Geometry{2080, 16, 63});
  CHECK(like.above == Geometry{2081, 16, 63});
  CHECK(geometry_like({1, 16, 63}, 1008).below == geometry_like({1, 16, 63}, 1008).above);
  CHECK(geometry_like({1, 16, 63}, 5).below.cylinders == 0);
}

}  // namespace
