// The walk: who owns a filesystem, what is looked at, what an unreadable block does, how much is
// read.
#include "support/survey.h"

#include <algorithm>
#include <optional>

#include <catch2/catch.hpp>

#include "writers/bsd_writer.h"
#include "writers/demo_images.h"
#include "writers/ffs_writer.h"
#include "writers/mbr_writer.h"
#include "writers/sun_writer.h"

namespace platter {
namespace {

std::vector<std::byte> ffs_volume(std::uint64_t bytes) {
  fixtures::FfsOptions options;
  options.volume_bytes = bytes;
  fixtures::FfsWriter writer(options);
  writer.add_file("vmunix", "kernel");
  return writer.build();
}

// A large disk of which only the first bytes exist; counts what is read and can fail on cue.
class LargeDisk final : public ByteSource {
 public:
  LargeDisk(std::vector<std::byte> start, std::uint64_t size)
      : start_(std::move(start)), size_(size) {}
  [[nodiscard]] std::uint64_t size() const noexcept override { return size_; }
  std::size_t read(std::uint64_t offset, std::span<std::byte> out) const override {
    if (offset >= size_) return 0;
    const auto count =
        static_cast<std::size_t>(std::min<std::uint64_t>(out.size(), size_ - offset));
    if (bad_block_ && offset <= *bad_block_ && offset + count > *bad_block_) {
      throw IoError("disk", *bad_block_, 512, "Input/output error");
    }
    std::ranges::fill(out.first(count), std::byte{0});
    if (offset < start_.size()) {
      const std::size_t there = std::min<std::size_t>(count, start_.size() - offset);
      std::copy_n(start_.begin() + static_cast<std::ptrdiff_t>(offset), there, out.begin());
    }
    read_ += count;
    return count;
  }
  void fail_at(std::uint64_t block) { bad_block_ = block * 512; }
  [[nodiscard]] std::uint64_t bytes_read() const noexcept { return read_; }

 private:
  std::vector<std::byte> start_;
  std::uint64_t size_;
  std::optional<std::uint64_t> bad_block_;
  mutable std::uint64_t read_ = 0;
};

Survey survey_of(const std::shared_ptr<const ByteSource>& source) {
  Image image;
  image.path = "disk";
  image.bytes = image.stored_bytes = source->size();
  image.source = source;
  return survey(image);
}

std::vector<std::byte> sun_disk_with_ffs() {
  auto bytes = ffs_volume(16U << 20U);
  fixtures::SunLabel label;
  label.cylinders = 65533;
  label.heads = 32;
  label.sectors_per_track = 64;
  label.slices[0] = {.first_cylinder = 0, .blocks = 32768, .tag = 2};
  label.slices[2] = {.first_cylinder = 0, .blocks = 65533U * 2048U, .tag = 5};
  fixtures::write_sun_label(bytes, label);
  return bytes;
}

TEST_CASE(
    "a filesystem belongs to the slice that was made for it, not to the one that spans the disk") {
  const Survey found = test::survey_bytes(fixtures::demo_system_disk());
  INFO(test::findings_of(found));
  REQUIRE(test::layer(found, "sun/a/ffs") != nullptr);
  CHECK(test::layer(found, "ffs") == nullptr);
  CHECK(test::layer(found, "sun/c/ffs") == nullptr);
  CHECK(test::fact(found, "sun/c", "same_as") == "sun/a/ffs");
  CHECK(test::layer(found, "sun/g/ffs")->start == 40960 * 512);
  CHECK(test::fact(found, "sun/a/ffs", "last_mount") == "/");
  CHECK(found.findings.empty());
}

TEST_CASE("a bare filesystem is a layer of the image itself") {
  const Survey found = test::survey_bytes(ffs_volume(4U << 20U));
  REQUIRE(test::layer(found, "ffs") != nullptr);
  CHECK(test::layer(found, "ffs")->bytes <= 4U << 20U);
  CHECK_FALSE(any_fault(found.findings));
}

TEST_CASE("a disc that is also a disk keeps both claims, and its slice names the volume") {
  const Survey found = test::survey_bytes(fixtures::demo_install_disc());
  INFO(test::findings_of(found));
  CHECK(test::layer(found, "iso9660") != nullptr);
  CHECK(test::layer(found, "sun") != nullptr);
  CHECK(test::fact(found, "sun/a", "same_as") == "iso9660");
  CHECK(found.findings.empty());
}

TEST_CASE("labels inside slices are found, in bytes of the whole image") {
  std::vector<std::byte> disk(32U << 20U);
  fixtures::MbrLabel mbr;
  mbr.slices[0] = {.type = 0xA5, .first = 63, .sectors = 60000, .active = true};
  fixtures::write_mbr(disk, mbr);
  fixtures::BsdLabel label;
  label.order = ByteOrder::little;
  label.sectors_per_track = 63;
  label.tracks = 16;
  label.cylinders = 65;
  label.slices = {
      {.sectors = 8192, .first = 1063, .type = 7}, {}, {.sectors = 60000, .first = 63, .type = 0}};
  fixtures::write_bsd_label(disk, label, 64 * 512);
  const auto volume = ffs_volume(8192 * 512);
  std::ranges::copy(volume, disk.begin() + 1063 * 512);
  const Survey found = test::survey_bytes(disk);
  INFO(test::findings_of(found));
  REQUIRE(test::layer(found, "mbr/1/bsd/a") != nullptr);
  CHECK(test::layer(found, "mbr/1/bsd/a")->start == 1063 * 512);
  CHECK(test::layer(found, "mbr/1/bsd/a/ffs") != nullptr);
}

TEST_CASE("inspecting a 64 GiB disk reads less than 768 KiB") {
  const auto disk = std::make_shared<LargeDisk>(sun_disk_with_ffs(), std::uint64_t{64} << 30U);
  const Survey found = survey_of(disk);
  CHECK(test::layer(found, "sun/a/ffs") != nullptr);
  CHECK(disk->bytes_read() <= 768 * 1024);
}

TEST_CASE(
    "an unreadable block is a finding with its place, and the rest is looked at all the same") {
  for (const std::uint64_t block : {0U, 16U, 1U, 64U}) {
    CAPTURE(block);
    const auto disk = std::make_shared<LargeDisk>(sun_disk_with_ffs(), std::uint64_t{64} << 30U);
    disk->fail_at(block);
    const Survey found = survey_of(disk);
    const Finding* unreadable = test::finding(found, FindingCode::unreadable);
    if (block == 0 || block == 16) {  // the label, the superblock
      REQUIRE(unreadable != nullptr);
      CHECK(unreadable->start == block * 512);
      CHECK(unreadable->severity == Severity::fault);
      CHECK(test::count_findings(found, FindingCode::unreadable) == 1);
    }
    CHECK((test::layer(found, "sun") != nullptr) == (block != 0));
  }
}

}  // namespace
}  // namespace platter
