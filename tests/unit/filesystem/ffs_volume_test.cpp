// The files of FFS and UFS2 volumes: every dialect, written by the writer and read back. What the
// writer writes is judged by a second reader in ffs_writer_test.cpp.
#include <set>

#include <catch2/catch.hpp>

#include "core/digest.h"
#include "core/record.h"
#include "files/content.h"
#include "files/walk.h"
#include "filesystem/ffs_group.h"
#include "support/ffs_volume_check.h"
#include "support/survey.h"
#include "unit/filesystem/ffs_support.h"

namespace platter::test {
namespace {

using fixtures::FfsOptions;
using fixtures::FfsSpecial;
using fixtures::FfsStyle;
using fixtures::FfsWriter;

std::string sha256_of(const std::string& text) {
  Sha256 digest;
  digest.update(std::as_bytes(std::span(text)));
  return digest.finish();
}

std::vector<Finding> checked(Volume& volume) {
  volume.check_records();
  return volume.take_findings();
}

Attributes attributes_at(Volume& volume, std::string_view path) {
  const auto place = find_path(volume, path);
  CAPTURE(path);
  REQUIRE(place);
  return volume.attributes(place->node);
}

std::vector<Extent> extents_at(Volume& volume, std::string_view path, bool pointers = false) {
  const auto place = find_path(volume, path);
  CAPTURE(path);
  REQUIRE(place);
  std::vector<Extent> all;
  const auto add = [&](const Extent& extent) {
    all.push_back(extent);
    return true;
  };
  if (pointers) {
    volume.each_further_block(place->node, add);
  } else {
    volume.each_extent(place->node, add);
  }
  return all;
}

std::string content_at(Volume& volume, const View& view, std::string_view path) {
  const auto place = find_path(volume, path);
  REQUIRE(place);
  std::string content(volume.attributes(place->node).bytes, '\0');
  read_content(volume, view, place->node, [&](std::uint64_t offset, std::uint64_t, auto bytes) {
    for (std::size_t i = 0; i < bytes.size(); ++i)
      content[offset + i] = static_cast<char>(bytes[i]);
    return true;
  });
  return content;
}

TEST_CASE("FFS: every file of every dialect is read back", "[ffs][files]") {
  for (const FfsCase& its_case : ffs_cases()) {
    CAPTURE(its_case.name);
    const FfsSample sample = ffs_sample(its_case);
    const View view = view_of(sample.image);
    const auto volume = open_volume(its_case.format(), view);
    CHECK(differences(tree_of_volume(*volume, view), sample.tree) == "");
    for (const Finding& finding : checked(*volume))
      FAIL_CHECK(finding.message);
  }
}

// The second reader has offsets of its own; it knows UFS1 only.
TEST_CASE("FFS: samples of every UFS1 dialect are sound for the second reader", "[ffs][files]") {
  for (const FfsCase& its_case : ffs_cases()) {
    if (its_case.options.style == FfsStyle::ufs2) continue;
    CAPTURE(its_case.name);
    const FfsSample sample = ffs_sample(its_case);
    const FfsCheck second = check_ffs_volume(sample.image, its_case.options.order == ByteOrder::big,
                                             its_case.options.style == FfsStyle::bsd44);
    for (const std::string& problem : second.problems)
      FAIL_CHECK(problem);
    CHECK(second.files.size() == sample.tree.size() + 1);
    for (const auto& [path, file] : sample.tree) {
      CAPTURE(path);
      REQUIRE(second.files.contains(path));
      const std::string& text = second.files.at(path);
      if (file.type == "symlink") CHECK(text == "-> " + file.target);
      if (file.type == "file") CHECK(text.size() == file.bytes);
      if (file.type == "file") CHECK(sha256_of(text) == file.sha256);
    }
    const View view = view_of(sample.image);
    const auto claims = find_format("ffs")->claims(view, {.image = view});
    REQUIRE(claims.size() == 1);
    CHECK(claims[0].facts.number("used_bytes") == second.used_bytes);
  }
}

TEST_CASE("FFS: facts and maps count what the files take", "[ffs][files]") {
  for (const FfsCase& its_case : ffs_cases()) {
    CAPTURE(its_case.name);
    const FfsSample sample = ffs_sample(its_case);
    const View view = view_of(sample.image);
    const Survey survey = survey_bytes(sample.image);
    CHECK(survey.findings.empty());
    const Layer* found = layer(survey, its_case.format());
    REQUIRE(found != nullptr);
    const auto volume = open_volume(its_case.format(), view);
    // Bytes by use, the inverse of which every file must give: blocks and blocks of addresses.
    std::vector<BlockUse> uses(view.bytes() / volume->unit_bytes());
    std::uint64_t next = 0;
    volume->each_run([&](const BlockRun& run) {
      CHECK(run.start == next);
      next += run.bytes;
      for (std::uint64_t at = run.start; at < next; at += volume->unit_bytes())
        uses[at / volume->unit_bytes()] = run.use;
      return true;
    });
    CHECK(next == found->facts.number("volume_bytes"));
    std::uint64_t free = 0;
    std::uint64_t used = 0;
    for (const BlockUse use : uses) {
      free += use == BlockUse::free ? 1 : 0;
      used += use == BlockUse::used ? 1 : 0;
    }
    CHECK(found->facts.number("free_bytes") == free * volume->unit_bytes());
    CHECK(found->facts.number("used_bytes") == used * volume->unit_bytes());
    std::uint64_t held = 0;
    std::set<std::uint64_t> inodes;
    std::uint64_t directories = 1;
    const auto hold = [&](const Extent& extent) {
      // A link's text inside the inode is no block of its own.
      if (extent.start % volume->unit_bytes() != 0) return true;
      for (std::uint64_t at = 0; at < extent.bytes; at += volume->unit_bytes()) {
        held += 1;
        CHECK(uses[(extent.start + at) / volume->unit_bytes()] == BlockUse::used);
      }
      return true;
    };
    const auto hold_all = [&](NodeId node) {
      if (!inodes.insert(node).second) return;
      volume->each_extent(node, hold);
      volume->each_further_block(node, hold);
    };
    hold_all(volume->root());
    std::vector<Finding> findings;
    walk(
        *volume, volume->root(), "",
        [&](const FileVisit& visit) {
          if (visit.attributes.type == NodeType::directory) ++directories;
          hold_all(visit.entry.node);
          return Step::go_on;
        },
        findings);
    // A file with indirect blocks holds its last block whole.
    CHECK(held <= used);
    CHECK(used - held < 8 * 12);
    CHECK(found->facts.number("directories") == directories);
    CHECK(found->facts.number("files") == inodes.size() - directories);
    const bool typed =
        its_case.options.style == FfsStyle::bsd44 || its_case.options.style == FfsStyle::ufs2;
    CHECK(found->facts.words("directory_entries") == (typed ? "typed" : "old form"));
  }
}

TEST_CASE("FFS: device numbers as each dialect keeps them", "[ffs][files]") {
  for (const FfsCase& its_case : ffs_cases()) {
    CAPTURE(its_case.name);
    FfsOptions options = its_case.options;
    FfsWriter writer(options);
    writer.add_special("small", FfsSpecial::char_device, 200, 130);
    const bool wide = options.style != FfsStyle::bsd42;
    if (wide) writer.add_special("wide", FfsSpecial::block_device, 201, 70000);
    const View view = view_of(writer.build());
    const auto volume = open_volume(its_case.format(), view);
    CHECK(attributes_at(*volume, "small").device == DeviceNumber{200, 130});
    if (wide) CHECK(attributes_at(*volume, "wide").device == DeviceNumber{201, 70000});
    CHECK(extents_at(*volume, "small").empty());
  }
}

TEST_CASE("FFS: a device number of a little-endian system in the first word", "[ffs][files]") {
  FfsOptions options;
  options.order = ByteOrder::little;
  auto image = FfsWriter(options).add_special("tty", FfsSpecial::char_device, 5, 6).build();
  const std::size_t words = 32768 + 3 * 128 + 40;
  std::swap_ranges(image.begin() + words, image.begin() + words + 4, image.begin() + words + 4);
  CHECK(attributes_at(*open_volume("ffs", view_of(image)), "tty").device == DeviceNumber{5, 6});
}

TEST_CASE("FFS: places count from the start of the image", "[ffs][files]") {
  for (const FfsCase& its_case : ffs_cases()) {
    CAPTURE(its_case.name);
    FfsOptions options = its_case.options;
    options.volume_bytes = 2 << 20;
    const std::string text = ffs_text(300000, 4);
    const auto volume_bytes = FfsWriter(options).add_file("d/a", text).build();
    std::vector<std::byte> bytes(12345);
    bytes.insert(bytes.end(), volume_bytes.begin(), volume_bytes.end());
    const View image = view_of(bytes);
    const View view = image.sub(12345, volume_bytes.size());
    const auto volume = open_volume(its_case.format(), view);
    CHECK(content_at(*volume, view, "d/a") == text);
    for (const Extent& extent : extents_at(*volume, "d/a")) {
      const std::string piece = text.substr(extent.offset, std::min<std::size_t>(60, extent.bytes));
      CHECK(image.holds(extent.start, piece));
    }
    std::uint64_t next = 12345;
    volume->each_run([&](const BlockRun& run) {
      CHECK(run.start == next);
      next += run.bytes;
      return true;
    });
    CHECK(next == bytes.size());
    CHECK(checked(*volume).empty());
    const auto place = find_path(*volume, "d");
    REQUIRE(place);
    volume->each_entry(place->node, [&](const Entry& entry) {
      CHECK(image.holds(entry.place + 8, "a"));
      return true;
    });
  }
}

// Where a number of the inode stands, typed from the headers: dinode.h and ufs_inode.h.
TEST_CASE("FFS: ids of the SVR4 line are wide behind 65535 only", "[ffs][files]") {
  FfsOptions options;
  FfsWriter writer(options);
  writer.add_file("a", "", {.uid = 70000, .gid = 65535});
  auto image = writer.build();
  const std::size_t inode = 32768 + 3 * 128;
  CHECK(image[inode + 4] == std::byte{0xFF});
  CHECK(image[inode + 5] == std::byte{0xFF});
  const auto read = [&] {
    const View view = view_of(image);
    return attributes_at(*open_volume("ffs", view), "a");
  };
  CHECK(read().uid == 70000U);
  CHECK(read().gid == 65535U);
  // SunOS 4 leaves the wide fields alone.
  std::fill_n(image.begin() + inode + 112, 16, std::byte{0});
  CHECK(read().uid == 65535U);
  image[inode + 4] = std::byte{0};
  image[inode + 5] = std::byte{9};
  image[inode + 117] = std::byte{1};
  CHECK(read().uid == 9U);
}

TEST_CASE("FFS: parts of a second and the time of creation", "[ffs][files]") {
  const std::pair<FfsStyle, std::uint32_t> kept[] = {{FfsStyle::bsd42, 0},
                                                     {FfsStyle::svr4, 123456000},
                                                     {FfsStyle::bsd44, 123456789},
                                                     {FfsStyle::ufs2, 123456789}};
  for (const auto& [style, nanoseconds] : kept) {
    FfsOptions options;
    options.style = style;
    const auto image =
        FfsWriter(options)
            .add_file("a", "", {.modified = -5, .nanoseconds = 123456789, .created = -77})
            .build();
    const bool ufs2 = style == FfsStyle::ufs2;
    const auto volume = open_volume(ufs2 ? "ufs2" : "ffs", view_of(image));
    const Attributes found = attributes_at(*volume, "a");
    CHECK(found.modified == Timestamp{-5});
    CHECK(found.accessed == Timestamp{-5});
    CHECK(found.changed == Timestamp{-5});
    CHECK(found.modified_nanoseconds == nanoseconds);
    CHECK(found.created == (ufs2 ? std::optional(Timestamp{-77}) : std::nullopt));
  }
}

TEST_CASE("FFS: three levels of addresses lead to a far block", "[ffs][files]") {
  for (const FfsCase& its_case : ffs_cases()) {
    CAPTURE(its_case.name);
    const std::uint64_t block = 4096;
    const std::uint64_t row = its_case.options.style == FfsStyle::ufs2 ? 512 : 1024;
    const std::uint64_t third = (12 + row + row * row) * block;  // the first byte of level three
    const std::uint64_t far = third + (row * row * 3 + row * 7 + 9) * block + 100;
    const std::uint64_t bytes = far + 5 * block;
    FfsWriter writer(its_case.options);
    writer.add_sparse_file("far", bytes, {{third - 3, "across"}, {far, "far away"}});
    const View view = view_of(writer.build());
    const auto volume = open_volume(its_case.format(), view);
    CHECK(attributes_at(*volume, "far").bytes == bytes);
    const auto extents = extents_at(*volume, "far");
    REQUIRE(extents.size() == 3);
    CHECK(extents[0].offset == third - block);
    CHECK(extents[1].offset == third);
    CHECK(extents[2].offset == far - 100);
    CHECK(view.holds(extents[0].start + block - 3, "acr"));
    CHECK(view.holds(extents[1].start, "oss"));
    CHECK(view.holds(extents[2].start + 100, "far away"));
    // Two for the end of level two, three and two more for level three.
    CHECK(extents_at(*volume, "far", true).size() == 2 + 3 + 2);
    CHECK(volume->take_findings().empty());
    for (const Finding& finding : checked(*volume))
      FAIL_CHECK(finding.message);
  }
}

TEST_CASE("FFS: where a short link's text stands", "[ffs][files]") {
  const auto extents_of = [](FfsOptions options, std::size_t length) {
    options.time = 1;
    const std::string target(length, 't');
    const View view = view_of(FfsWriter(options).add_symlink("link", target).build());
    const auto volume = open_volume(options.style == FfsStyle::ufs2 ? "ufs2" : "ffs", view);
    CHECK(volume->link_target(find_path(*volume, "link")->node) == target);
    const auto extents = extents_at(*volume, "link");
    REQUIRE(extents.size() == 1);
    CHECK(view.holds(extents[0].start, target.substr(0, 60)));
    return extents[0].start % options.fragment_bytes;
  };
  FfsOptions options;
  CHECK(extents_of(options, 5) == 0);
  options.style = FfsStyle::bsd42;
  CHECK(extents_of(options, 60) == 0);
  options.flagged_links = true;
  CHECK(extents_of(options, 60) != 0);
  CHECK(extents_of(options, 61) == 0);
  options.style = FfsStyle::bsd44;
  CHECK(extents_of(options, 59) != 0);
  CHECK(extents_of(options, 60) == 0);
  options.style = FfsStyle::ufs2;
  CHECK(extents_of(options, 119) != 0);
  CHECK(extents_of(options, 120) == 0);
}

// Directories stay as they are when a younger system takes over a volume.
TEST_CASE("FFS: each directory tells the form of its entries", "[ffs][files]") {
  FfsOptions options;
  options.order = ByteOrder::little;
  options.style = FfsStyle::bsd44;
  auto image = FfsWriter(options).add_file("sub/name", "x").add_file("top", "y").build();
  const auto volume = open_volume("ffs", view_of(image));
  const auto extents = extents_at(*volume, "sub");
  REQUIRE(extents.size() == 1);
  // "." and ".." and "name" in the old form: 16 bits of length, no type.
  for (const std::size_t entry : {0U, 12U, 24U}) {
    const std::size_t at = extents[0].start + entry;
    image[at + 6] = image[at + 7];
    image[at + 7] = std::byte{0};
  }
  const View view = view_of(image);
  const auto mixed = open_volume("ffs", view);
  CHECK(content_at(*mixed, view, "sub/name") == "x");
  CHECK(content_at(*mixed, view, "top") == "y");
}

TEST_CASE("FFS: a hidden name is no file", "[ffs][files]") {
  FfsOptions options;
  options.style = FfsStyle::bsd44;
  auto image = FfsWriter(options).add_file("hidden", "").build();
  const auto root = extents_at(*open_volume("ffs", view_of(image)), "")[0].start;
  image[root + 24 + 3] = std::byte{1};   // inode 1
  image[root + 24 + 6] = std::byte{14};  // DT_WHT
  const auto volume = open_volume("ffs", view_of(image));
  volume->each_entry(volume->root(), [](const Entry&) {
    FAIL_CHECK("handed out");
    return true;
  });
  CHECK(volume->take_findings().empty());
}

TEST_CASE("FFS: only volumes that can be read are opened", "[ffs][files]") {
  FfsOptions options;
  options.style = FfsStyle::dialect_v;
  options.device_block_bytes = 1024;
  options.directory_chunk = 1024;
  const auto opens = [](const std::vector<std::byte>& image) {
    return find_format("ffs")->open(view_of(image), {}) != nullptr;
  };
  auto image = FfsWriter(options).build();
  CHECK(opens(image));
  encode_unsigned(std::span(image).subspan(8192 + 1372, 4), filesystem::kFfsSecureMagic,
                  ByteOrder::big);
  CHECK_FALSE(opens(image));
  encode_unsigned(std::span(image).subspan(8192 + 1372, 4), filesystem::kFfsUnfinishedMagic,
                  ByteOrder::big);
  CHECK_FALSE(opens(image));
  CHECK_FALSE(opens(std::vector<std::byte>(1U << 20U)));
}

TEST_CASE("FFS: a volume behind its copy alone can be read", "[ffs][files]") {
  FfsWriter writer;
  writer.add_file("a", "content");
  auto image = writer.build();
  std::fill_n(image.begin() + 8192, 1376, std::byte{0});
  const View view = view_of(image);
  const auto volume = open_volume("ffs", view);
  CHECK(content_at(*volume, view, "a") == "content");
  CHECK(checked(*volume).empty());
}

}  // namespace
}  // namespace platter::test
