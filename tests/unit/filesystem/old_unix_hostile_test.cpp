// EFS, S5, Xenix, Coherent, V7 and V6 volumes that are damaged or made to mislead: everything comes
// back, bounded by what is really there.
#include <functional>
#include <random>

#include <catch2/catch.hpp>

#include "core/claim.h"
#include "files/content.h"
#include "files/walk.h"
#include "support/counting_source.h"
#include "support/survey.h"
#include "support/tree.h"
#include "writers/efs_writer.h"
#include "writers/s5_writer.h"
#include "writers/v7_writer.h"

namespace platter::test {
namespace {

using Bytes = std::vector<std::byte>;
using fixtures::S5Style;

constexpr std::string_view kFormats[] = {"efs", "s5", "xenix", "coherent", "v7", "v6"};

void fill(fixtures::UnixTreeWriter& writer, bool links) {
  writer.add_file("a", std::string(3000, 'a'));
  writer.add_sparse_file("b", 900000, {{0, "b"}, {70000, "c"}, {899999, "d"}});
  writer.add_directory("d/e/f");
  writer.add_link("d/other", "a");
  writer.add_device("d/tty", false, 1, 2);
  for (int i = 0; i < 40; ++i)
    writer.add_file("d/file-" + std::to_string(i), std::to_string(i));
  if (links) writer.add_symlink("d/link", "../a").add_symlink("d/long", std::string(200, 'x'));
}

struct Volumes {
  std::string_view format;
  Bytes bytes;
};

std::vector<Volumes> small_volumes() {
  std::vector<Volumes> all;
  const auto add = [&](std::string_view format, fixtures::UnixTreeWriter&& writer, bool links) {
    fill(writer, links);
    all.push_back({format, writer.build()});
  };
  add("efs",
      fixtures::EfsWriter(
          {.volume_blocks = 1024, .groups = 2, .copy = true, .extent_blocks = 1, .gap_blocks = 1}),
      true);
  add("s5",
      fixtures::S5Writer({.order = ByteOrder::big,
                          .block_bytes = 512,
                          .volume_blocks = 400,
                          .inodes = 64,
                          .short_links_inside = true}),
      true);
  add("s5", fixtures::S5Writer({.style = S5Style::release2, .volume_blocks = 200, .inodes = 64}),
      true);
  add("xenix", fixtures::S5Writer({.style = S5Style::xenix, .volume_blocks = 200, .inodes = 64}),
      true);
  add("coherent",
      fixtures::S5Writer(
          {.style = S5Style::coherent, .block_bytes = 512, .volume_blocks = 400, .inodes = 64}),
      true);
  add("v7", fixtures::V7Writer({.volume_blocks = 400, .inodes = 64}), true);
  add("v6", fixtures::V7Writer({.sixth_edition = true, .volume_blocks = 400, .inodes = 64}), false);
  return all;
}

// Everything a volume can be asked, with what must hold of the answers.
void ask_everything(std::string_view format, Bytes bytes) {
  const View view = view_of(std::move(bytes));
  (void)find_format(format)->claims(view, {.image = view});
  const auto volume = find_format(format)->open(view, {});
  if (volume == nullptr) return;
  std::vector<Finding> findings;
  std::uint64_t visits = 0;
  walk(
      *volume, volume->root(), "",
      [&](const FileVisit& visit) {
        ++visits;
        std::uint64_t next = 0;
        volume->each_extent(visit.entry.node, [&](const Extent& extent) {
          CHECK(extent.offset >= next);
          CHECK(extent.bytes != 0);
          next = extent.offset + extent.bytes;
          CHECK(next <= visit.attributes.bytes);
          return true;
        });
        volume->each_further_block(visit.entry.node, [](const Extent&) { return true; });
        CHECK(volume->link_target(visit.entry.node).size() <= 4096);
        return visits < 20000 ? Step::go_on : Step::stop;
      },
      findings);
  // A directory holds at most what the image does, and is entered once; entries have 6 bytes or
  // more.
  CHECK(visits < 20000);
  volume->check_records();
  std::uint64_t next = view.start();
  volume->each_run([&](const BlockRun& run) {
    CHECK(run.start == next);
    CHECK(run.bytes != 0);
    next += run.bytes;
    return true;
  });
  for (const Finding& finding : volume->take_findings())
    CHECK_FALSE(finding.message.empty());
  CHECK(findings.size() < 20000);
}

TEST_CASE("old unix: random damage", "[efs][s5][xenix][coherent][v7][v6][hostile]") {
  std::mt19937 random(19790101);
  for (const Volumes& specimen : small_volumes()) {
    CAPTURE(specimen.format);
    const auto anywhere = [&](std::size_t below) {
      return random() % std::min(below, specimen.bytes.size());
    };
    for (int round = 0; round < 120; ++round) {
      CAPTURE(round);
      Bytes bytes = specimen.bytes;
      // Mostly the superblock, the inodes and the first directories.
      for (int i = 0; i < 1 + round % 12; ++i) {
        bytes[anywhere(i % 3 == 0 ? bytes.size() : 24 * 1024)] = static_cast<std::byte>(random());
      }
      ask_everything(specimen.format, std::move(bytes));
    }
  }
}

TEST_CASE("old unix: every byte of the superblock and the root inode, wrong", "[hostile]") {
  for (const Volumes& specimen : small_volumes()) {
    CAPTURE(specimen.format);
    const View view = view_of(specimen.bytes);
    const auto found = find_format(specimen.format)->claims(view, {.image = view});
    REQUIRE(found.size() == 1);
    const RecordData& record = found.front().records.at(0);
    for (std::uint32_t i = 0; i < record.present; i += 1 + i / 128) {
      for (const unsigned value : {0x00U, 0xFFU, 0x80U}) {
        Bytes bytes = specimen.bytes;
        bytes[record.start + i] = static_cast<std::byte>(value);
        ask_everything(specimen.format, std::move(bytes));
      }
    }
  }
}

TEST_CASE("old unix: cut anywhere", "[hostile]") {
  for (const Volumes& specimen : small_volumes()) {
    CAPTURE(specimen.format);
    for (std::size_t length = 0; length < specimen.bytes.size(); length += 1 + length / 9) {
      CAPTURE(length);
      Bytes bytes = specimen.bytes;
      bytes.resize(length);
      ask_everything(specimen.format, std::move(bytes));
    }
  }
}

void put(Bytes& bytes, std::size_t at, std::uint64_t value, unsigned width, ByteOrder order) {
  encode_unsigned(std::span(bytes).subspan(at, width), value, order);
}

Bytes s5_volume() {
  fixtures::S5Writer writer({.block_bytes = 512, .volume_blocks = 4000, .inodes = 64});
  writer.add_file("f", "content");
  return writer.build();
}

// Inode 3 of s5_volume().
constexpr std::size_t kFile = 2 * 512 + 2 * 64;

TEST_CASE("s5: indirect blocks that lead in circles end", "[s5][hostile]") {
  Bytes bytes = s5_volume();
  // Each of the 13 addresses leads to block 3000, which leads to itself 128 times.
  put(bytes, kFile + 8, 0xFFFFFFFF, 4, ByteOrder::little);
  for (std::size_t i = 0; i < 13; ++i)
    put(bytes, kFile + 12 + 3 * i, 3000, 3, ByteOrder::little);
  for (std::size_t i = 0; i < 128; ++i)
    put(bytes, 3000 * 512 + 4 * i, 3000, 4, ByteOrder::little);
  const auto source = std::make_shared<CountingSource>(std::move(bytes));
  const View view(source);
  const auto volume = open_volume("s5", view);
  std::uint64_t mapped = 0;
  volume->each_extent(3, [&](const Extent& extent) {
    mapped += extent.bytes;
    return true;
  });
  CHECK(mapped <= 4000 * 512);
  const auto findings = volume->take_findings();
  REQUIRE(findings.size() == 1);
  CHECK(findings.front().message ==
        "inode 3 maps more blocks than the volume has, expected at most 3990");
  CHECK(source->bytes_read < 4 * 4000 * 512);
}

TEST_CASE("s5: blocks past the end of the volume are absent", "[s5][hostile]") {
  Bytes bytes = s5_volume();
  put(bytes, kFile + 8, 5000, 4, ByteOrder::little);
  put(bytes, kFile + 12 + 3, 4000, 3, ByteOrder::little);  // the first that is not there
  put(bytes, kFile + 12 + 6, 9, 3, ByteOrder::little);     // the last of the inode list
  put(bytes, kFile + 12 + 9, 3999, 3, ByteOrder::little);
  const View view = view_of(bytes);
  const auto volume = open_volume("s5", view);
  std::vector<Extent> extents;
  volume->each_extent(3, [&](const Extent& extent) {
    extents.push_back(extent);
    return true;
  });
  REQUIRE(extents.size() == 3);
  CHECK((extents[1].absent && extents[1].offset == 512 && extents[1].bytes == 1024));
  CHECK((!extents[2].absent && extents[2].start == 3999 * 512));
  const auto findings = volume->take_findings();
  REQUIRE(findings.size() == 1);
  CHECK(findings.front().code == FindingCode::extent_beyond_end);
  CHECK(findings.front().message == "inode 3 names block 4000, expected 10 to 3999");
}

TEST_CASE("s5: a volume that claims the most blocks there can be costs nothing", "[s5][hostile]") {
  Bytes bytes = s5_volume();
  put(bytes, 512, 65535, 2, ByteOrder::little);
  put(bytes, 516, 1 << 24, 4, ByteOrder::little);
  const auto source = std::make_shared<CountingSource>(bytes);
  const View view(source);
  (void)find_format("s5")->claims(view, {.image = view});
  if (const auto volume = find_format("s5")->open(view, {})) volume->check_records();
  CHECK(source->bytes_read < 8 * bytes.size());
  put(bytes, 516, 0xFFFFFFFF, 4, ByteOrder::little);
  CHECK(find_format("s5")->claims(view_of(bytes), {}).empty());
}

TEST_CASE("efs: extents that overlap, lead astray or never end", "[efs][hostile]") {
  fixtures::EfsWriter writer({.inode_blocks = 24});
  writer.add_file("f", std::string(5000, 'f'));
  const Bytes plain = writer.build();
  const auto found = find_path(*open_volume("efs", view_of(plain)), "f");
  REQUIRE(found);
  const std::uint64_t firstcg = decode_unsigned(std::span(plain).subspan(516, 4), ByteOrder::big);
  const std::uint64_t group = decode_unsigned(std::span(plain).subspan(520, 4), ByteOrder::big);
  const std::size_t inode = (firstcg + found->node / 96 * group) * 512 + found->node % 96 * 128;
  const auto said = [&](const std::function<void(Bytes&)>& spoil) {
    Bytes bytes = plain;
    spoil(bytes);
    const View view = view_of(bytes);
    const auto volume = open_volume("efs", view);
    std::uint64_t next = 0;
    volume->each_extent(found->node, [&](const Extent& extent) {
      CHECK(extent.offset >= next);
      next = extent.offset + extent.bytes;
      return true;
    });
    std::string all;
    for (const Finding& finding : volume->take_findings())
      all += finding.message + "\n";
    return all;
  };
  const auto big = [](Bytes& bytes, std::size_t at, std::uint64_t value, unsigned width) {
    put(bytes, at, value, width, ByteOrder::big);
  };
  CHECK(said([](Bytes&) {}).empty());
  CHECK(said([&](Bytes& bytes) { big(bytes, inode + 32, 7, 1); }).find("begins with 0x07") !=
        std::string::npos);
  CHECK(said([&](Bytes& bytes) { big(bytes, inode + 36, 0, 1); }).find("has no length") !=
        std::string::npos);
  CHECK(said([&](Bytes& bytes) {
          big(bytes, inode + 33, 0xFFFFFF, 3);
        }).find("maps blocks 16777215") != std::string::npos);
  CHECK(said([&](Bytes& bytes) { big(bytes, inode + 33, 1, 3); }).find("maps blocks 1 to") !=
        std::string::npos);
  CHECK(said([&](Bytes& bytes) { big(bytes, inode + 28, 0x8000, 2); }).find("has -32768 extents") !=
        std::string::npos);
  CHECK(said([&](Bytes& bytes) { big(bytes, inode + 28, 13, 2); }).find("has 0 indirect extents") !=
        std::string::npos);
  CHECK(said([&](Bytes& bytes) {
          big(bytes, inode + 28, 2, 2);
          std::copy_n(bytes.begin() + static_cast<std::ptrdiff_t>(inode + 32), 8,
                      bytes.begin() + static_cast<std::ptrdiff_t>(inode + 40));
        }).find("map the same part of it") != std::string::npos);
  // 32767 extents of 248 blocks, all the same blocks, one behind the other in the file.
  const std::string endless = said([&](Bytes& bytes) {
    const std::uint64_t data = firstcg + 24;
    big(bytes, inode + 8, 0x7FFFFFFF, 4);
    big(bytes, inode + 28, 32767, 2);
    for (std::size_t i = 0; i < 12; ++i) {
      big(bytes, inode + 32 + 8 * i, data, 4);
      big(bytes, inode + 36 + 8 * i, 248, 1);
      big(bytes, inode + 37 + 8 * i, i == 0 ? 12 : 0, 3);
    }
    for (std::size_t i = 0; i < 248 * 64; ++i) {
      big(bytes, data * 512 + 8 * i, data, 4);
      big(bytes, data * 512 + 8 * i + 4, 248, 1);
      big(bytes, data * 512 + 8 * i + 5, 248 * i, 3);
    }
  });
  CHECK(endless.find("maps more blocks than the volume has") != std::string::npos);
}

TEST_CASE("old unix: a directory that leads back is entered once", "[s5][hostile]") {
  fixtures::S5Writer writer({.block_bytes = 512, .inodes = 64});
  writer.add_directory("d/e");
  Bytes bytes = writer.build();
  const View plain = view_of(bytes);
  const auto volume = open_volume("s5", plain);
  // The third entry of d/e is made to name d.
  const NodeId d = find_path(*volume, "d")->node;
  const NodeId e = find_path(*volume, "d/e")->node;
  std::uint64_t place = 0;
  volume->each_extent(e, [&](const Extent& extent) {
    place = extent.start;
    return true;
  });
  put(bytes, 2 * 512 + (e - 1) * 64 + 8, 48, 4, ByteOrder::little);
  put(bytes, place + 32, d, 2, ByteOrder::little);
  bytes[place + 34] = std::byte{'x'};
  const View view = view_of(bytes);
  std::vector<Finding> findings;
  const Tree tree = tree_of_volume(*open_volume("s5", view), view, &findings);
  CHECK(tree.size() == 3);
  REQUIRE(findings.size() == 1);
  CHECK(findings.front().code == FindingCode::directory_loop);
}

TEST_CASE("old unix: random bytes and text under the magics are none", "[hostile]") {
  std::mt19937_64 random(7);
  for (int round = 0; round < 300; ++round) {
    Bytes bytes(64 * 1024);
    for (std::byte& byte : bytes) {
      byte = static_cast<std::byte>(round % 3 == 2 ? ' ' + random() % 95 : random());
    }
    const ByteOrder order = round % 2 == 0 ? ByteOrder::big : ByteOrder::little;
    if (round % 3 == 1) {
      put(bytes, 540, 0x00072959, 4, ByteOrder::big);
      put(bytes, 1016, 0xFD187E20, 4, order);
      put(bytes, 1020, 2, 4, order);
      put(bytes, 2040, 0x2B5544, 4, order);
      put(bytes, 2044, 2, 4, order);
      std::ranges::transform(std::string("nonamenopack"), bytes.begin() + 512 + 484,
                             [](char c) { return static_cast<std::byte>(c); });
      put(bytes, 1088, 0040755, 2, order);
      put(bytes, 1024, 0140777, 2, ByteOrder::little);
    }
    const View view = view_of(std::move(bytes));
    for (const std::string_view format : kFormats) {
      CAPTURE(format, round);
      CHECK(find_format(format)->claims(view, {.image = view}).empty());
    }
  }
}

}  // namespace
}  // namespace platter::test
