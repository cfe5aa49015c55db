#include "support/tree.h"

#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <filesystem>
#include <fstream>
#include <stdexcept>

#include <catch2/catch.hpp>
#include <fmt/format.h>

#include "core/digest.h"
#include "files/content.h"
#include "files/walk.h"

namespace platter::test {
namespace {

// More zeros than this are not hashed: a file with an absurd size would never end.
constexpr std::uint64_t kMostZeros = 256ULL * 1024 * 1024;

void hash_zeros(Sha256& digest, std::uint64_t count) {
  static const std::vector<std::byte> zeros(1U << 16U);
  for (count = std::min(count, kMostZeros); count != 0;) {
    const auto piece = static_cast<std::size_t>(std::min<std::uint64_t>(count, zeros.size()));
    digest.update(std::span(zeros).first(piece));
    count -= piece;
  }
}

std::string digest_of(Volume& volume, const View& view, NodeId node, std::uint64_t bytes) {
  Sha256 digest;
  std::uint64_t done = 0;
  const auto missing =
      read_content(volume, view, node,
                   [&](std::uint64_t offset, std::uint64_t, std::span<const std::byte> piece) {
                     hash_zeros(digest, offset - done);
                     digest.update(piece);
                     done = offset + piece.size();
                     return true;
                   });
  if (!missing.empty()) return "missing";
  hash_zeros(digest, bytes - std::min(bytes, done));
  return digest.finish();
}

std::string words_of(const TreeFile& file) {
  const auto number = [](const auto& value) {
    return value ? std::to_string(*value) : std::string("-");
  };
  return fmt::format("{} {} bytes mode {} ids {}/{} links {} time {} -> '{}' {:.12}", file.type,
                     file.bytes, file.mode ? fmt::format("{:04o}", *file.mode) : "-",
                     number(file.uid), number(file.gid), number(file.links), number(file.modified),
                     file.target, file.sha256);
}

void write_pattern(const std::string& path, std::uint64_t bytes, std::uint64_t seed) {
  std::ofstream file(path, std::ios::binary);
  std::string text(static_cast<std::size_t>(std::min<std::uint64_t>(bytes, 65536)), '\0');
  std::uint64_t state = seed * 0x9E3779B97F4A7C15ULL + 1;
  for (std::uint64_t done = 0; done < bytes;) {
    const auto piece = static_cast<std::size_t>(std::min<std::uint64_t>(bytes - done, text.size()));
    for (std::size_t i = 0; i < piece; ++i) {
      state = state * 6364136223846793005ULL + 1442695040888963407ULL;
      text[i] = static_cast<char>(state >> 56U);
    }
    file.write(text.data(), static_cast<std::streamsize>(piece));
    done += piece;
  }
}

void set_time(const std::string& path, std::int64_t seconds) {
  const std::array<timespec, 2> times{timespec{seconds, 0}, timespec{seconds, 0}};
  utimensat(AT_FDCWD, path.c_str(), times.data(), AT_SYMLINK_NOFOLLOW);
}

}  // namespace

std::unique_ptr<Volume> open_volume(std::string_view format, const View& view,
                                    const VolumeOptions& options) {
  const Format* row = find_format(format);
  if (row == nullptr || row->open == nullptr) FAIL("no such filesystem: " << format);
  std::unique_ptr<Volume> volume = row->open(view, options);
  if (volume == nullptr) FAIL("no volume of the format " << format);
  return volume;
}

Tree tree_of_volume(Volume& volume, const View& view, std::vector<Finding>* findings) {
  Tree tree;
  std::vector<Finding> said;
  walk(
      volume, volume.root(), "",
      [&](const FileVisit& visit) {
        TreeFile file;
        const Attributes& attributes = visit.attributes;
        file.type = node_type_name(attributes.type);
        const bool directory = attributes.type == NodeType::directory;
        if (!directory) {
          file.bytes = attributes.bytes;
          file.links = attributes.links;
        }
        file.mode = attributes.mode;
        file.uid = attributes.uid;
        file.gid = attributes.gid;
        if (attributes.modified) file.modified = attributes.modified->seconds;
        if (attributes.type == NodeType::symlink)
          file.target = volume.link_target(visit.entry.node);
        if (attributes.type == NodeType::file) {
          file.sha256 = digest_of(volume, view, visit.entry.node, attributes.bytes);
        }
        tree[std::string(visit.path)] = file;
        return Step::go_on;
      },
      said);
  if (findings != nullptr) {
    *findings = std::move(said);
  } else {
    for (const Finding& finding : said) {
      CAPTURE(finding.message);
      CHECK(finding_kind(finding.code).code == "none");
    }
  }
  return tree;
}

Tree tree_of_directory(const std::string& path) {
  Tree tree;
  namespace fs = std::filesystem;
  for (const auto& entry : fs::recursive_directory_iterator(path)) {
    struct stat status {};
    if (lstat(entry.path().c_str(), &status) != 0) throw std::runtime_error("lstat failed");
    TreeFile file;
    const NodeType type = type_of_mode(status.st_mode);
    file.type = node_type_name(type);
    if (type != NodeType::directory) {
      file.bytes = static_cast<std::uint64_t>(status.st_size);
      file.links = static_cast<std::uint32_t>(status.st_nlink);
    }
    file.mode = status.st_mode & 07777U;
    file.uid = status.st_uid;
    file.gid = status.st_gid;
    file.modified = status.st_mtime;
    if (type == NodeType::symlink) file.target = fs::read_symlink(entry.path()).string();
    if (type == NodeType::file) {
      std::ifstream content(entry.path(), std::ios::binary);
      Sha256 digest;
      std::vector<char> buffer(1U << 16U);
      while (content.read(buffer.data(), static_cast<std::streamsize>(buffer.size())),
             content.gcount() > 0) {
        digest.update(
            std::as_bytes(std::span(buffer).first(static_cast<std::size_t>(content.gcount()))));
      }
      file.sha256 = digest.finish();
    }
    tree[entry.path().lexically_relative(path).string()] = file;
  }
  return tree;
}

Tree seen_as(Tree tree, const TreeView& view) {
  for (auto& [path, file] : tree) {
    if (!view.modes) file.mode.reset();
    if (!view.ids) {
      file.uid.reset();
      file.gid.reset();
    }
    if (!view.links) file.links.reset();
    if (!view.times) file.modified.reset();
    if (file.modified)
      *file.modified -= (*file.modified % view.time_step + view.time_step) % view.time_step;
  }
  return tree;
}

std::string differences(const Tree& ours, const Tree& theirs) {
  std::string text;
  std::size_t count = 0;
  const auto add = [&](const std::string& line) {
    if (++count <= 20) text += line + "\n";
  };
  for (const auto& [path, file] : theirs) {
    const auto found = ours.find(path);
    if (found == ours.end()) {
      add(fmt::format("missing: {} ({})", path, words_of(file)));
    } else if (!(found->second == file)) {
      add(fmt::format("{}:\n  ours   {}\n  theirs {}", path, words_of(found->second),
                      words_of(file)));
    }
  }
  for (const auto& [path, file] : ours) {
    if (!theirs.contains(path)) add(fmt::format("too many: {} ({})", path, words_of(file)));
  }
  if (count > 20) text += fmt::format("and {} more\n", count - 20);
  return text;
}

void make_tree(const std::string& path, const TreeRecipe& recipe) {
  namespace fs = std::filesystem;
  // Fixed times: one before 1970 would not fit every filesystem, so each test adds its own.
  constexpr std::int64_t kBase = 700'000'000;  // 1992-03-07
  std::int64_t step = 0;
  std::vector<std::string> made;
  const auto name = [&](std::string_view lower, std::string_view upper) {
    return path + "/" + std::string(recipe.upper_case ? upper : lower);
  };
  const auto file = [&](const std::string& at, std::uint64_t bytes) {
    write_pattern(at, bytes, static_cast<std::uint64_t>(made.size()) + 1);
    made.push_back(at);
  };
  fs::create_directories(path);
  file(name("empty", "EMPTY.DAT"), 0);
  file(name("one", "ONE.DAT"), 1);
  for (const std::uint64_t times : {1ULL, 8ULL, 12ULL, 96ULL}) {
    for (const int off : {-1, 0, 1}) {
      const std::uint64_t bytes = recipe.unit * times + static_cast<std::uint64_t>(off);
      if (bytes > recipe.largest) continue;
      const int number = off + 1;
      file(
          name(fmt::format("units-{}-{}", times, number), fmt::format("U{}X{}.DAT", times, number)),
          bytes);
    }
  }
  file(name("largest", "LARGEST.DAT"), recipe.largest);
  const std::string many = name("many", "MANY");
  fs::create_directories(many);
  for (std::size_t i = 0; i < recipe.entries; ++i) {
    file(
        many + "/" +
            (recipe.upper_case ? fmt::format("F{}.TXT", i) : fmt::format("entry {:05} of many", i)),
        i % 7);
  }
  made.push_back(many);
  std::string deep = name("deep", "DEEP");
  std::vector<std::string> levels{deep};
  for (int level = 0; level < 6; ++level) {
    deep += recipe.upper_case ? fmt::format("/D{}", level) : fmt::format("/level-{}", level);
    levels.push_back(deep);
  }
  fs::create_directories(deep);
  file(deep + (recipe.upper_case ? "/BOTTOM.TXT" : "/bottom"), 100);
  made.insert(made.end(), levels.rbegin(), levels.rend());
  if (!recipe.upper_case) file(path + "/" + std::string(recipe.longest_name, 'n'), 10);
  if (recipe.holes) {
    const std::string holes = name("holes", "HOLES.DAT");
    file(holes, 10);
    fs::resize_file(holes, recipe.largest);
    std::fstream at(holes, std::ios::in | std::ios::out | std::ios::binary);
    at.seekp(static_cast<std::streamoff>(recipe.largest / 2));
    at << "in the middle";
  }
  if (recipe.hard_links) {
    fs::create_hard_link(name("one", "ONE.DAT"), name("other-one", "OTHER.DAT"));
  }
  if (recipe.symlinks) {
    for (const std::size_t length : {1U, 59U, 60U, 61U, 150U, 240U}) {
      const std::string at = path + "/link-" + std::to_string(length);
      fs::create_symlink(std::string(length, 't'), at);
      made.push_back(at);
    }
    for (int level = 0; level < 5; ++level) {
      const std::string at = fmt::format("{}/chain-{}", path, level);
      fs::create_symlink(level == 4 ? std::string("one") : fmt::format("chain-{}", level + 1), at);
      made.push_back(at);
    }
  }
  std::uint32_t kind = 0;
  for (const std::string& at : made) {
    if (!fs::is_symlink(at)) {
      constexpr std::array<mode_t, 4> kModes{0644, 0600, 0755, 04711};
      const bool directory = fs::is_directory(at);
      chmod(at.c_str(), directory ? 0755 : kModes[kind++ % kModes.size()]);
    }
    step += 12346;
    set_time(at, kBase + step);
  }
}

}  // namespace platter::test
