// FFS and UFS2 volumes of damaged bytes: each kind of damage is told, and no damage makes a walk
// crash, hang or read more than is there.
#include <algorithm>
#include <random>
#include <set>

#include <catch2/catch.hpp>

#include "core/record.h"
#include "files/content.h"
#include "files/walk.h"
#include "support/survey.h"
#include "unit/filesystem/ffs_support.h"

namespace platter::test {
namespace {

using fixtures::FfsOptions;
using fixtures::FfsStyle;
using fixtures::FfsWriter;

// Places in a volume of 2 MiB: 8192-byte blocks, 1024-byte fragments, one group of 512 inodes;
// typed from the headers fs.h and dinode.h.
constexpr std::size_t kSuper = 8192;
constexpr std::size_t kCopy = 16384;
constexpr std::size_t kGroup = 24576;
constexpr std::size_t kInodes = 32768;
constexpr std::size_t inode_at(std::size_t number) {
  return kInodes + number * 128;
}

// Inode 3 is the file "a", inode 4 the directory "d", inode 5 the file "d/b".
std::vector<std::byte> good_volume() {
  return FfsWriter({.volume_bytes = 2 << 20})
      .add_file("a", ffs_text(200000, 1))
      .add_file("d/b", "content")
      .build();
}

void put(std::vector<std::byte>& image, std::size_t at, unsigned width, std::uint64_t value) {
  encode_unsigned(std::span(image).subspan(at, width), value, ByteOrder::big);
}
std::size_t get(const std::vector<std::byte>& image, std::size_t at, unsigned width) {
  return decode_unsigned(std::span(image).subspan(at, width), ByteOrder::big);
}
std::size_t block_of(const std::vector<std::byte>& image, std::size_t inode,
                     std::size_t pointer = 0) {
  return get(image, inode_at(inode) + 40 + pointer * 4, 4) * 1024;
}

// Everything a volume can be asked; counts what it hands out.
struct Amount {
  std::uint64_t names = 0;
  std::uint64_t extents = 0;
  std::uint64_t mapped = 0;
};
Amount ask_everything(Volume& volume, std::vector<Finding>& findings) {
  Amount amount;
  const auto ask = [&](NodeId node) {
    volume.each_extent(node, [&](const Extent& extent) {
      ++amount.extents;
      if (!extent.absent) amount.mapped += extent.bytes;
      return true;
    });
    volume.each_further_block(node, [&](const Extent&) {
      ++amount.extents;
      return true;
    });
    (void)volume.link_target(node);
  };
  ask(volume.root());
  walk(
      volume, volume.root(), "",
      [&](const FileVisit& visit) {
        ++amount.names;
        ask(visit.entry.node);
        return Step::go_on;
      },
      findings);
  volume.each_run([&](const BlockRun&) {
    ++amount.extents;
    return true;
  });
  volume.check_records();
  std::ranges::move(volume.take_findings(), std::back_inserter(findings));
  return amount;
}

std::vector<Finding> findings_of_volume(const std::vector<std::byte>& image) {
  const auto volume = open_volume("ffs", view_of(image));
  std::vector<Finding> findings;
  ask_everything(*volume, findings);
  return findings;
}

// Whether one of the findings has that code and place.
void check_told(const std::vector<std::byte>& image, FindingCode code, std::size_t place) {
  const auto findings = findings_of_volume(image);
  std::string all;
  for (const Finding& finding : findings)
    all += std::to_string(finding.start) + ": " + finding.message + "\n";
  CAPTURE(all, place);
  CHECK(std::ranges::any_of(findings, [&](const Finding& finding) {
    return finding.code == code && finding.start == place;
  }));
}

TEST_CASE("FFS: a sound volume has nothing to tell", "[ffs][hostile]") {
  CHECK(findings_of_volume(good_volume()).empty());
}

TEST_CASE("FFS: damaged directory entries are told and the rest is read", "[ffs][hostile]") {
  // Enough names for several chunks; the first chunk loses what follows its damage.
  FfsWriter writer;
  for (int i = 0; i < 100; ++i)
    writer.add_file("name" + std::to_string(i), "");
  const auto good = writer.build();
  const std::size_t root = block_of(good, 2);
  const std::size_t entry = root + 24;
  struct Damage {
    unsigned width;
    std::size_t offset;
    std::uint64_t value;
    FindingCode code;
  };
  const Damage all[] = {{2, 4, 0, FindingCode::filesystem_damaged},
                        {2, 4, 4, FindingCode::filesystem_damaged},
                        {2, 4, 14, FindingCode::filesystem_damaged},
                        {2, 4, 12, FindingCode::filesystem_damaged},    // shorter than its name
                        {2, 4, 1024, FindingCode::filesystem_damaged},  // crosses a chunk
                        {2, 4, 0xFFFC, FindingCode::filesystem_damaged},
                        {1, 7, 200, FindingCode::filesystem_damaged},
                        {4, 0, 1, FindingCode::filesystem_damaged},
                        {4, 0, 2048, FindingCode::filesystem_damaged},
                        {4, 0, 0xFFFFFFFF, FindingCode::filesystem_damaged},
                        {1, 8, '/', FindingCode::name_illegal},
                        {1, 9, 0, FindingCode::name_illegal},
                        {1, 7, 0, FindingCode::name_illegal}};
  for (const Damage& damage : all) {
    CAPTURE(damage.offset, damage.value);
    auto image = good;
    put(image, entry + damage.offset, damage.width, damage.value);
    check_told(image, damage.code, entry);
    std::vector<Finding> findings;
    const auto volume = open_volume("ffs", view_of(image));
    const Amount amount = ask_everything(*volume, findings);
    CHECK(amount.names > 60);
    if (damage.code == FindingCode::name_illegal) CHECK(amount.names == 100);
  }
  auto image = good;
  put(image, root, 4, 3);  // "." names another inode
  check_told(image, FindingCode::filesystem_damaged, root);
}

TEST_CASE("FFS: damaged inodes are told", "[ffs][hostile]") {
  const auto good = good_volume();
  const std::size_t file = inode_at(3);
  struct Damage {
    std::size_t offset;
    unsigned width;
    std::uint64_t value;
    FindingCode code;
  };
  const Damage all[] = {{0, 2, 0, FindingCode::filesystem_damaged},     // free
                        {40, 4, 2048, FindingCode::extent_beyond_end},  // first fragment after
                        {40, 4, 2041, FindingCode::extent_beyond_end},  // a block that is cut
                        {40, 4, 0xFFFFFFFF, FindingCode::extent_beyond_end},
                        {40, 4, 24, FindingCode::extent_overlap},       // the group block
                        {44, 4, 501, FindingCode::filesystem_damaged},  // not a whole block
                        {88, 4, 5000, FindingCode::extent_beyond_end},
                        {88, 4, 24, FindingCode::extent_overlap}};
  for (const Damage& damage : all) {
    CAPTURE(damage.offset, damage.value);
    auto image = good;
    put(image, file + damage.offset, damage.width, damage.value);
    check_told(image, damage.code, file);
  }
}

TEST_CASE("FFS: what is lost of a file is absent, never made up", "[ffs][hostile]") {
  auto image = good_volume();
  put(image, inode_at(3) + 44, 4, 99999999);
  put(image, inode_at(3) + 88, 4, 99999999);
  const auto volume = open_volume("ffs", view_of(image));
  std::uint64_t next = 0;
  std::uint64_t absent = 0;
  volume->each_extent(3, [&](const Extent& extent) {
    CHECK(extent.offset == next);
    next += extent.bytes;
    if (extent.absent) absent += extent.bytes;
    return true;
  });
  CHECK(next == 200000);
  CHECK(absent == 8192 + (200000 - 12 * 8192));
}

TEST_CASE("FFS: absurd sizes cost nothing", "[ffs][hostile]") {
  for (const std::uint64_t size : {1ULL << 63U, ~0ULL, 1ULL << 40U}) {
    auto image = good_volume();
    put(image, inode_at(3) + 8, 8, size);
    put(image, inode_at(4) + 8, 8, size);
    const auto volume = open_volume("ffs", view_of(image));
    CHECK(volume->attributes(3).bytes == size);
    std::vector<Finding> findings;
    const Amount amount = ask_everything(*volume, findings);
    CHECK(amount.names == 3);
    CHECK(amount.extents < 300);
  }
}

// Blocks of addresses that name themselves or one another: one pass over each is all.
TEST_CASE("FFS: loops of addresses do not multiply work", "[ffs][hostile]") {
  auto image = good_volume();
  const std::size_t addresses = block_of(image, 3, 12);
  const std::uint64_t fragment = addresses / 1024;
  for (std::size_t i = 0; i < 2048; ++i)
    put(image, addresses + i * 4, 4, fragment);
  for (const unsigned level : {0U, 1U, 2U}) {
    put(image, inode_at(3) + 88 + level * 4, 4, fragment);
  }
  put(image, inode_at(3) + 8, 8, 1ULL << 62U);
  check_told(image, FindingCode::extent_overlap, inode_at(3));
  std::vector<Finding> findings;
  const auto volume = open_volume("ffs", view_of(image));
  const Amount amount = ask_everything(*volume, findings);
  CHECK(amount.extents < 10000);
  CHECK(amount.mapped <= 3 * image.size());
  // The same as a directory: its one block must not be read over and over.
  put(image, inode_at(3), 2, 0040755);
  for (std::size_t i = 0; i < 2048; ++i)
    put(image, addresses + i * 4, 4, block_of(image, 2) / 1024);
  const auto again = open_volume("ffs", view_of(image));
  std::uint64_t names = 0;
  again->each_entry(3, [&](const Entry&) {
    ++names;
    return true;
  });
  CHECK(names <= 2 * image.size() / 512);
}

TEST_CASE("FFS: a directory that leads back to itself is entered once", "[ffs][hostile]") {
  auto image = good_volume();
  const std::size_t entry = block_of(image, 4) + 24;
  put(image, entry, 4, 4);  // d/b is d
  check_told(image, FindingCode::directory_loop, entry);
}

TEST_CASE("FFS: records that contradict one another are told", "[ffs][hostile]") {
  const auto good = good_volume();
  const std::size_t summary = get(good, kSuper + 152, 4) * 1024;
  const std::size_t map = kGroup + get(good, kGroup + 96, 4);
  const std::size_t used = kGroup + get(good, kGroup + 92, 4);
  struct Damage {
    std::size_t at;
    std::size_t told_at;
  };
  const Damage all[] = {{kGroup + 7, kGroup},        // magic
                        {kGroup + 15, kGroup},       // number
                        {kGroup + 23, kGroup},       // fragments
                        {kGroup + 19, kGroup},       // inodes
                        {kGroup + 27, kGroup},       // directories
                        {kGroup + 31, kGroup},       // free blocks
                        {kGroup + 35, kGroup},       // free inodes
                        {kGroup + 39, kGroup},       // free fragments
                        {kGroup + 59, kGroup},       // runs
                        {kGroup + 96, kGroup},       // the map lies outside
                        {map + 100, kGroup},         // a fragment
                        {used + 50, kGroup},         // an inode
                        {used + 50, inode_at(400)},  // and its type
                        {summary + 3, summary},
                        {summary + 15, summary},
                        {kSuper + 195, kSuper},  // directories
                        {kSuper + 199, kSuper},  // free blocks
                        {kSuper + 203, kSuper},  // free inodes
                        {kSuper + 207, kSuper},  // free fragments
                        {kCopy + 1375, kCopy},   // magic of the copy
                        {kCopy + 47, kCopy},     // groups
                        {inode_at(450) + 1, inode_at(450)}};
  for (const Damage& damage : all) {
    CAPTURE(damage.at);
    auto image = good;
    image[damage.at] ^= std::byte{1};
    check_told(image, FindingCode::filesystem_damaged, damage.told_at);
  }
}

TEST_CASE("FFS: counts of a volume in use may be old", "[ffs][hostile]") {
  FfsOptions options;
  options.clean = 0;
  auto image = FfsWriter(options).add_file("a", "b").build();
  const auto severities = [&] {
    std::set<Severity> found;
    for (const Finding& finding : findings_of_volume(image))
      found.insert(finding.severity);
    return found;
  };
  CHECK(severities() == std::set{Severity::note});
  image[kGroup + 31] ^= std::byte{1};
  CHECK(severities() == std::set{Severity::note, Severity::caution});
}

TEST_CASE("FFS: an image that ends early is read as far as it goes", "[ffs][hostile]") {
  for (const FfsCase& its_case : ffs_cases()) {
    CAPTURE(its_case.name);
    FfsOptions options = its_case.options;
    options.volume_bytes = 3 << 20;
    FfsWriter writer(options);
    for (int i = 0; i < 30; ++i)
      writer.add_file("d" + std::to_string(i % 5) + "/f" + std::to_string(i), ffs_text(60000, 2));
    const auto whole = writer.build();
    for (std::size_t length = 70000; length < whole.size(); length += 99991) {
      const std::vector<std::byte> cut(whole.begin(),
                                       whole.begin() + static_cast<std::ptrdiff_t>(length));
      const auto volume = find_format(its_case.format())->open(view_of(cut), {});
      if (volume == nullptr) continue;
      std::vector<Finding> findings;
      const Amount amount = ask_everything(*volume, findings);
      CHECK(amount.names <= 35);
      // What is not there is no contradiction.
      for (const Finding& finding : findings) {
        CAPTURE(length, finding.message);
        CHECK(finding.code == FindingCode::filesystem_damaged);
      }
    }
  }
}

// Every number of the superblock at its extremes, without a copy that could settle it.
TEST_CASE("FFS: no number of the superblock makes a volume crash or multiply", "[ffs][hostile]") {
  for (const FfsStyle style : {FfsStyle::bsd42, FfsStyle::svr4, FfsStyle::bsd44, FfsStyle::ufs2}) {
    FfsOptions options;
    options.style = style;
    options.volume_bytes = 1 << 20;
    const bool ufs2 = style == FfsStyle::ufs2;
    const std::size_t super = ufs2 ? 65536 : kSuper;
    auto image =
        FfsWriter(options).add_file("d/a", ffs_text(150000, 1)).add_symlink("l", "d/a").build();
    put(image, (ufs2 ? 73728 : kCopy) + 1372, 4, 0);
    for (std::size_t offset = 8; offset < 1356; offset += 4) {
      if (offset == 212) offset = 1000;  // names and tables
      const std::uint64_t good = get(image, super + offset, 4);
      for (const std::uint64_t value : {0U, 1U, 0x7FFFFFFFU, 0x80000000U, 0xFFFFFFFFU}) {
        CAPTURE(static_cast<int>(style), offset, value);
        put(image, super + offset, 4, value);
        const auto volume = find_format(ufs2 ? "ufs2" : "ffs")->open(view_of(image), {});
        if (volume == nullptr) continue;
        std::vector<Finding> findings;
        const Amount amount = ask_everything(*volume, findings);
        CHECK(amount.names < 200);
        CHECK(amount.extents < 20000);
      }
      put(image, super + offset, 4, good);
    }
  }
}

// Random damage where the records stand. Whatever comes out, it comes out soon.
TEST_CASE("FFS: no damage makes a volume crash, hang or multiply", "[ffs][hostile]") {
  std::mt19937 random(19830801);
  for (const FfsCase& its_case : ffs_cases()) {
    CAPTURE(its_case.name);
    FfsOptions options = its_case.options;
    options.volume_bytes = 1 << 20;
    FfsWriter writer(options);
    for (int i = 0; i < 12; ++i)
      writer.add_file("d" + std::to_string(i % 3) + "/f" + std::to_string(i), ffs_text(9000, 2));
    writer.add_file("large", ffs_text(70000, 3)).add_symlink("link", "target");
    writer.add_special("tty", fixtures::FfsSpecial::char_device, 1, 2);
    const auto good = writer.build();
    // Where something stands that is not the text of a file.
    std::vector<std::size_t> places;
    for (std::size_t i = 0; i < good.size(); ++i) {
      const bool text =
          i + 16 < good.size() && std::all_of(good.begin() + static_cast<std::ptrdiff_t>(i),
                                              good.begin() + static_cast<std::ptrdiff_t>(i + 16),
                                              [](std::byte b) { return b != std::byte{0}; });
      if (good[i] != std::byte{0} && !text) places.push_back(i);
    }
    REQUIRE(places.size() > 1000);
    for (int round = 0; round < 150; ++round) {
      auto image = good;
      for (unsigned i = 0; i <= random() % 8; ++i) {
        const std::size_t at = places[random() % places.size()] / 4 * 4 + random() % 4;
        image[std::min(at, image.size() - 1)] = static_cast<std::byte>(random());
      }
      const View view = view_of(image);
      const auto volume = find_format(its_case.format())->open(view, {});
      if (volume == nullptr) continue;
      std::vector<Finding> findings;
      const Amount amount = ask_everything(*volume, findings);
      CAPTURE(round);
      CHECK(amount.names < 2000);
      CHECK(amount.extents < 200000);
      CHECK(findings.size() < 2000);
    }
  }
}

}  // namespace
}  // namespace platter::test
