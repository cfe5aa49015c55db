#include "kernel/contents.h"

#include <algorithm>
#include <array>

#include <fmt/format.h>
#include <openssl/evp.h>

namespace platter::test {
namespace {

constexpr std::int64_t kDay = 86400;
constexpr std::uint64_t kTwiceUpTo = 2 << 20;  // larger files take long to hash in the emulator

// Not platter's own digest: it is one of the things compared.
std::string sha256_of(const std::string& text) {
  std::array<unsigned char, EVP_MAX_MD_SIZE> sum{};
  unsigned length = 0;
  EVP_Digest(text.data(), text.size(), sum.data(), &length, EVP_sha256(), nullptr);
  std::string digits;
  for (unsigned i = 0; i < length; ++i)
    digits += fmt::format("{:02x}", sum[i]);
  return digits;
}

// Bytes without a zero among them, so that no block of them is a hole.
std::string pattern(std::uint64_t bytes, std::uint32_t seed) {
  std::string text(bytes, '\0');
  std::uint32_t state = seed * 2654435761U + 1;
  for (char& c : text) {
    state = state * 1664525U + 1013904223U;
    c = static_cast<char>((state >> 24U) | 1U);
  }
  return text;
}

class Filler {
 public:
  explicit Filler(const ContentRecipe& recipe) : recipe_(recipe) {}

  std::vector<ContentItem> fill() {
    sizes();
    names();
    if (recipe_.holes) holes();
    if (recipe_.directories) directories();
    many();
    if (recipe_.devices) devices();
    if (recipe_.fifos) add({.path = "pipe", .type = NodeType::fifo, .mode = 0620});
    for (const std::size_t length : recipe_.link_lengths) {
      std::string target(length, 't');
      for (std::size_t i = 11; i + 1 < length; i += 12)
        target[i] = '/';
      add({.path = fmt::format("link-{}", length),
           .type = NodeType::symlink,
           .target = target,
           .mode = 0777});
    }
    if (recipe_.hard_links) {
      again("other-one", "size-1");
      if (recipe_.directories) again("usr/third-one", "size-1");
    }
    return std::move(items_);
  }

 private:
  // Gives what is not said: times a day apart, owners that rise.
  ContentItem& add(ContentItem item) {
    const auto number = static_cast<std::uint32_t>(items_.size());
    item.modified = 9131 * kDay + number * (kDay + 3661) / 2 * 2;  // from 1995-01-01; even, for FAT
    if (item.uid == 0) item.uid = 100 + number;
    if (item.gid == 0) item.gid = 20 + number % 7;
    items_.push_back(std::move(item));
    return items_.back();
  }
  ContentItem& file(const std::string& path, std::uint64_t bytes) {
    const auto seed = static_cast<std::uint32_t>(items_.size());
    ContentItem item{.path = path, .bytes = bytes};
    if (bytes != 0) item.pieces.push_back({0, pattern(bytes, seed)});
    constexpr std::array<std::uint32_t, 4> kModes = {0644, 0400, 04755, 02711};
    item.mode = kModes[seed % kModes.size()];
    return add(std::move(item));
  }
  void again(const std::string& path, const std::string& existing) {
    items_.push_back({.path = path, .same_as = existing});
  }

  void sizes() {
    file("size-0", 0);
    file("size-1", 1);
    for (const std::uint64_t edge : recipe_.edges) {
      for (const std::uint64_t bytes : {edge - 1, edge, edge + 1})
        file(fmt::format("size-{}", bytes), bytes);
    }
  }
  void names() {
    file(std::string(recipe_.longest_name, 'n'), 12);
    ContentItem& owned = file("owned", 3);
    owned.uid = recipe_.top_id;
    owned.gid = recipe_.top_id - 1;
    if (recipe_.old_times) file("before-1970", 4).modified = -400 * kDay;
    file("late", 5).modified = 2147483646;  // 2038-01-19, the last even second of 31 bits
  }
  void holes() {
    add({.path = "hole-at-start", .bytes = 50003, .pieces = {{50000, "end"}}});
    add({.path = "hole-at-end", .bytes = 50001, .pieces = {{0, "start"}}});
    add({.path = "all-hole", .bytes = 20000});
    for (const std::uint64_t edge : recipe_.far_edges) {
      for (const std::uint64_t bytes : {edge, edge + 1}) {
        if (bytes == edge && edge > kTwiceUpTo) continue;
        add({.path = fmt::format("far-{}", bytes),
             .bytes = bytes,
             .pieces = {{2, "two"}, {bytes - 3, "end"}}});
      }
    }
  }
  void directories() {
    add({.path = "usr", .type = NodeType::directory, .mode = 0755});
    add({.path = "usr/bin", .type = NodeType::directory, .mode = 02775});
    add({.path = "usr/empty", .type = NodeType::directory, .mode = 0700});
    std::string deep = "usr";
    for (int level = 1; level <= 5; ++level) {
      deep += fmt::format("/l{}", level);
      add({.path = deep, .type = NodeType::directory, .mode = 0755});
    }
    file("usr/bin/tool", 5000);
    file(deep + "/bottom", 7);
  }
  void many() {
    if (recipe_.directories) add({.path = "many", .type = NodeType::directory, .mode = 01777});
    const std::string prefix = recipe_.directories ? "many/" : "";
    for (std::size_t i = 0; i < recipe_.entries; ++i)
      file(fmt::format("{}entry-{:03}", prefix, i), i % 5);
  }
  void devices() {
    add({.path = "console", .type = NodeType::char_device, .mode = 0622, .device = {5, 1}});
    add({.path = "disk", .type = NodeType::block_device, .mode = 0600, .device = {31, 130}});
  }

  ContentRecipe recipe_;
  std::vector<ContentItem> items_;
};

}  // namespace

std::string ContentItem::content() const {
  std::string all(bytes, '\0');
  for (const ContentPiece& piece : pieces)
    all.replace(piece.offset, piece.text.size(), piece.text);
  return all;
}

std::vector<ContentItem> contents(const ContentRecipe& recipe) {
  return Filler(recipe).fill();
}

Tree tree_of(const std::vector<ContentItem>& items) {
  Tree tree;
  for (const ContentItem& item : items) {
    if (!item.same_as.empty()) continue;
    TreeFile& file = tree[item.path];
    file.type = node_type_name(item.type);
    file.mode = item.mode;
    file.uid = item.uid;
    file.gid = item.gid;
    file.modified = item.modified;
    if (item.type == NodeType::directory) continue;
    file.links = 1 + std::ranges::count(items, item.path, &ContentItem::same_as);
    file.bytes = item.type == NodeType::symlink ? item.target.size() : item.bytes;
    file.target = item.target;
    if (item.type == NodeType::file) file.sha256 = sha256_of(item.content());
  }
  for (const ContentItem& item : items) {
    if (!item.same_as.empty()) tree[item.path] = tree.at(item.same_as);
  }
  return tree;
}

Devices devices_of(const std::vector<ContentItem>& items) {
  Devices devices;
  for (const ContentItem& item : items) {
    if (item.type == NodeType::char_device || item.type == NodeType::block_device) {
      devices[item.path] = item.device;
    }
  }
  return devices;
}

}  // namespace platter::test
