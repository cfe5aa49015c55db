#include "plan/in_use.h"

#include <sys/stat.h>
#include <sys/sysmacros.h>

#include <algorithm>
#include <filesystem>
#include <fstream>
#include <optional>
#include <sstream>
#include <string_view>

#include <fmt/format.h>

#include "core/charset.h"

namespace platter::plan {
namespace {

namespace fs = std::filesystem;

std::string first_line(const fs::path& path) {
  std::ifstream in(path);
  std::string line;
  std::getline(in, line);
  return line;
}

std::optional<DeviceNumber> number_in(std::string_view text) {
  DeviceNumber number;
  char colon = 0;
  std::istringstream in{std::string(text)};
  if (!(in >> number.major >> colon >> number.minor) || colon != ':') return std::nullopt;
  return number;
}

std::vector<fs::path> entries_of(const fs::path& folder) {
  std::vector<fs::path> entries;
  std::error_code problem;
  for (fs::directory_iterator at(folder, problem), end; !problem && at != end;
       at.increment(problem)) {
    entries.push_back(at->path());
  }
  std::ranges::sort(entries);
  return entries;
}

// The device and its partitions: folders of sysfs that have a `partition` file.
struct Part {
  DeviceNumber number;
  std::string name;
  fs::path folder;
};

std::vector<Part> parts_of(DeviceNumber device, const SystemFolders& folders) {
  const fs::path folder =
      fs::path(folders.sys) / "dev/block" / fmt::format("{}:{}", device.major, device.minor);
  std::error_code problem;
  const fs::path real = fs::canonical(folder, problem);
  std::vector<Part> parts = {{device, problem ? "the device" : real.filename().string(), real}};
  if (problem) return parts;
  for (const fs::path& entry : entries_of(real)) {
    if (!fs::exists(entry / "partition", problem)) continue;
    if (const auto number = number_in(first_line(entry / "dev"))) {
      parts.push_back({*number, entry.filename().string(), entry});
    }
  }
  return parts;
}

// proc_pid_mountinfo(5): the third field is the device's number, the fifth the place, with octal
// escapes for blanks and the like.
void add_mounts(const std::vector<Part>& parts, const SystemFolders& folders,
                std::vector<std::string>& reasons) {
  std::ifstream in(fs::path(folders.proc) / "self/mountinfo");
  for (std::string line; std::getline(in, line);) {
    std::istringstream fields(line);
    std::string id;
    std::string parent;
    std::string number;
    std::string root;
    std::string place;
    if (!(fields >> id >> parent >> number >> root >> place)) continue;
    for (const Part& part : parts) {
      if (number_in(number) == part.number) {
        reasons.push_back(
            fmt::format("{} is mounted at {}", printable(part.name), printable(place)));
      }
    }
  }
}

std::optional<DeviceNumber> device_at(const std::string& path) {
  struct stat status {};
  if (stat(path.c_str(), &status) != 0 || !S_ISBLK(status.st_mode)) return std::nullopt;
  return DeviceNumber{major(status.st_rdev), minor(status.st_rdev)};
}

// proc_swaps(5): the first field is a path. A name alone also counts, because the node may not be
// where the path says (another mount namespace).
void add_swaps(const std::vector<Part>& parts, const SystemFolders& folders,
               std::vector<std::string>& reasons) {
  std::ifstream in(fs::path(folders.proc) / "swaps");
  std::string line;
  std::getline(in, line);  // the heading
  while (std::getline(in, line)) {
    const std::string path = line.substr(0, line.find_first_of(" \t"));
    for (const Part& part : parts) {
      if (device_at(path) == part.number || fs::path(path).filename() == part.name) {
        reasons.push_back(fmt::format("{} is in use as swap", printable(part.name)));
      }
    }
  }
}

void add_holders(const std::vector<Part>& parts, std::vector<std::string>& reasons) {
  for (const Part& part : parts) {
    for (const fs::path& holder : entries_of(part.folder / "holders")) {
      reasons.push_back(fmt::format("{} is held by the device {}", printable(part.name),
                                    printable(holder.filename().string())));
    }
  }
}

// Loop devices whose file is this one.
void add_loops(const std::string& path, const SystemFolders& folders,
               std::vector<std::string>& reasons) {
  for (const fs::path& device : entries_of(fs::path(folders.sys) / "block")) {
    const std::string file = first_line(device / "loop/backing_file");
    std::error_code problem;
    if (file.empty() || !fs::equivalent(file, path, problem) || problem) continue;
    const auto number = number_in(first_line(device / "dev"));
    if (!number) continue;
    for (const std::string& reason : reasons_in_use(*number, folders)) {
      reasons.push_back(fmt::format("the file is behind {}, and {}",
                                    printable(device.filename().string()), reason));
    }
  }
}

}  // namespace

std::vector<std::string> reasons_in_use(DeviceNumber device, const SystemFolders& folders) {
  const std::vector<Part> parts = parts_of(device, folders);
  std::vector<std::string> reasons;
  add_mounts(parts, folders, reasons);
  add_swaps(parts, folders, reasons);
  add_holders(parts, reasons);
  return reasons;
}

std::vector<std::string> reasons_in_use(const std::string& path, const SystemFolders& folders) {
  if (const auto device = device_at(path)) return reasons_in_use(*device, folders);
  std::vector<std::string> reasons;
  struct stat status {};
  if (stat(path.c_str(), &status) == 0 && S_ISREG(status.st_mode)) {
    add_loops(path, folders, reasons);
  }
  return reasons;
}

}  // namespace platter::plan
