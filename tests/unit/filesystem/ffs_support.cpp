#include "unit/filesystem/ffs_support.h"

#include "core/digest.h"

namespace platter::test {
namespace {

using fixtures::FfsAttributes;
using fixtures::FfsOptions;
using fixtures::FfsSpecial;
using fixtures::FfsStyle;
using fixtures::FfsWriter;

constexpr std::int64_t kTime = 700000000;

// Adds to the writer and to the tree at the same time.
class Sample {
 public:
  explicit Sample(const FfsOptions& options) : options_(options), writer_(options) {}

  void file(const std::string& path, const std::string& content, FfsAttributes attributes) {
    writer_.add_file(path, content, attributes);
    note(path, "file", content.size(), attributes).sha256 = digest(content);
  }
  void sparse(const std::string& path, std::uint64_t bytes, const std::string& text,
              std::uint64_t at) {
    const FfsAttributes attributes{.modified = kTime};
    writer_.add_sparse_file(path, bytes, {{at, text}}, attributes);
    std::string all(bytes, '\0');
    all.replace(at, text.size(), text);
    note(path, "file", bytes, attributes).sha256 = digest(all);
  }
  void link(const std::string& path, const std::string& target) {
    const FfsAttributes attributes{.permissions = 0777, .modified = kTime};
    writer_.add_symlink(path, target, attributes);
    note(path, "symlink", target.size(), attributes).target = target;
  }
  void directory(const std::string& path, FfsAttributes attributes) {
    writer_.add_directory(path, attributes);
    note(path, "directory", 0, attributes).links.reset();
  }
  void special(const std::string& path, FfsSpecial kind, const char* type, std::uint32_t major = 0,
               std::uint32_t minor = 0) {
    const FfsAttributes attributes{.permissions = 0620, .modified = kTime};
    writer_.add_special(path, kind, major, minor, attributes);
    note(path, type, 0, attributes);
  }
  void hard_link(const std::string& path, const std::string& existing) {
    writer_.add_hard_link(path, existing);
    tree_[path] = tree_.at(existing);
    names_[existing].push_back(path);
  }
  FfsSample finish() {
    for (const auto& [existing, names] : names_) {
      const auto links = static_cast<std::uint32_t>(names.size()) + 1;
      tree_.at(existing).links = links;
      for (const std::string& name : names)
        tree_.at(name).links = links;
    }
    return {writer_.build(), tree_};
  }

  [[nodiscard]] bool narrow_ids() const {
    return options_.style == FfsStyle::bsd42 || options_.style == FfsStyle::dialect_v ||
           options_.style == FfsStyle::bsd44_old;
  }

 private:
  static std::string digest(const std::string& content) {
    Sha256 sha;
    sha.update(std::as_bytes(std::span(content)));
    return sha.finish();
  }
  TreeFile& note(const std::string& path, const char* type, std::uint64_t bytes,
                 const FfsAttributes& attributes) {
    TreeFile& file = tree_[path];
    file.type = type;
    file.bytes = bytes;
    file.mode = attributes.permissions;
    file.uid = attributes.uid;
    file.gid = attributes.gid;
    file.links = 1;
    file.modified = attributes.modified;
    return file;
  }

  FfsOptions options_;
  FfsWriter writer_;
  Tree tree_;
  std::map<std::string, std::vector<std::string>> names_;  // more names of files
};

}  // namespace

std::string ffs_text(std::size_t bytes, unsigned seed) {
  std::string text(bytes, '\0');
  for (char& c : text) {
    seed = seed * 1103515245U + 12345U;
    c = static_cast<char>(seed >> 16U);
  }
  return text;
}

std::vector<FfsCase> ffs_cases() {
  std::vector<FfsCase> cases;
  const auto add = [&](std::string name, FfsStyle style, ByteOrder order,
                       std::uint32_t device_block = 512) -> FfsOptions& {
    FfsOptions options;
    options.style = style;
    options.order = order;
    options.volume_bytes = 16 << 20;
    options.block_bytes = 4096;
    options.fragment_bytes = device_block;
    options.device_block_bytes = device_block;
    options.directory_chunk = device_block;
    options.sectors_per_track = 32;
    options.bytes_per_inode = 1024;
    // Old groups have at most 2048 inodes.
    if (device_block == 1024) options.cylinders_per_group = 8;
    options.time = kTime;
    options.last_mount = "/usr";
    name += order == ByteOrder::big ? ", big-endian" : ", little-endian";
    cases.push_back({std::move(name), options});
    return cases.back().options;
  };
  for (const ByteOrder order : {ByteOrder::big, ByteOrder::little}) {
    add("4.2BSD", FfsStyle::bsd42, order);
    add("SVR4", FfsStyle::svr4, order);
    add("4.4BSD", FfsStyle::bsd44, order);
    add("4.4BSD on old inodes", FfsStyle::bsd44_old, order);
    add("UFS2", FfsStyle::ufs2, order);
  }
  add("4.3BSD with flagged links", FfsStyle::bsd42, ByteOrder::big, 1024).flagged_links = true;
  add("4.4BSD with large device blocks", FfsStyle::bsd44, ByteOrder::big, 1024);
  add("dialect V", FfsStyle::dialect_v, ByteOrder::big, 1024);
  add("dialect V with short names", FfsStyle::dialect_v, ByteOrder::big, 1024).fixed_entries = true;
  return cases;
}

FfsSample ffs_sample(const FfsCase& its_case) {
  const FfsOptions& options = its_case.options;
  Sample sample(options);
  const std::uint32_t id = sample.narrow_ids() ? 60000 : 3000000000;
  const std::size_t block = options.block_bytes;
  unsigned seed = 1;
  const std::size_t sizes[] = {0,         1,          block / 8,      block - 1,  block,
                               block + 1, block * 12, block * 12 + 1, block * 13, block * 40 + 77};
  const std::size_t longest = options.fixed_entries ? 14 : 255;
  sample.directory("sizes", {.permissions = 01777, .uid = 1, .gid = 2, .modified = kTime + 1});
  for (const std::size_t size : sizes) {
    sample.file("sizes/" + std::to_string(size), ffs_text(size, ++seed),
                {.permissions = 04711, .uid = id, .gid = id + 1, .modified = kTime + seed});
  }
  // Two levels of addresses: 12 and 1024 (UFS2: 512) blocks come before.
  sample.file("sizes/two-levels", ffs_text(block * 1040 + 5, 99), {.modified = -86400});
  sample.sparse("sizes/front", block * 20 + 3, "text at the end", block * 20 - 12);
  sample.sparse("sizes/back", block * 30 + 3, "text at the start", 0);
  sample.sparse("sizes/all", block * 12 - 1, "", 0);
  sample.sparse("sizes/middle", block * 1200, "text in the second level", block * 1100 - 7);
  sample.file(std::string(longest, 'n'), "long name", {.modified = 0x7FFFFFFF});
  sample.file("old", "", {.modified = -0x7FFFFFFF});
  if (options.style == FfsStyle::ufs2) {
    sample.file("late", "", {.modified = 99'999'999'999});
    sample.file("early", "", {.modified = -99'999'999'999});
  }
  sample.hard_link("second", "sizes/1");
  sample.hard_link("sizes/third", "sizes/1");
  sample.directory("links", {.permissions = 0755, .modified = kTime});
  for (const std::size_t length : {1U, 59U, 60U, 61U, 119U, 120U, 121U, 1023U}) {
    sample.link("links/" + std::to_string(length), ffs_text(length, 7));
  }
  sample.directory("dev", {.permissions = 0755, .modified = kTime});
  sample.special("dev/tty", FfsSpecial::char_device, "char-device", 4, 200);
  sample.special("dev/disk", FfsSpecial::block_device, "block-device", 16, 130);
  sample.special("dev/pipe", FfsSpecial::fifo, "fifo");
  sample.special("dev/log", FfsSpecial::socket, "socket");
  sample.directory("many", {.permissions = 0700, .modified = kTime});
  for (int i = 0; i < 10000; ++i) {
    sample.file("many/name " + std::to_string(i), "", {.permissions = 0, .modified = i});
  }
  sample.directory("a", {.permissions = 0755, .modified = kTime});
  sample.directory("a/b", {.permissions = 0755, .modified = kTime});
  sample.directory("a/b/c", {.permissions = 0555, .modified = kTime});
  sample.file("a/b/c/bottom", "x", {.modified = 1});
  return sample.finish();
}

}  // namespace platter::test
