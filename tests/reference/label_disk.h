// A disk in a file, and its label as libparted sees it; for the tests of labels against libraries.
#pragma once

#include <unistd.h>

#include <algorithm>
#include <map>
#include <string>
#include <utility>
#include <vector>

#include <catch2/catch.hpp>
#include <parted/parted.h>

#include "support/survey.h"
#include "unit/label/claims.h"

namespace platter::test {

inline constexpr std::uint64_t kBlock = 512;
inline constexpr unsigned kHeads = 16;
inline constexpr unsigned kSectors = 32;
inline constexpr unsigned kCylinders = 128;
inline constexpr std::uint64_t kCylinder = kHeads * kSectors;
inline constexpr std::uint64_t kBlocks = kCylinder * kCylinders;  // 32 MiB, mostly holes

/// First block and length in blocks of each slice, by start. The libraries number slices in ways of
/// their own; where a number means something it is compared apart.
using Ranges = std::vector<std::pair<std::uint64_t, std::uint64_t>>;
/// Number of a slice, from 0 on, to its first block and its length in blocks.
using Table = std::map<std::size_t, std::pair<std::uint64_t, std::uint64_t>>;

/// A file of kBlocks blocks that begins with the given bytes.
class DiskFile {
 public:
  explicit DiskFile(const Bytes& start = {}) : path_(directory_.file("disk.img")) {
    write_file(path_, start);
    REQUIRE(truncate(path_.c_str(), static_cast<off_t>(kBlocks * kBlock)) == 0);
  }
  [[nodiscard]] const char* path() const noexcept { return path_.c_str(); }
  [[nodiscard]] View view() const { return View(map_file(path_)); }

 private:
  TemporaryDirectory directory_;
  std::string path_;
};

// The question libparted asks of a plain file (its kernel geometry is unknown) is answered with "go
// on".
inline PedExceptionOption go_on(PedException* exception) {
  if ((exception->options & PED_EXCEPTION_IGNORE) != 0) return PED_EXCEPTION_IGNORE;
  if ((exception->options & PED_EXCEPTION_FIX) != 0) return PED_EXCEPTION_FIX;
  if ((exception->options & PED_EXCEPTION_OK) != 0) return PED_EXCEPTION_OK;
  return PED_EXCEPTION_UNHANDLED;
}

/// A label through libparted.
class PartedDisk {
 public:
  explicit PartedDisk(const DiskFile& file, const char* fresh_type = nullptr) {
    ped_exception_set_handler(go_on);
    device_ = ped_device_get(file.path());
    REQUIRE(device_ != nullptr);
    const PedCHSGeometry geometry{static_cast<int>(kCylinders), static_cast<int>(kHeads),
                                  static_cast<int>(kSectors)};
    device_->hw_geom = device_->bios_geom = geometry;
    REQUIRE(ped_device_open(device_) != 0);
    disk_ = fresh_type != nullptr ? ped_disk_new_fresh(device_, ped_disk_type_get(fresh_type))
                                  : ped_disk_new(device_);
    REQUIRE(disk_ != nullptr);
  }
  PartedDisk(const PartedDisk&) = delete;
  PartedDisk& operator=(const PartedDisk&) = delete;
  ~PartedDisk() {
    ped_disk_destroy(disk_);
    ped_device_close(device_);
    ped_device_destroy(device_);
  }

  void add(PedPartitionType type, std::uint64_t start, std::uint64_t size,
           const char* filesystem = "ext2") {
    PedPartition* slice = ped_partition_new(disk_, type, nullptr, static_cast<PedSector>(start),
                                            static_cast<PedSector>(start + size - 1));
    REQUIRE(slice != nullptr);
    // A slice without a type is written with code 0 and not listed again.
    if (type != PED_PARTITION_EXTENDED) {
      ped_partition_set_system(slice, ped_file_system_type_get(filesystem));
    }
    PedConstraint* any = ped_constraint_any(device_);
    INFO("slice from " << start);
    REQUIRE(ped_disk_add_partition(disk_, slice, any) != 0);
    ped_constraint_destroy(any);
  }
  void commit() { REQUIRE(ped_disk_commit_to_dev(disk_) != 0); }

  [[nodiscard]] std::string type() const { return disk_->type->name; }
  /// By number.
  [[nodiscard]] Table table() const {
    Table table;
    for (const PedPartition* slice = ped_disk_next_partition(disk_, nullptr); slice != nullptr;
         slice = ped_disk_next_partition(disk_, slice)) {
      if (slice->num <= 0) continue;  // free space and the like
      table[static_cast<std::size_t>(slice->num) - 1] = {
          static_cast<std::uint64_t>(slice->geom.start),
          static_cast<std::uint64_t>(slice->geom.length)};
    }
    return table;
  }
  [[nodiscard]] Ranges ranges() const {
    Ranges ranges;
    for (const auto& [number, range] : table())
      ranges.push_back(range);
    std::ranges::sort(ranges);
    return ranges;
  }

 private:
  PedDevice* device_ = nullptr;
  PedDisk* disk_ = nullptr;
};

}  // namespace platter::test
