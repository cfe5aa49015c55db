// The system's folders, rebuilt: formats as in proc_pid_mountinfo(5), proc_swaps(5) and the
// kernel's Documentation/ABI for sysfs.
#include "plan/in_use.h"

#include <algorithm>
#include <filesystem>
#include <string>
#include <string_view>
#include <vector>

#include <catch2/catch.hpp>

#include "support/files.h"

namespace {

using namespace platter::plan;
using platter::test::TemporaryDirectory;
using platter::test::write_file;

namespace fs = std::filesystem;

// A system with the disk sdx (8:16) and its partitions sdx1 and sdx2.
struct System {
  TemporaryDirectory scratch;
  SystemFolders folders{scratch.file("proc"), scratch.file("sys")};

  System() {
    for (const char* part : {"", "/sdx1", "/sdx2"}) {
      fs::create_directories(folders.sys + "/devices/sdx" + part + "/holders");
    }
    fs::create_directories(folders.sys + "/devices/sdx/queue");
    put(folders.sys + "/devices/sdx/dev", "8:16\n");
    put(folders.sys + "/devices/sdx/sdx1/dev", "8:17\n");
    put(folders.sys + "/devices/sdx/sdx1/partition", "1\n");
    put(folders.sys + "/devices/sdx/sdx2/dev", "8:18\n");
    put(folders.sys + "/devices/sdx/sdx2/partition", "2\n");
    fs::create_directories(folders.sys + "/dev/block");
    fs::create_directories(folders.sys + "/block");
    fs::create_directory_symlink("../../devices/sdx", folders.sys + "/dev/block/8:16");
    fs::create_directory_symlink("../../devices/sdx/sdx1", folders.sys + "/dev/block/8:17");
    fs::create_directory_symlink("../devices/sdx", folders.sys + "/block/sdx");
    fs::create_directories(folders.proc + "/self");
    put(folders.proc + "/self/mountinfo", "22 1 0:21 / /proc rw - proc proc rw\n");
    put(folders.proc + "/swaps", "Filename\tType\tSize\tUsed\tPriority\n");
  }
  static void put(const std::string& path, std::string_view text) {
    const auto* first = reinterpret_cast<const std::byte*>(text.data());
    write_file(path, {first, first + text.size()});
  }
};

TEST_CASE("in use: a quiet device is free") {
  const System system;
  CHECK(reasons_in_use(DeviceNumber{8, 16}, system.folders).empty());
  CHECK(reasons_in_use(DeviceNumber{8, 200}, system.folders).empty());  // not known at all
}

TEST_CASE("in use: mounted, also through a partition") {
  const System system;
  System::put(system.folders.proc + "/self/mountinfo",
              "30 1 8:16 / /mnt/whole rw - ext4 /dev/sdx rw\n"
              "31 1 8:18 / /mnt/with\\040blank rw - ext4 /dev/sdx2 rw\n"
              "32 1 8:161 / /other rw - ext4 /dev/other rw\ngarbage\n");
  const auto reasons = reasons_in_use(DeviceNumber{8, 16}, system.folders);
  REQUIRE(reasons.size() == 2);
  CHECK(reasons[0] == "sdx is mounted at /mnt/whole");
  CHECK(reasons[1] == "sdx2 is mounted at /mnt/with\\040blank");
  CHECK(reasons_in_use(DeviceNumber{8, 17}, system.folders).empty());
}

TEST_CASE("in use: swap and holders") {
  const System system;
  System::put(system.folders.proc + "/swaps",
              "Filename\tType\tSize\tUsed\tPriority\n/dev/sdx2   partition\t1\t0\t-2\n");
  fs::create_directory(system.folders.sys + "/devices/sdx/sdx1/holders/dm-0");
  const auto reasons = reasons_in_use(DeviceNumber{8, 16}, system.folders);
  REQUIRE(reasons.size() == 2);
  CHECK(reasons[0] == "sdx2 is in use as swap");
  CHECK(reasons[1] == "sdx1 is held by the device dm-0");
}

TEST_CASE("in use: a file behind a loop device that is mounted") {
  const System system;
  const std::string file = system.scratch.file("card.img");
  System::put(file, "x");
  CHECK(reasons_in_use(file, system.folders).empty());
  fs::create_directories(system.folders.sys + "/devices/sdx/loop");
  System::put(system.folders.sys + "/devices/sdx/loop/backing_file", file + "\n");
  CHECK(reasons_in_use(file, system.folders).empty());  // attached, but nobody uses it
  System::put(system.folders.proc + "/self/mountinfo",
              "30 1 8:17 / /mnt rw - ext4 /dev/loop0p1 rw\n");
  const auto reasons = reasons_in_use(file, system.folders);
  REQUIRE(reasons.size() == 1);
  CHECK(reasons[0] == "the file is behind sdx, and sdx1 is mounted at /mnt");
  CHECK(reasons_in_use(system.scratch.file("none"), system.folders).empty());
}

TEST_CASE("in use: the system this runs on answers without complaint") {
  CHECK(reasons_in_use("/dev/null").empty());
}

}  // namespace
