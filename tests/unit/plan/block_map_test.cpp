// The block map against a plain array with one entry a block.
#include "plan/block_map.h"

#include <optional>
#include <random>
#include <utility>
#include <vector>

#include <catch2/catch.hpp>

namespace {

using namespace platter::plan;

constexpr std::uint64_t kSize = 200;
using Cell = std::optional<std::pair<BlockState, std::string>>;
using Bitmap = std::vector<Cell>;

const BlockState kSome[] = {BlockState::gap, BlockState::region, BlockState::file};

struct Both {
  BlockMap map;
  Bitmap plain = Bitmap(kSize);

  void paint(const BlockRun& run) {
    map.paint(run);
    for (std::uint64_t b = run.start; b < run.end() && b < kSize; ++b) {
      plain[b] = std::pair(run.state, run.note);
    }
  }
};

Both random_map(std::mt19937& random) {
  Both both;
  const auto count = random() % 12;
  for (std::uint32_t i = 0; i < count; ++i) {
    const std::uint64_t start = random() % kSize;
    const std::uint64_t blocks = std::min<std::uint64_t>(random() % 40, kSize - start);
    both.paint({start, blocks, kSome[random() % 3], random() % 2 == 0 ? "" : "note"});
  }
  return both;
}

Bitmap spread(const BlockMap& map) {
  Bitmap plain(kSize);
  for (const BlockRun& run : map.runs()) {
    for (std::uint64_t b = run.start; b < run.end(); ++b) {
      REQUIRE(b < kSize);
      REQUIRE_FALSE(plain[b]);  // no block twice
      plain[b] = std::pair(run.state, run.note);
    }
  }
  return plain;
}

// Ascending, nothing empty, neighbours joined where they say the same.
bool is_canonical(const BlockMap& map) {
  for (std::size_t i = 0; i < map.runs().size(); ++i) {
    if (map.runs()[i].blocks == 0) return false;
    if (i == 0) continue;
    const BlockRun& before = map.runs()[i - 1];
    const BlockRun& run = map.runs()[i];
    if (before.end() > run.start) return false;
    if (before.end() == run.start && before.state == run.state && before.note == run.note) {
      return false;
    }
  }
  return true;
}

template <typename Rule>
Bitmap per_block(const Bitmap& a, const Bitmap& b, Rule rule) {
  Bitmap result(kSize);
  for (std::uint64_t i = 0; i < kSize; ++i)
    result[i] = rule(a[i], b[i]);
  return result;
}

TEST_CASE("block map: set operations agree with a plain bitmap") {
  std::mt19937 random(7);
  for (int round = 0; round < 2000; ++round) {
    const Both a = random_map(random);
    const Both b = random_map(random);
    REQUIRE(is_canonical(a.map));
    REQUIRE(spread(a.map) == a.plain);

    const BlockMap either = united(a.map, b.map);
    const BlockMap common = intersected(a.map, b.map);
    const BlockMap rest = subtracted(a.map, b.map);
    REQUIRE(is_canonical(either));
    REQUIRE(is_canonical(common));
    REQUIRE(is_canonical(rest));
    REQUIRE(spread(either) ==
            per_block(a.plain, b.plain, [](const Cell& x, const Cell& y) { return x ? x : y; }));
    REQUIRE(spread(common) == per_block(a.plain, b.plain, [](const Cell& x, const Cell& y) {
              return x && y ? x : Cell{};
            }));
    REQUIRE(spread(rest) == per_block(a.plain, b.plain,
                                      [](const Cell& x, const Cell& y) { return y ? Cell{} : x; }));

    const BlockMap others = complement(a.map, kSize, BlockState::gap, "free");
    const Cell free = std::pair(BlockState::gap, std::string("free"));
    REQUIRE(spread(others) == per_block(a.plain, a.plain, [&free](const Cell& x, const Cell&) {
              return x ? Cell{} : free;
            }));
    REQUIRE(a.map.blocks() + others.blocks() == kSize);
  }
}

TEST_CASE("block map: looking a block up agrees with the bitmap") {
  std::mt19937 random(8);
  for (int round = 0; round < 200; ++round) {
    const Both both = random_map(random);
    for (std::uint64_t b = 0; b < kSize; ++b) {
      const BlockRun* run = both.map.at(b);
      REQUIRE((run != nullptr) == both.plain[b].has_value());
      if (run != nullptr) REQUIRE(run->state == both.plain[b]->first);
    }
  }
}

TEST_CASE("block map: equal content makes equal maps, however it was painted") {
  BlockMap one;
  one.paint({0, 10, BlockState::file, "a"});
  BlockMap many;
  for (const std::uint64_t b : {5U, 4U, 9U, 0U, 1U, 2U, 3U, 8U, 7U, 6U}) {
    many.paint({b, 1, BlockState::file, "a"});
  }
  CHECK(one == many);
  many.paint({3, 0, BlockState::gap, ""});
  CHECK(one == many);
  many.paint({3, 2, BlockState::gap, ""});
  CHECK(many.runs().size() == 3);
  CHECK(many.only(BlockState::file).blocks() == 8);
}

TEST_CASE("block map: the text form, written out") {
  BlockMap map;
  map.paint({0, 2048, BlockState::gap, ""});
  map.paint({2048, 2097152, BlockState::region, "system disk"});
  map.paint({2099200, 1, BlockState::file, "odd\nname \\ here\x1b"});
  const std::string text = write_block_map(map);
  CHECK(text ==
        "# block map: begins length state note, in 512-byte blocks\n"
        "0 2048 gap\n"
        "2048 2097152 region system disk\n"
        "2099200 1 file odd\\nname \\\\ here\\x1B\n");
  CHECK(read_block_map(text).value == map);
}

TEST_CASE("block map: what is written is read back, whatever the notes hold") {
  std::mt19937 random(9);
  for (int round = 0; round < 300; ++round) {
    BlockMap map;
    for (int i = 0; i < 6; ++i) {
      std::string note;
      for (std::uint32_t n = random() % 8; n > 0; --n)
        note += static_cast<char>(random() & 0xFFU);
      map.paint({random(), 1 + random() % 1000, kSome[random() % 3], note});
    }
    REQUIRE(read_block_map(write_block_map(map)).value == map);
  }
}

TEST_CASE("block map: reading names the line that is wrong") {
  CHECK(read_block_map("").value == BlockMap{});
  CHECK(read_block_map("# only a comment\r\n\r\n").value == BlockMap{});
  CHECK(read_block_map("\n5 5 gap\n0 5 gap\n").value->runs().size() == 1);
  CHECK(read_block_map("0 5 gap\n4 1 file\n").error ==
        "line 2: block 4 belongs to the run of line 1 already");
  CHECK(read_block_map("0 5 nothing").error == "line 1: the state 'nothing' is unknown");
  CHECK(read_block_map("#\n0 x gap").error == "line 2: begins and length must be whole numbers");
  CHECK(read_block_map("0 0 gap").error == "line 1: a run must have at least one block");
  CHECK(read_block_map("0 1 gap a\\").error == "line 1: the note has an escape that is none");
  CHECK(read_block_map("0 1 gap a\\xZZ").error == "line 1: the note has an escape that is none");
  CHECK_FALSE(read_block_map("18446744073709551615 1 gap"));
  CHECK_FALSE(read_block_map("1 18446744073709551615 gap"));
  CHECK_FALSE(read_block_map("18446744073709551616 1 gap"));
}

TEST_CASE("block map: runs at the end of what 64 bits can hold") {
  BlockMap map;
  map.paint({~std::uint64_t{0} - 1, 100, BlockState::file, ""});
  REQUIRE(map.runs().size() == 1);
  CHECK(map.blocks() == 1);
  map.paint({0, ~std::uint64_t{0}, BlockState::gap, ""});
  CHECK(map.runs().size() == 1);
  CHECK(map.blocks() == ~std::uint64_t{0});
}

TEST_CASE("block map: every state has its own word") {
  for (int i = 0; i <= static_cast<int>(BlockState::unreadable); ++i) {
    const auto state = static_cast<BlockState>(i);
    CHECK(find_block_state(block_state_word(state)) == state);
    CHECK_FALSE(block_state_meaning(state).empty());
  }
  CHECK_FALSE(find_block_state(""));
}

}  // namespace
