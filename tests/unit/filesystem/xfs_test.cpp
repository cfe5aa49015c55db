// XFS volumes of the fixture writer, in every form that it knows. A stock kernel reads the same
// volumes of version 4 (tests/kernel); volumes of mkfs.xfs stand in tests/reference.
#include <catch2/catch.hpp>

#include "files/check.h"
#include "files/walk.h"
#include "filesystem/xfs_log.h"
#include "filesystem/xfs_shape.h"
#include "support/survey.h"
#include "support/tree.h"
#include "unit/filesystem/xfs_support.h"

namespace platter::test {
namespace {

std::string words_of(const std::vector<Finding>& findings) {
  std::string all;
  for (const Finding& finding : findings)
    all += finding.message + "\n";
  return all;
}

// Every form of content and of directories, in the numbers that the options ask for.
TEST_CASE("xfs: what was given is read, and the volume is in order", "[xfs]") {
  const fixtures::XfsOptions all[] = {
      {},
      {.block_bytes = 512, .group_blocks = 4096},
      {.block_bytes = 4096, .group_blocks = 512, .typed_names = true},
      {.directory_blocks = 4, .typed_names = true, .extent_blocks = 3, .gap_blocks = 1},
      {.groups = 5, .group_blocks = 777, .extent_blocks = 1, .gap_blocks = 1},
      {.block_bytes = 512, .group_blocks = 8192, .extent_blocks = 1, .gap_blocks = 1},
      {.extent_blocks = 1, .gap_blocks = 1, .reserve_holes = true},
      {.version = 1},
      {.version = 3, .block_bytes = 512, .group_blocks = 4096, .extent_blocks = 1, .gap_blocks = 2},
      {.version = 1, .block_bytes = 4096, .group_blocks = 512},
  };
  for (const fixtures::XfsOptions& options : all) {
    CAPTURE(options.version, options.block_bytes, options.directory_blocks, options.groups,
            options.extent_blocks, options.reserve_holes);
    const XfsVolumeGiven given = xfs_volume(options, 700);
    const View view = view_of(given.bytes);
    const auto found = find_format("xfs")->claims(view, {.image = view});
    REQUIRE(found.size() == 1);
    CHECK(words_of(found.front().findings) == "");
    CHECK(found.front().strength == Strength::sane);
    CHECK(found.front().bytes == given.bytes.size());
    CHECK(found.front().facts.words("clean") == "clean");
    CHECK(found.front().facts.words("volume_name") == "rootfs");
    const auto volume = open_volume("xfs", view);
    CHECK(differences(tree_of_volume(*volume, view), given.tree) == "");
    const VolumeCheck check = check_volume(*volume, view);
    CHECK(words_of(check.findings) == "");
    CHECK(check.files + check.directories == given.tree.size());
    const auto device = find_path(*volume, "device");
    REQUIRE(device);
    CHECK(volume->attributes(device->node).device == DeviceNumber{300, 70000});
  }
}

TEST_CASE("xfs: large directories have nodes above their leaves", "[xfs]") {
  for (const std::uint32_t version : {4U, 1U}) {
    CAPTURE(version);
    const XfsVolumeGiven given = xfs_volume(
        {.version = version, .group_blocks = 8192, .extent_blocks = 2, .gap_blocks = 1}, 3500);
    const View view = view_of(given.bytes);
    const auto volume = open_volume("xfs", view);
    CHECK(differences(tree_of_volume(*volume, view), given.tree) == "");
    CHECK(words_of(check_volume(*volume, view).findings) == "");
    const auto many = find_path(*volume, "many");
    REQUIRE(many);
    std::uint64_t further = 0;
    volume->each_further_block(many->node, [&](const Extent& extent) {
      further += extent.bytes;
      return true;
    });
    // The second form keeps its index behind the size; the tree of extents counts in both.
    CHECK(further >= (version == 4 ? 3500 * 8 : 1024));
  }
}

TEST_CASE("xfs: inode and block numbers have the group in their upper bits", "[xfs]") {
  const XfsVolumeGiven given = xfs_volume({.groups = 5, .group_blocks = 777}, 10);
  const View view = view_of(given.bytes);
  const auto shape =
      filesystem::xfs_shape(view, view.record<filesystem::kXfsSuperblock>(0, ByteOrder::big));
  REQUIRE(shape);
  CHECK(shape->group_log == 10);
  CHECK(shape->inodes_log == 2);
  CHECK(shape->block_of(3U << 10U | 5U, 1) == 3 * 777 + 5);
  CHECK(shape->block_of(4U << 10U | 776U, 1) == 5 * 777 - 1);
  CHECK(shape->block_of(4U << 10U | 776U, 2) >= shape->blocks);  // leaves its group
  CHECK(shape->block_of(4U << 10U | 777U, 1) >= shape->blocks);
  CHECK(shape->block_of(5U << 10U, 1) >= shape->blocks);
  CHECK(shape->inode_place(2U << 12U | 9U << 2U | 3U) == ((2 * 777 + 9) * 4 + 3) * 256);
  CHECK(shape->inode_place(0) == kLargest);
  CHECK(shape->inode_place(5U << 12U) == kLargest);
}

TEST_CASE("xfs: a log without the record of an unmount", "[xfs]") {
  const XfsVolumeGiven given = xfs_volume({.left_in_order = false}, 10);
  const View view = view_of(given.bytes);
  const auto found = find_format("xfs")->claims(view, {.image = view});
  REQUIRE(found.size() == 1);
  CHECK(found.front().facts.words("clean") == "not clean");
  const auto volume = open_volume("xfs", view);
  const auto findings = volume->take_findings();
  REQUIRE(findings.size() == 1);
  CHECK(findings.front().severity == Severity::caution);
  CHECK(findings.front().message.find("the log does not end with") == 0);
}

TEST_CASE("xfs: the end of the log by its cycles", "[xfs]") {
  XfsVolumeGiven given = xfs_volume({.log_blocks = 16}, 10);
  const View view = view_of(given.bytes);
  const auto super = view.record<filesystem::kXfsSuperblock>(0, ByteOrder::big);
  const auto shape = filesystem::xfs_shape(view, super);
  REQUIRE(shape);
  const auto log =
      static_cast<std::size_t>(shape->block_of(super.get<"log_start">(), 1) * shape->block_bytes);
  constexpr std::size_t kBlocks = 32;
  const auto state = [&](const std::vector<std::byte>& bytes) {
    return filesystem::xfs_log_word(filesystem::xfs_log_state(view_of(bytes), super, *shape));
  };
  const auto put = [&](std::vector<std::byte>& bytes, std::size_t block, std::uint32_t cycle) {
    encode_unsigned(std::span(bytes).subspan(log + block * 512, 4), cycle, ByteOrder::big);
  };
  CHECK(state(given.bytes) == "clean");
  // Written all the way round: the record stands at blocks 10 and 11 of cycle 7.
  std::vector<std::byte> round = given.bytes;
  std::copy_n(given.bytes.begin() + static_cast<std::ptrdiff_t>(log), 1024,
              round.begin() + static_cast<std::ptrdiff_t>(log) + 10 * 512);
  encode_unsigned(std::span(round).subspan(log + 10 * 512 + 4, 4), 7, ByteOrder::big);
  put(round, 11, 7);
  for (std::size_t block = 0; block < kBlocks; ++block) {
    if (block < 10) put(round, block, 7);
    if (block > 11) put(round, block, 6);
  }
  CHECK(state(round) == "clean");
  put(round, 12, 7);  // something came behind it
  CHECK(state(round) == "not clean");
  put(round, 12, 6);
  round[log + 11 * 512 + 9] = std::byte{0};  // an operation of another kind
  CHECK(state(round) == "not clean");
  put(round, kBlocks - 1, 3);  // cycles that make no sense
  CHECK(state(round) == "unknown");
  std::vector<std::byte> none = given.bytes;
  std::fill_n(none.begin() + static_cast<std::ptrdiff_t>(log), kBlocks * 512, std::byte{0});
  CHECK(state(none) == "clean");
}

}  // namespace
}  // namespace platter::test
