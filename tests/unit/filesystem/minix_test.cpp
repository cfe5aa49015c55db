// Minix volumes: typed bytes, volumes of the writer in all forms, and spoiled ones.
#include <random>

#include <catch2/catch.hpp>

#include "core/digest.h"
#include "filesystem/minix_structures.h"
#include "support/hexfile.h"
#include "support/survey.h"
#include "support/tree.h"
#include "unit/filesystem/volume_exercise.h"
#include "writers/minix_writer.h"

namespace platter::test {
namespace {

using fixtures::MinixOptions;
using fixtures::MinixWriter;

std::vector<Claim> claims_of(const std::vector<std::byte>& bytes) {
  const View view = view_of(bytes);
  return find_format("minix")->claims(view, {.image = view});
}

std::string pattern(std::size_t bytes) {
  std::string text(bytes, '\0');
  std::uint32_t state = 12345;
  for (char& c : text)
    c = static_cast<char>((state = state * 1664525 + 1013904223) >> 24U);
  return text;
}

std::string sha256_of(const std::string& text) {
  Sha256 digest;
  digest.update(std::as_bytes(std::span(text)));
  return digest.finish();
}

// A stock Linux kernel refuses version 1 volumes that promise more than 7 + 512 + 512 * 512 blocks
// (fs/minix/inode.c); the typed bytes and the values of the others are those of mkfs.minix.
TEST_CASE("minix: the writer states the largest file as mkfs.minix does", "[minix]") {
  using filesystem::kMinixSuper;
  const auto stated = [](const std::vector<std::byte>& image) {
    return view_of(image)
        .record<kMinixSuper>(filesystem::kMinixSuperblockPlace, ByteOrder::little)
        .get<"max_size">();
  };
  CHECK(stated(MinixWriter({.version = 1}).build()) == 268966912);
  CHECK(stated(MinixWriter({.version = 1}).build()) ==
        stated(hex_fixture("filesystem/minix/good.hex")));
  CHECK(stated(MinixWriter({.version = 2}).build()) == 2147483647);
}

TEST_CASE("minix: typed bytes are read", "[minix]") {
  const auto bytes = hex_fixture("filesystem/minix/good.hex");
  const auto found = claims_of(bytes);
  REQUIRE(found.size() == 1);
  const Claim& claim = found.front();
  CHECK(claim.strength == Strength::sane);
  CHECK(claim.findings.empty());
  CHECK(claim.title == "Minix filesystem, version 1");
  CHECK(claim.bytes == 1440 * 1024);
  CHECK(claim.facts.words("byte_order") == "little");
  CHECK(claim.facts.number("block_bytes") == 1024);
  CHECK(claim.facts.number("volume_bytes") == 1440 * 1024);
  CHECK(claim.facts.number("used_bytes") == 21 * 1024);
  CHECK(claim.facts.number("free_bytes") == 1419 * 1024);
  CHECK(claim.facts.number("files") == 2);
  CHECK(claim.facts.words("clean") == "clean");
  const View view = view_of(bytes);
  const auto volume = open_volume("minix", view);
  std::vector<Entry> entries;
  volume->each_entry(1, [&](const Entry& entry) {
    CHECK(entry.name == "fourteen chars");
    CHECK(entry.place == 0x4C20);
    CHECK(entry.node == 2);
    entries.push_back(entry);
    return true;
  });
  REQUIRE(entries.size() == 1);
  const Attributes file = volume->attributes(2);
  CHECK(file.type == NodeType::file);
  CHECK(file.bytes == 5);
  CHECK(file.mode == 0644U);
  CHECK(file.uid == 5U);
  CHECK(file.gid == 7U);
  CHECK(file.links == 1U);
  CHECK(file.modified == Timestamp{0x254DF201});
  CHECK_FALSE(file.accessed);
  CHECK(file.identity == 2);
  std::vector<Extent> extents;
  volume->each_extent(2, [&](const Extent& extent) {
    extents.push_back(extent);
    return true;
  });
  REQUIRE(extents.size() == 1);
  CHECK(extents[0].start == 20 * 1024);
  CHECK(extents[0].bytes == 5);
  volume->check_records();
  CHECK(volume->take_findings().empty());
}

struct Form {
  unsigned version;
  bool long_names;
  ByteOrder order;
  std::size_t word;
  std::uint32_t block_bytes = 1024;
  unsigned log_zone_size = 0;
};

TEST_CASE("minix: every version in both orders, with every word that maps were written in",
          "[minix]") {
  const Form forms[] = {{1, false, ByteOrder::little, 1},        {1, true, ByteOrder::little, 1},
                        {2, false, ByteOrder::little, 1},        {2, true, ByteOrder::little, 1},
                        {3, true, ByteOrder::little, 1, 4096},   {1, true, ByteOrder::big, 1},
                        {1, false, ByteOrder::big, 2},           {2, true, ByteOrder::big, 4},
                        {2, false, ByteOrder::big, 8},           {3, true, ByteOrder::big, 2},
                        {2, true, ByteOrder::little, 1, 1024, 2}};
  for (const Form& form : forms) {
    CAPTURE(form.version, form.long_names, form.word, form.log_zone_size);
    MinixOptions options{.order = form.order,
                         .version = form.version,
                         .long_names = form.long_names,
                         .zones = 2000,
                         .inodes = 333,
                         .block_bytes = form.block_bytes,
                         .log_zone_size = form.log_zone_size,
                         .map_word_bytes = form.word};
    MinixWriter writer(options);
    const std::string large = pattern(700 * 1024 + 3);
    const std::string middle = pattern(20 * 1024);
    const std::string holes =
        std::string(300 * 1024, '\0') + "in the middle" + std::string(300 * 1024, '\0');
    writer.add_file("large", large, {.permissions = 0600, .uid = 200, .gid = 100, .modified = 7});
    writer.add_file("usr/lib/middle", middle, {.permissions = 04755, .modified = 700000000});
    writer.add_file("holes", holes).add_file("empty", "");
    writer.add_symlink("link", std::string(300, 't')).add_link("usr/again", "large");
    writer.add_device("console", 0020000, 5, 1).add_device("disk", 0060000, 3, 65);
    for (int i = 0; i < 100; ++i)
      writer.add_file("many/file " + std::to_string(i), "x");
    const auto bytes = writer.build();
    const auto found = claims_of(bytes);
    REQUIRE(found.size() == 1);
    CHECK(found[0].findings.empty());
    CHECK(found[0].facts.words("byte_order") == byte_order_name(form.order));
    CHECK(found[0].facts.number("version") == form.version);
    CHECK(found[0].bytes == bytes.size());
    if (form.order == ByteOrder::big) CHECK(found[0].facts.number("map_word_bytes") == form.word);
    CHECK(found[0].facts.number("files") == 1 + 3 + 7 + 100);
    const View view = view_of(bytes);
    const auto volume = open_volume("minix", view);
    const Tree tree = tree_of_volume(*volume, view);
    CHECK(tree.size() == 3 + 8 + 100);
    CHECK(tree.at("large").sha256 == sha256_of(large));
    CHECK(tree.at("large").links == 2U);
    CHECK(tree.at("usr/again") == tree.at("large"));
    CHECK(tree.at("usr/lib/middle").sha256 == sha256_of(middle));
    CHECK(tree.at("usr/lib/middle").mode == 04755U);
    CHECK(tree.at("usr/lib/middle").modified == 700000000);
    CHECK(tree.at("holes").sha256 == sha256_of(holes));
    CHECK(tree.at("link").target == std::string(300, 't'));
    CHECK(tree.at("console").type == "char-device");
    CHECK(volume->attributes(find_path(*volume, "disk")->node).device == DeviceNumber{3, 65});
    std::uint64_t used = 0;
    std::uint64_t end = 0;
    volume->each_run([&](const BlockRun& run) {
      CHECK(run.start == end);
      end = run.start + run.bytes;
      if (run.use != BlockUse::free) used += run.bytes;
      return true;
    });
    CHECK(end == bytes.size());
    CHECK(used == found[0].facts.number("used_bytes"));
    volume->check_records();
    for (const Finding& finding : volume->take_findings())
      FAIL_CHECK(finding.message);
  }
}

TEST_CASE("minix: a file with three levels of pointers", "[minix]") {
  constexpr std::size_t kThird = (7 + 256 + 65536) * 1024;
  MinixWriter writer({.version = 2, .zones = 4000});
  std::string content(kThird + 5000, '\0');
  content[kThird - 1] = 'a';
  content[kThird] = 'b';
  content.back() = 'c';
  writer.add_file("far", content);
  const auto bytes = writer.build();
  const View view = view_of(bytes);
  const auto volume = open_volume("minix", view);
  CHECK(tree_of_volume(*volume, view).at("far").sha256 == sha256_of(content));
  std::size_t pointers = 0;
  volume->each_further_block(2, [&](const Extent&) { return ++pointers != 0; });
  CHECK(pointers == 2 + 3);
}

TEST_CASE("minix: fields that contradict the magic", "[minix]") {
  const auto good = hex_fixture("filesystem/minix/good.hex");
  using Super = FieldReader<filesystem::kMinixSuper>;
  const auto with = [&](std::uint32_t offset, std::uint64_t value) {
    auto bytes = good;
    encode_unsigned(std::span(bytes).subspan(1024 + offset, 2), value, ByteOrder::little);
    return claims_of(bytes);
  };
  CHECK(with(Super::offset_of<"ninodes">(), 0).empty());
  CHECK(with(Super::offset_of<"ninodes">(), 600).empty());  // no room before zone 19
  CHECK(with(Super::offset_of<"nzones">(), 19).empty());
  CHECK(with(Super::offset_of<"nzones">(), 9000).empty());  // more than the map has bits
  CHECK(with(Super::offset_of<"first_data_zone">(), 18).empty());
  CHECK(with(Super::offset_of<"log_zone_size">(), 7).empty());
  CHECK(with(Super::offset_of<"imap_blocks">(), 0).empty());
  const auto strange = with(Super::offset_of<"first_data_zone">(), 25);
  REQUIRE(strange.size() == 1);
  CHECK(strange[0].strength == Strength::magic);
  REQUIRE(strange[0].findings.size() == 1);
  CHECK(strange[0].findings[0].message == "the superblock's first_data_zone is 25, expected 19");
  CHECK(strange[0].findings[0].start == 1032);
}

TEST_CASE("minix: the magic in random bytes is no filesystem", "[minix]") {
  std::mt19937 random(19870101);
  std::vector<std::byte> bytes(8192);
  const std::uint64_t magics[] = {0x137F, 0x138F, 0x2468, 0x2478, 0x4D5A};
  int claimed = 0;
  for (int round = 0; round < 10000; ++round) {
    for (std::size_t i = 1024; i < 1024 + 32; ++i)
      bytes[i] = static_cast<std::byte>(random());
    const std::uint64_t magic = magics[round % 5];
    encode_unsigned(std::span(bytes).subspan(magic == 0x4D5A ? 1048 : 1040, 2), magic,
                    round % 2 == 0 ? ByteOrder::little : ByteOrder::big);
    claimed += claims_of(bytes).empty() ? 0 : 1;
  }
  CHECK(claimed == 0);
}

TEST_CASE("minix: maps that contradict the inodes", "[minix]") {
  const auto good = hex_fixture("filesystem/minix/good.hex");
  auto bytes = good;
  bytes[0x800] = std::byte{0x03};
  CHECK_THAT(
      exercise("minix", bytes).words(),
      Catch::Contains("inode 2 has the mode 0100644 and is free in the map, expected in use"));
  bytes[0x800] = std::byte{0x0F};
  CHECK_THAT(exercise("minix", bytes).words(),
             Catch::Contains("inode 3 has the mode 0 and is in use in the map"));
  bytes[0x800] = std::byte{0x06};
  CHECK_THAT(exercise("minix", bytes).words(), Catch::Contains("stands for no inode"));
  bytes = good;
  bytes[1024 + 18] = std::byte{2};
  CHECK_THAT(exercise("minix", bytes).words(), Catch::Contains("the superblock's state is 2"));
  bytes = good;
  bytes[0x1020 + 15] = std::byte{0xFF};  // the file's zone: 0xFF14
  CHECK_THAT(exercise("minix", bytes).words(),
             Catch::Contains("inode 2 points to block 65300, expected one from 19 to 1439"));
}

TEST_CASE("minix: an indirect block that points to itself multiplies nothing", "[minix]") {
  MinixWriter writer({.version = 2, .zones = 400, .inodes = 32});
  writer.add_file("deep", pattern(300 * 1024));
  auto bytes = writer.build();
  const std::uint64_t inode = 4 * 1024 + 64;
  using Inode = FieldReader<filesystem::kMinixInode2>;
  const auto set = [&](std::uint64_t at, std::uint64_t value) {
    encode_unsigned(std::span(bytes).subspan(static_cast<std::size_t>(at), 4), value,
                    ByteOrder::little);
  };
  set(inode + Inode::offset_of<"size">(), 0xFFFFFFFF);
  set(inode + Inode::offset_of<"zone">(9), 50);
  for (std::uint64_t i = 0; i < 256; ++i)
    set(50 * 1024 + i * 4, 50);
  const Exercise done = exercise("minix", bytes);
  CHECK(done.opened);
  CHECK_THAT(done.words(), Catch::Contains("names more blocks than the 400 that its volume has"));
  CHECK(done.content <= bytes.size());
  CHECK(done.bytes_read < 40 * bytes.size());
}

TEST_CASE("minix: a directory below itself, and names for what is not there", "[minix]") {
  MinixWriter writer({.version = 1, .zones = 100, .inodes = 32});
  writer.add_directory("a/b");
  auto bytes = writer.build();
  const auto loop =
      std::search(bytes.begin(), bytes.end(), std::begin("b\0\0"), std::end("b\0\0") - 1,
                  [](std::byte l, char r) { return l == static_cast<std::byte>(r); });
  REQUIRE(loop != bytes.end());
  *(loop - 2) = std::byte{1};  // b is the root again
  CHECK_THAT(exercise("minix", bytes).words(), Catch::Contains("entered before"));
  *(loop - 2) = std::byte{99};
  CHECK_THAT(exercise("minix", bytes).words(), Catch::Contains("leads to inode 99"));
  *(loop - 2) = std::byte{20};
  CHECK_THAT(exercise("minix", bytes).words(),
             Catch::Contains("inode 20 has a name and the mode 0"));
}

TEST_CASE("minix: flips and cuts anywhere", "[minix]") {
  for (const ByteOrder order : {ByteOrder::little, ByteOrder::big}) {
    MinixWriter writer({.order = order,
                        .version = order == ByteOrder::big ? 1U : 2U,
                        .zones = 60,
                        .inodes = 16,
                        .map_word_bytes = order == ByteOrder::big ? 2U : 1U});
    writer.add_file("d/file", pattern(12000)).add_symlink("link", "d/file");
    const auto good = writer.build();
    auto bytes = good;
    for (std::size_t at = 1024; at < bytes.size(); at += at < 1056 ? 1 : at < 8192 ? 13 : 211) {
      for (const unsigned flip : {0x01U, 0x80U, 0xFFU}) {
        bytes[at] ^= static_cast<std::byte>(flip);
        const Exercise done = exercise("minix", bytes);
        CHECK(done.bytes_read < 100 * bytes.size());
        bytes[at] ^= static_cast<std::byte>(flip);
      }
    }
    for (std::size_t length = 0; length < good.size(); length += 509) {
      exercise("minix", {good.begin(), good.begin() + static_cast<std::ptrdiff_t>(length)});
    }
  }
}

}  // namespace
}  // namespace platter::test
