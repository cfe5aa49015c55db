// Volumes of the writers, read by platter and by an independent reading (support/old_unix_check.h).
// No library reads these formats; Linux's own drivers are asked elsewhere.
#include <set>

#include <catch2/catch.hpp>
#include <fmt/format.h>

#include "files/check.h"
#include "files/content.h"
#include "files/walk.h"
#include "filesystem/s5_structures.h"
#include "support/old_unix_check.h"
#include "support/survey.h"
#include "writers/efs_writer.h"
#include "writers/s5_writer.h"
#include "writers/v7_writer.h"

namespace platter::test {
namespace {

using Bytes = std::vector<std::byte>;
using fixtures::S5Options;
using fixtures::S5Style;
using fixtures::S5Writer;
using fixtures::UnixTreeWriter;

struct Can {
  bool links = true;  // symbolic ones, and fifos
  std::int64_t early = -86400;
  std::size_t longest_name = 14;
  std::uint32_t largest_id = 65535;
};

std::string pattern(std::size_t bytes, unsigned seed) {
  std::string text(bytes, '\0');
  std::uint32_t state = seed * 2654435761U + 1;
  for (char& c : text) {
    state = state * 1664525U + 1013904223U;
    c = static_cast<char>(state >> 24U);
  }
  return text;
}

// Sizes around a block, around what inodes address directly and around each level of indirection;
// the larger ones are nearly all hole.
void fill(UnixTreeWriter& writer, std::uint64_t block, const std::vector<std::uint64_t>& levels,
          const Can& can) {
  const auto attributes = [&](std::uint32_t permissions, std::uint32_t id, std::int64_t time) {
    return fixtures::UnixAttributes{permissions, id, id / 2, time};
  };
  writer.add_file("empty", "", attributes(0600, 1, can.early));
  writer.add_file("one", "1", attributes(04755, can.largest_id, 0x7FFFFFFF));
  for (const std::uint64_t size : {block - 1, block, block + 1, 7 * block, 8 * block + 1}) {
    writer.add_file(fmt::format("size-{}", size), pattern(size, static_cast<unsigned>(size)),
                    attributes(0644, 7, 500000000));
  }
  for (const std::uint64_t blocks : levels) {
    const std::uint64_t end = blocks * block;
    // The last bytes before the border, and the first behind it.
    writer.add_sparse_file(fmt::format("to-{}", blocks), end, {{end - 5, "12345"}});
    writer.add_sparse_file(fmt::format("past-{}", blocks), end + 3, {{0, "a"}, {end, "xyz"}});
  }
  writer.add_sparse_file("all-hole", 9 * block + 1, {});
  writer.add_directory("sub/deeper/still", attributes(01777, 3, 600000000));
  writer.add_file("sub/deeper/" + std::string(can.longest_name, 'n'), "long name");
  writer.add_link("sub/other", "one");
  writer.add_device("sub/console", false, 5, 1);
  writer.add_device("sub/disk", true, 127, 255, attributes(0600, 2, 1));
  for (int i = 0; i < 300; ++i) {
    writer.add_file(fmt::format("many/entry-{:05}", i), fmt::format("{}", i));
  }
  if (!can.links) return;
  writer.add_fifo("sub/pipe", attributes(0622, 0, 0));
  for (const std::size_t length : {1U, 3U, 38U, 39U, 40U, 96U, 97U, 600U}) {
    writer.add_symlink(fmt::format("link-{}", length), std::string(length, 'l'));
  }
  writer.add_symlink("sub/to-one", "../one");
}

void check_volume(std::string_view format, const Bytes& image, const Tree& expected,
                  std::size_t free_bytes) {
  const View view = view_of(image);
  const auto found = find_format(format)->claims(view, {.image = view});
  REQUIRE(found.size() == 1);
  CHECK(found.front().findings.empty());
  CHECK(found.front().bytes == image.size());
  const auto volume = open_volume(format, view);
  CHECK(differences(tree_of_volume(*volume, view), expected) == "");
  volume->check_records();
  for (const Finding& finding : volume->take_findings()) {
    CAPTURE(finding.message);
    CHECK(finding_kind(finding.code).code == "none");
  }
  std::uint64_t next = view.start();
  std::uint64_t free = 0;
  volume->each_run([&](const BlockRun& run) {
    CHECK(run.start == next);
    next += run.bytes;
    if (run.use == BlockUse::free) free += run.bytes;
    return true;
  });
  CHECK(next == image.size());
  CHECK(free == free_bytes);
  if (found.front().facts.find("free_bytes") != nullptr) {
    CHECK(found.front().facts.number("free_bytes") == free_bytes);
  }
}

// Every block of a file, pointers included, is in use, belongs to nobody else, and no other block
// is in use.
void check_blocks(std::string_view format, const Bytes& image) {
  const View view = view_of(image);
  const auto volume = open_volume(format, view);
  std::vector<std::pair<std::uint64_t, std::uint64_t>> owned;
  const auto add = [&](const Extent& extent) {
    CHECK_FALSE(extent.absent);
    // Text inside an inode lies in the inode list, which is no file's.
    if (extent.start % volume->unit_bytes() == 0) {
      owned.emplace_back(extent.start, extent.start + extent.bytes);
    }
    return true;
  };
  std::vector<Finding> findings;
  std::set<NodeId> seen;
  const auto own = [&](NodeId node) {
    if (!seen.insert(node).second) return;
    volume->each_extent(node, add);
    volume->each_further_block(node, add);
  };
  own(volume->root());
  walk(
      *volume, volume->root(), "",
      [&](const FileVisit& visit) {
        own(visit.entry.node);
        return Step::go_on;
      },
      findings);
  const std::uint64_t unit = volume->unit_bytes();
  std::set<std::uint64_t> blocks;
  bool twice = false;
  for (const auto& [start, end] : owned) {
    for (std::uint64_t at = start / unit; at < divide_up(end, unit); ++at) {
      twice = twice || !blocks.insert(at).second;
    }
  }
  CHECK_FALSE(twice);
  std::set<std::uint64_t> mapped;
  volume->each_run([&](const BlockRun& run) {
    for (std::uint64_t at = run.start / unit; at < (run.start + run.bytes) / unit; ++at) {
      if (run.use == BlockUse::used) mapped.insert(at);
    }
    return true;
  });
  CHECK(blocks == mapped);
}

OldOrder order_word(ByteOrder order) {
  return order == ByteOrder::little ? OldOrder::little
         : order == ByteOrder::big  ? OldOrder::big
                                    : OldOrder::pdp;
}

void check_s5(const S5Options& options, std::string_view format, OldKind kind) {
  CAPTURE(format, options.block_bytes, byte_order_name(options.order));
  S5Writer writer(options);
  const std::uint64_t block = options.block_bytes;
  const std::uint64_t per = block / 4;
  std::vector<std::uint64_t> levels = {10, 10 + per, 10 + per + per * per};
  if (block == 2048) levels.pop_back();  // half a GiB of zeros; tested by its extents below
  fill(writer, block, levels, {});
  const Bytes image = writer.build();
  const OldUnixCheck check = check_old_unix_volume(image, kind, order_word(options.order), block);
  for (const std::string& problem : check.problems) {
    CAPTURE(problem);
    CHECK(problem.empty());
  }
  CHECK(check.files.size() >= 330);
  check_volume(format, image, check.files, check.free_blocks * block);
  check_blocks(format, image);
}

TEST_CASE("s5 writer: both layouts, both byte orders, all block sizes", "[s5][writer]") {
  for (const S5Style style : {S5Style::release4, S5Style::release2}) {
    for (const ByteOrder order : {ByteOrder::little, ByteOrder::big}) {
      for (const std::uint32_t block : {512U, 1024U, 2048U}) {
        const OldKind kind = style == S5Style::release4 ? OldKind::release4 : OldKind::release2;
        check_s5({.style = style,
                  .order = order,
                  .block_bytes = block,
                  .inodes = 400,
                  .short_links_inside = order == ByteOrder::big},
                 "s5", kind);
      }
    }
  }
}

TEST_CASE("xenix writer: both byte orders", "[xenix][writer]") {
  for (const ByteOrder order : {ByteOrder::little, ByteOrder::big}) {
    check_s5({.style = S5Style::xenix, .order = order, .block_bytes = 1024, .inodes = 400}, "xenix",
             OldKind::xenix);
  }
}

TEST_CASE("coherent writer", "[coherent][writer]") {
  check_s5({.style = S5Style::coherent, .order = ByteOrder::pdp, .block_bytes = 512, .inodes = 400},
           "coherent", OldKind::coherent);
}

TEST_CASE("v7 writer: all byte orders", "[v7][writer]") {
  for (const ByteOrder order : {ByteOrder::pdp, ByteOrder::little, ByteOrder::big}) {
    CAPTURE(byte_order_name(order));
    fixtures::V7Writer writer({.order = order, .inodes = 400});
    fill(writer, 512, {10, 138, 16522}, {});
    const Bytes image = writer.build();
    const auto check = check_old_unix_volume(image, OldKind::v7, order_word(order), 512);
    for (const std::string& problem : check.problems) {
      CAPTURE(problem);
      CHECK(problem.empty());
    }
    check_volume("v7", image, check.files, check.free_blocks * 512);
    check_blocks("v7", image);
  }
}

TEST_CASE("v6 writer", "[v6][writer]") {
  fixtures::V7Writer writer({.sixth_edition = true, .inodes = 400});
  fill(writer, 512, {8, 256, 1792, 2048}, {.links = false, .largest_id = 255});
  const Bytes image = writer.build();
  const auto check = check_old_unix_volume(image, OldKind::v6, OldOrder::pdp, 512);
  for (const std::string& problem : check.problems) {
    CAPTURE(problem);
    CHECK(problem.empty());
  }
  check_volume("v6", image, check.files, check.free_blocks * 512);
  check_blocks("v6", image);
}

TEST_CASE("s5: the triple indirect block of 2048-byte blocks", "[s5][writer]") {
  S5Writer writer({.block_bytes = 2048});
  const std::uint64_t border = (10 + 512 + 512 * 512) * 2048ULL;
  writer.add_sparse_file("huge", border + 4000, {{border - 1, "ab"}, {border + 3999, "z"}});
  const View view = view_of(writer.build());
  const auto volume = open_volume("s5", view);
  const auto place = find_path(*volume, "huge");
  REQUIRE(place);
  CHECK(volume->attributes(place->node).bytes == border + 4000);
  std::string found;
  read_content(*volume, view, place->node,
               [&](std::uint64_t offset, std::uint64_t, std::span<const std::byte> bytes) {
                 for (std::size_t i = 0; i < bytes.size(); ++i) {
                   if (bytes[i] != std::byte{0}) {
                     found += fmt::format("{}{} ", static_cast<char>(bytes[i]),
                                          static_cast<std::int64_t>(offset + i - border));
                   }
                 }
                 return true;
               });
  CHECK(found == "a-1 b0 z3999 ");
  std::size_t pointers = 0;
  volume->each_further_block(place->node, [&](const Extent& extent) {
    pointers += extent.bytes / 2048;
    return true;
  });
  CHECK(pointers == 5);  // 2 for the double indirect block, 3 for the triple
}

TEST_CASE("old unix: ten thousand names in a directory", "[s5][efs]") {
  const auto check = [](std::string_view format, UnixTreeWriter& writer) {
    for (int i = 0; i < 10000; ++i)
      writer.add_file(fmt::format("d/{:014}", i), "");
    const View view = view_of(writer.build());
    const auto volume = open_volume(format, view);
    std::size_t count = 0;
    std::vector<Finding> findings;
    walk(
        *volume, volume->root(), "",
        [&](const FileVisit& visit) {
          if (visit.path.size() == 16 && visit.attributes.type == NodeType::file) ++count;
          return Step::go_on;
        },
        findings);
    CHECK(count == 10000);
    CHECK(findings.empty());
  };
  S5Writer s5({.inodes = 10010});
  check("s5", s5);
  fixtures::V7Writer v6({.sixth_edition = true, .inodes = 10010});
  check("v6", v6);
  fixtures::EfsWriter efs({.volume_blocks = 16384, .inode_blocks = 640});
  check("efs", efs);
}

void check_efs(const fixtures::EfsOptions& options) {
  fixtures::EfsWriter writer(options);
  fill(writer, 512, {12, 248, 249, 3000}, {.early = 0, .longest_name = 255});
  writer.add_file("parts", pattern(200 * 512 + 17, 4), {.modified = 0xFFFFFFFFLL});
  const Bytes image = writer.build();
  const EfsCheck check = check_efs_volume(image);
  for (const std::string& problem : check.problems) {
    CAPTURE(problem);
    CHECK(problem.empty());
  }
  CHECK(check.files.at("parts").modified == 0xFFFFFFFFLL);
  check_volume("efs", image, check.files, check.free_blocks * 512);
  check_blocks("efs", image);
}

TEST_CASE("efs writer: one extent, many, indirect ones in one run and in twelve", "[efs][writer]") {
  check_efs({.inode_blocks = 24});
  check_efs({.inode_blocks = 24,
             .grown = true,
             .copy = true,
             .old_checksum = true,
             .short_links_inside = false,
             .wide_devices = true});
  check_efs({.volume_blocks = 16384, .inode_blocks = 24, .extent_blocks = 1, .gap_blocks = 1});
  // 202 extents of one block need 4 indirect blocks, here in 4 runs.
  check_efs({.volume_blocks = 16384,
             .inode_blocks = 24,
             .extent_blocks = 1,
             .gap_blocks = 1,
             .indirect_blocks = 1});
  check_efs({.volume_blocks = 16000, .groups = 1, .inode_blocks = 100, .extent_blocks = 7});
}

TEST_CASE("efs: devices of both forms", "[efs]") {
  for (const bool wide : {false, true}) {
    fixtures::EfsWriter writer({.wide_devices = wide});
    const std::uint32_t major = wide ? 500 : 12;
    const std::uint32_t minor = wide ? 200000 : 34;
    writer.add_device("disk", true, major, minor);
    const auto volume = open_volume("efs", view_of(writer.build()));
    const auto place = find_path(*volume, "disk");
    REQUIRE(place);
    CHECK(volume->attributes(place->node).device == DeviceNumber{major, minor});
    CHECK(volume->attributes(place->node).type == NodeType::block_device);
  }
}

// Inode 1 has no name and keeps bad blocks from use; its size is not to be relied on.
TEST_CASE("v7: the file of bad blocks accounts for them", "[v7]") {
  for (const ByteOrder order : {ByteOrder::pdp, ByteOrder::little, ByteOrder::big}) {
    fixtures::V7Options options;
    options.order = order;
    fixtures::V7Writer writer(options);
    writer.add_file("bad", pattern(9000, 3)).add_file("good", "text");
    auto bytes = writer.build();
    const auto findings = [&] {
      const View view = view_of(bytes);
      return check_volume(*open_volume("v7", view), view).findings;
    };
    CHECK(findings().empty());
    const auto place = find_path(*open_volume("v7", view_of(bytes)), "bad");
    REQUIRE(place);
    const auto inode = [&](std::uint64_t number) {
      return std::span(bytes).subspan(1024 + (number - 1) * 64, 64);
    };
    const auto from = inode(place->node);
    std::ranges::copy(from, inode(1).begin());
    const auto empty = [&](std::span<std::byte> at) {
      FieldWriter<filesystem::kS5Inode>(at.data(), order).set<"size">(0);
    };
    empty(from);
    empty(inode(1));
    std::ranges::fill(FieldWriter<filesystem::kS5Inode>(from.data(), order).raw<"address">(),
                      std::byte{0});
    CHECK(findings().empty());
    std::uint64_t bad = 0;
    open_volume("v7", view_of(bytes))->each_run([&](const BlockRun& run) {
      if (run.use == BlockUse::bad) bad += run.bytes;
      return true;
    });
    CHECK(bad == (18 + 1) * 512);  // and a block of addresses
    std::ranges::fill(inode(1), std::byte{0});
    REQUIRE(findings().size() == 1);
    CHECK(findings()[0].code == FindingCode::blocks_unaccounted);
  }
}

}  // namespace
}  // namespace platter::test
