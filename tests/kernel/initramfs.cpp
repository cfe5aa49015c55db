#include "kernel/initramfs.h"

#include <algorithm>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <map>
#include <set>

#include <fmt/format.h>

namespace platter::test {
namespace {

std::string content_of(const std::string& path) {
  std::ifstream file(path, std::ios::binary);
  return {std::istreambuf_iterator<char>(file), {}};
}

// Module names may be written with '-' or '_'.
std::string plain_name(std::string name) {
  std::ranges::replace(name, '-', '_');
  return name;
}

std::map<std::string, std::string> module_files(const std::string& directory) {
  std::map<std::string, std::string> files;
  for (const auto& entry : std::filesystem::recursive_directory_iterator(directory)) {
    if (entry.path().extension() == ".ko") {
      files[plain_name(entry.path().stem().string())] = entry.path().string();
    }
  }
  return files;
}

// What stands behind "depends=" in the module's own description, parted by commas.
std::vector<std::string> dependencies(const std::string& module) {
  const std::string bytes = content_of(module);
  const std::string key = std::string("\0depends=", 9);
  const std::size_t at = bytes.find(key);
  std::vector<std::string> names;
  if (at == std::string::npos) return names;
  std::string word;
  for (std::size_t i = at + key.size(); i < bytes.size(); ++i) {
    const char c = bytes[i];
    if (c != '\0' && c != ',') {
      word += c;
      continue;
    }
    if (!word.empty()) names.push_back(plain_name(word));
    word.clear();
    if (c == '\0') break;
  }
  return names;
}

class Archive {
 public:
  void add(const std::string& name, unsigned mode, const std::string& content = {}) {
    ++inode_;
    bytes_ += fmt::format("070701{:08X}{:08X}{:08X}{:08X}{:08X}{:08X}{:08X}", inode_, mode, 0, 0, 1,
                          0, content.size());
    bytes_ += fmt::format("{:08X}{:08X}{:08X}{:08X}{:08X}{:08X}", 0, 0, 0, 0, name.size() + 1, 0);
    bytes_ += name + '\0';
    pad();
    bytes_ += content;
    pad();
  }
  [[nodiscard]] std::string finish() {
    add("TRAILER!!!", 0);
    return std::move(bytes_);
  }

 private:
  void pad() { bytes_.resize((bytes_.size() + 3) / 4 * 4, '\0'); }

  std::string bytes_;
  unsigned inode_ = 0;
};

}  // namespace

std::vector<std::string> modules_for(const std::string& directory,
                                     const std::vector<std::string>& names) {
  const std::map<std::string, std::string> files = module_files(directory);
  std::vector<std::string> order;
  std::set<std::string> seen;
  const auto add = [&](const auto& self, const std::string& name) -> void {
    const auto file = files.find(name);
    if (file == files.end() || !seen.insert(name).second) return;
    for (const std::string& other : dependencies(file->second))
      self(self, other);
    order.push_back(file->second);
  };
  for (const std::string& name : names)
    add(add, plain_name(name));
  return order;
}

std::string initramfs(const std::string& init, const std::vector<std::string>& modules,
                      const std::string& jobs) {
  constexpr unsigned kDirectory = 0040755;
  constexpr unsigned kProgram = 0100755;
  constexpr unsigned kFile = 0100644;
  Archive archive;
  for (const char* name : {"proc", "sys", "dev", "mnt", "modules"})
    archive.add(name, kDirectory);
  archive.add("init", kProgram, content_of(init));
  for (std::size_t i = 0; i < modules.size(); ++i) {
    archive.add(fmt::format("modules/{:03}.ko", i), kFile, content_of(modules[i]));
  }
  archive.add("jobs", kFile, jobs);
  return archive.finish();
}

}  // namespace platter::test
