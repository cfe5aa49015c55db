// The boot filesystem: typed bytes, volumes of the writer, and spoiled ones.
#include <random>

#include <catch2/catch.hpp>

#include "filesystem/bfs_structures.h"
#include "support/hexfile.h"
#include "support/survey.h"
#include "support/tree.h"
#include "unit/filesystem/volume_exercise.h"
#include "writers/bfs_writer.h"

namespace platter::test {
namespace {

using filesystem::kBfsInode;
using filesystem::kBfsSuper;

std::vector<Claim> claims_of(const std::vector<std::byte>& bytes) {
  const View view = view_of(bytes);
  return find_format("bfs")->claims(view, {.image = view});
}

TEST_CASE("bfs: typed bytes are read", "[bfs]") {
  const auto bytes = hex_fixture("filesystem/bfs/good.hex");
  const auto found = claims_of(bytes);
  REQUIRE(found.size() == 1);
  const Claim& claim = found.front();
  CHECK(claim.strength == Strength::sane);
  CHECK(claim.findings.empty());
  CHECK(claim.bytes == 1 << 20);
  CHECK(claim.facts.words("byte_order") == "little");
  CHECK(claim.facts.words("volume_name") == "corvid");
  CHECK(claim.facts.words("filesystem_name") == "stand");
  CHECK(claim.facts.number("block_bytes") == 512);
  CHECK(claim.facts.number("used_bytes") == 3584 + 3 * 512);
  CHECK(claim.facts.number("free_bytes") == (1 << 20) - 3584 - 3 * 512);
  CHECK(claim.facts.number("files") == 2);
  CHECK(claim.facts.number("inodes") == 48);
  CHECK(claim.facts.words("clean") == "clean");
  const View view = view_of(bytes);
  const auto volume = open_volume("bfs", view);
  std::size_t entries = 0;
  volume->each_entry(volume->root(), [&](const Entry& entry) {
    CHECK(entry.name == "unix");
    CHECK(entry.node == 3);
    CHECK(entry.place == 0xE20);
    ++entries;
    return true;
  });
  CHECK(entries == 1);
  const Attributes file = volume->attributes(3);
  CHECK(file.type == NodeType::file);
  CHECK(file.bytes == 4);
  CHECK(file.mode == 0755U);
  CHECK(file.uid == 5U);
  CHECK(file.gid == 7U);
  CHECK(file.links == 1U);
  CHECK(file.accessed == Timestamp{0x254DF201});
  CHECK(file.modified == Timestamp{0x254DF202});
  CHECK(file.changed == Timestamp{0x254DF203});
  volume->each_extent(3, [&](const Extent& extent) {
    CHECK(extent.start == 9 * 512);
    CHECK(extent.bytes == 4);
    return true;
  });
  CHECK(volume->attributes(2).type == NodeType::directory);
  CHECK(volume->attributes(4).type == NodeType::unknown);
  CHECK(volume->attributes(50).type == NodeType::unknown);
  volume->check_records();
  CHECK(volume->take_findings().empty());
}

TEST_CASE("bfs: volumes of the writer in both orders", "[bfs]") {
  for (const ByteOrder order : {ByteOrder::little, ByteOrder::big}) {
    fixtures::BfsWriter writer({.order = order, .inodes = 104});
    writer.add_file("unix", std::string(100001, 'u'), {.permissions = 0444, .modified = 700000000});
    writer.add_file("empty", "").add_file("fourteen chars", std::string(512, 'f'));
    for (int i = 0; i < 90; ++i)
      writer.add_file("file." + std::to_string(i), std::to_string(i));
    const auto bytes = writer.build();
    const auto found = claims_of(bytes);
    REQUIRE(found.size() == 1);
    CHECK(found[0].findings.empty());
    CHECK(found[0].facts.words("byte_order") == byte_order_name(order));
    CHECK(found[0].facts.number("files") == 94);
    const View view = view_of(bytes);
    const auto volume = open_volume("bfs", view);
    const Tree tree = tree_of_volume(*volume, view);
    CHECK(tree.size() == 93);
    CHECK(tree.at("unix").bytes == 100001);
    CHECK(tree.at("unix").mode == 0444U);
    CHECK(tree.at("unix").modified == 700000000);
    CHECK(tree.at("empty").bytes == 0);
    CHECK(tree.at("fourteen chars").bytes == 512);
    // Of "42", from the sha256sum command.
    CHECK(tree.at("file.42").sha256 ==
          "73475cb40a568e8da8a045ced110137e159f890ac4da883b6b17dc651b3a8049");
    std::uint64_t used = 0;
    std::uint64_t end = 0;
    volume->each_run([&](const BlockRun& run) {
      CHECK(run.start == end);
      end += run.bytes;
      if (run.use != BlockUse::free) used += run.bytes;
      return true;
    });
    CHECK(end == bytes.size());
    CHECK(used == found[0].facts.number("used_bytes"));
    volume->check_records();
    CHECK(volume->take_findings().empty());
  }
}

TEST_CASE("bfs: what contradicts itself is named", "[bfs]") {
  fixtures::BfsWriter writer;
  writer.add_file("one", std::string(1000, '1')).add_file("two", std::string(1000, '2'));
  const auto good = writer.build();
  using Inode = FieldReader<kBfsInode>;
  const auto said = [&](std::uint64_t at, std::uint64_t value, std::size_t width = 4) {
    auto bytes = good;
    encode_unsigned(std::span(bytes).subspan(static_cast<std::size_t>(at), width), value,
                    ByteOrder::little);
    return exercise("bfs", bytes).words();
  };
  const std::uint64_t two = 512 + 2 * 64;
  CHECK_THAT(said(FieldReader<kBfsSuper>::offset_of<"from">(), 9),
             Catch::Contains("block 9 was being moved"));
  CHECK_THAT(said(two + Inode::offset_of<"number">(), 9, 2),
             Catch::Contains("the inode in the place of 4 has the number 9"));
  CHECK_THAT(said(two + Inode::offset_of<"number">(), 0, 2),
             Catch::Contains("a name for inode 4, expected one that is in use"));
  CHECK_THAT(said(two + Inode::offset_of<"first">(), 9), Catch::Contains("both have block"));
  CHECK_THAT(said(two + Inode::offset_of<"last">(), 5000), Catch::Contains("inode 4 has blocks"));
  CHECK_THAT(said(two + Inode::offset_of<"end">(), 0xFFFFFFFF),
             Catch::Contains("expected a place"));
  CHECK_THAT(said(two + Inode::offset_of<"type">(), 3), Catch::Contains("has the type 3"));
  auto bytes = good;
  encode_unsigned(std::span(bytes).subspan(512, 2), 7, ByteOrder::little);
  const auto found = claims_of(bytes);
  REQUIRE(found.size() == 1);
  CHECK(found[0].strength == Strength::magic);
}

TEST_CASE("bfs: fields that contradict the magic", "[bfs]") {
  const auto good = hex_fixture("filesystem/bfs/good.hex");
  for (const auto& [offset, value] : {std::pair<std::size_t, std::uint64_t>{4, 512},
                                      {4, 3585},
                                      {4, 0x200000},
                                      {8, 3000},
                                      {8, 0xFFFFE}}) {
    auto bytes = good;
    encode_unsigned(std::span(bytes).subspan(offset, 4), value, ByteOrder::little);
    CAPTURE(offset, value);
    CHECK(claims_of(bytes).empty());
  }
  std::mt19937 random(1);
  std::vector<std::byte> bytes(4096);
  for (int round = 0; round < 10000; ++round) {
    for (std::size_t i = 0; i < 64; ++i)
      bytes[i] = static_cast<std::byte>(random());
    encode_unsigned(std::span(bytes).first(4), 0x1BADFACE,
                    round % 2 == 0 ? ByteOrder::little : ByteOrder::big);
    if (!claims_of(bytes).empty()) FAIL("random bytes of round " << round << " were claimed");
  }
}

TEST_CASE("bfs: flips and cuts anywhere", "[bfs]") {
  fixtures::BfsWriter writer({.volume_bytes = 16384, .inodes = 16});
  writer.add_file("one", std::string(1000, '1')).add_file("two", std::string(700, '2'));
  const auto good = writer.build();
  auto bytes = good;
  for (std::size_t at = 0; at < 4096; ++at) {
    for (const unsigned flip : {0x01U, 0x80U, 0xFFU}) {
      bytes[at] ^= static_cast<std::byte>(flip);
      CHECK(exercise("bfs", bytes).bytes_read < 100 * bytes.size());
      bytes[at] ^= static_cast<std::byte>(flip);
    }
  }
  for (std::size_t length = 0; length < good.size(); length += 61) {
    exercise("bfs", {good.begin(), good.begin() + static_cast<std::ptrdiff_t>(length)});
  }
}

}  // namespace
}  // namespace platter::test
