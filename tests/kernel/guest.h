// A stock kernel in an emulator as a second reader of partition tables and volumes.
#pragma once

#include <cstdint>
#include <map>
#include <string>
#include <vector>

#include "kernel/contents.h"
#include "support/tree.h"

namespace platter::test {

/// One question about an image. `type` empty: its partition table is asked for.
struct GuestJob {
  std::string name;              ///< letters, digits and '-'; at most 19 of them
  std::vector<std::byte> image;  ///< empty: another job has brought the disk
  std::string type = {};         ///< filesystem, as mount names it
  std::string options = {};      ///< mount options, no blanks; "" none
  std::string disk = {};         ///< names the disk as `name` does; "": it has the job's name
  int partition = 0;             ///< as the kernel counts; 0: the whole disk
  [[nodiscard]] const std::string& disk_name() const { return disk.empty() ? name : disk; }
};

struct GuestSlice {
  int number = 0;           ///< as the kernel counts: vda1 is 1
  std::uint64_t first = 0;  ///< 512-byte blocks
  std::uint64_t blocks = 0;
  friend auto operator<=>(const GuestSlice&, const GuestSlice&) = default;
};

struct GuestAnswer {
  bool answered = false;
  std::vector<GuestSlice> slices = {};  ///< by number
  Tree tree = {};
  Devices devices = {};                    ///< numbers of device files, by path
  std::vector<std::string> problems = {};  ///< what the kernel refused, in words
  /// Warnings and worse among the kernel messages that came meanwhile, each once.
  std::vector<std::string> warnings = {};
};

struct GuestAnswers {
  std::string kernel;  ///< release and version of the kernel
  std::map<std::string, GuestAnswer> by_name;
};

/// Starts the kernel once with every image attached, read-only, and returns its answers.
/// Throws std::runtime_error when kernel, emulator or the guest's program are not there, and when
/// the guest does not come to its end within five minutes.
[[nodiscard]] GuestAnswers ask_kernel(const std::vector<GuestJob>& jobs);

}  // namespace platter::test
