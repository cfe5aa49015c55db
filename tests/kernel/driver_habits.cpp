#include "kernel/driver_habits.h"

namespace platter::test {
namespace {

void take_as_unsigned(Listing& listing) {
  constexpr std::int64_t kWrap = std::int64_t{1} << 32U;
  for (auto& [path, file] : listing.tree) {
    if (file.modified && *file.modified < 0) *file.modified += kWrap;
  }
}

// platter leaves version 1 and the dot of an empty extension out.
void show_versions(Listing& listing) {
  Tree shown;
  for (const auto& [path, file] : listing.tree) {
    std::string name = path;
    if (file.type == "file") {
      const std::string last = path.substr(path.rfind('/') + 1);
      if (last.find('.') == std::string::npos) name += '.';
      if (last.find(';') == std::string::npos) name += ";1";
    }
    shown[name] = file;
  }
  listing.tree = std::move(shown);
}

void drop_devices(Listing& listing) {
  for (auto& [path, number] : listing.devices)
    number = {};
}

void cut_links(Listing& listing) {
  constexpr std::size_t kLongest = 59;
  for (auto& [path, file] : listing.tree) {
    if (file.target.size() == kLongest + 1) file.target.resize(kLongest);
  }
}

void keep_low_bits(Listing& listing) {
  for (auto& [path, number] : listing.devices)
    number.major = 0;
}

void split_late(Listing& listing) {
  for (auto& [path, number] : listing.devices) {
    const std::uint32_t all = number.major << 24U | number.minor;
    number = {.major = all >> 20U, .minor = all & 0xFFFFFU};
  }
}

void drop_moved(Listing& listing) {
  std::erase_if(listing.tree, [](const auto& one) {
    const std::string top = one.first.substr(0, one.first.find('/'));
    return top == "rr_moved" || top == ".rr_moved";
  });
}

void drop_resource_forks(Listing& listing) {
  std::erase_if(listing.tree, [](const auto& one) { return one.first.ends_with(".rsrc"); });
}

}  // namespace

DriverHabit unsigned_times() {
  return {take_as_unsigned, "times before 1970 come back 2^32 seconds later (read as unsigned)"};
}

DriverHabit holes_logged() {
  return {nullptr, "each hole is logged as a failure, and read as zeros",
          "efs: efs_map_block() failed to map"};
}

DriverHabit upper_half_devices() {
  return {drop_devices, "device numbers are taken from the wrong half of 64 bits, as 0"};
}

DriverHabit links_cut() {
  return {cut_links, "a symbolic link of 60 bytes in an inode is cut to 59"};
}

DriverHabit low_device_bits() {
  return {keep_low_bits, "of device numbers the low 16 bits are read; the clean byte is not known",
          "ufs: ufs_fill_super(): can't grok fs_clean 0x17"};
}

DriverHabit moved_shown() {
  return {nullptr, "the directory that holds moved directories is shown as well", "", drop_moved};
}

DriverHabit kernel_device_split() {
  return {split_late, "device numbers are split into 12 and 20 bits, not 8 and 24"};
}

DriverHabit data_forks_only() {
  return {drop_resource_forks, "resource forks (NAME.rsrc for platter) are not listed"};
}

DriverHabit versions_shown() {
  return {show_versions, "file names with their version and the dot before an empty extension"};
}

DriverHabit version_warned() {
  return {nullptr, "version 4 is announced once to end in 2030",
          "Deprecated V4 format (crc=0) will not be supported"};
}

}  // namespace platter::test
