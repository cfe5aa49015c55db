#include <algorithm>
#include <map>

#include <fmt/format.h>

#include "core/digest.h"
#include "support/old_unix_check.h"

namespace platter::test {
namespace {

using Number = std::size_t;

class Checker {
 public:
  explicit Checker(const std::vector<std::byte>& image) : image_(image) {}

  EfsCheck check() {
    size_ = big(512, 4);
    first_ = big(516, 4);
    group_ = big(520, 4);
    inode_blocks_ = big(524, 2);
    groups_ = big(530, 2);
    owner_.assign(size_, 0);
    check_sum();
    Number free_inodes = 0;
    for (Number inode = 2; inode < groups_ * inode_blocks_ * 4; ++inode) {
      if (big(inode_at(inode), 2) == 0) {
        ++free_inodes;
      } else {
        scan(inode);
      }
    }
    if (free_inodes != big(564, 4)) complain(fmt::format("{} free inodes", free_inodes));
    check_bitmap();
    walk(2, "");
    for (const auto& [inode, count] : references_) {
      if (big(inode_at(inode) + 2, 2) != count)
        complain(fmt::format("inode {} has {} names", inode, count));
    }
    return std::move(result_);
  }

 private:
  void complain(std::string text) {
    if (result_.problems.size() < 20) result_.problems.push_back(std::move(text));
  }
  Number big(Number at, Number width) const {
    Number value = 0;
    for (Number i = 0; i < width; ++i) {
      value = value * 256 + (at + i < image_.size() ? std::to_integer<Number>(image_[at + i]) : 0);
    }
    return value;
  }
  Number inode_at(Number inode) const {
    const Number table = inode / 4;  // block of the inode if all tables followed one another
    return (first_ + table / inode_blocks_ * group_ + table % inode_blocks_) * 512 +
           inode % 4 * 128;
  }
  char type(Number inode) const {
    static const std::map<Number, char> kTypes = {{1, 'p'}, {2, 'c'}, {4, 'd'},
                                                  {6, 'b'}, {8, 'f'}, {10, 'l'}};
    const auto found = kTypes.find(big(inode_at(inode), 2) / 4096);
    return found == kTypes.end() ? '?' : found->second;
  }
  Number size(Number inode) const { return big(inode_at(inode) + 8, 4); }
  Number extents(Number inode) const { return big(inode_at(inode) + 28, 2); }

  // efs_subr.c: the words are folded in one by one, each time the sum turns by a bit.
  void check_sum() {
    std::uint32_t turned = 0;
    std::uint32_t pushed = 0;
    for (Number i = 0; i < 44; ++i) {
      const auto word = static_cast<std::uint32_t>(big(512 + 2 * i, 2));
      turned ^= word;
      turned = turned * 2 + turned / 0x80000000U;
      pushed = (pushed ^ word) * 2;
    }
    const auto stored = static_cast<std::uint32_t>(big(600, 4));
    if (stored != turned && stored != pushed) complain("the checksum is wrong");
  }

  void own(Number block, Number owner) {
    const bool inside = block >= first_ && block < first_ + groups_ * group_ &&
                        (block - first_) % group_ >= inode_blocks_;
    if (!inside) {
      complain(fmt::format("inode {} has block {}", owner, block));
    } else if (owner_[block] != 0) {
      complain(fmt::format("block {} belongs to {} and {}", block, owner_[block], owner));
    } else {
      owner_[block] = owner;
    }
  }

  // Places of the 8-byte extents of a file, whether they stand in the inode or in blocks.
  std::vector<Number> extent_places(Number inode, bool claim) {
    std::vector<Number> places;
    const Number at = inode_at(inode) + 32;
    if (extents(inode) <= 12) {
      for (Number i = 0; i < extents(inode); ++i)
        places.push_back(at + 8 * i);
      return places;
    }
    for (Number i = 0; i < big(at + 5, 3); ++i) {
      const Number table = big(at + 8 * i + 1, 3);
      for (Number b = 0; b < big(at + 8 * i + 4, 1); ++b) {
        if (claim) own(table + b, inode);
        for (Number j = 0; j < 64; ++j)
          places.push_back((table + b) * 512 + 8 * j);
      }
    }
    places.resize(std::min(places.size(), extents(inode)));
    return places;
  }

  // Block of the file to block of the disk.
  std::map<Number, Number> blocks(Number inode, bool claim) {
    std::map<Number, Number> map;
    if (type(inode) == 'c' || type(inode) == 'b') return map;
    const auto places = extent_places(inode, claim);
    if (places.size() != extents(inode)) complain(fmt::format("inode {} lacks extents", inode));
    for (const Number at : places) {
      const Number length = big(at + 4, 1);
      if (big(at, 1) != 0 || length == 0 || length > 248) complain("a strange extent");
      for (Number i = 0; i < length; ++i) {
        if (claim) own(big(at + 1, 3) + i, inode);
        if (!map.emplace(big(at + 5, 3) + i, big(at + 1, 3) + i).second) complain("mapped twice");
      }
    }
    return map;
  }

  void scan(Number inode) {
    if (type(inode) == '?') complain(fmt::format("inode {} has no type", inode));
    blocks(inode, true);
    references_[inode];
  }

  void check_bitmap() {
    const Number bitmap = big(568, 4) == 0 ? 2 : big(568, 4);
    if (big(556, 4) * 8 < first_ + groups_ * group_) complain("the bitmap is too short");
    for (Number block = first_; block < first_ + groups_ * group_; ++block) {
      if ((block - first_) % group_ < inode_blocks_) continue;
      const bool free = (big(bitmap * 512 + block / 8, 1) >> (block % 8) & 1) != 0;
      if (free) ++result_.free_blocks;
      if (free == (owner_[block] != 0)) complain(fmt::format("bit of block {} is wrong", block));
    }
    if (result_.free_blocks != big(560, 4))
      complain(fmt::format("{} free blocks", result_.free_blocks));
  }

  std::string content(Number inode) {
    std::string text(size(inode), '\0');
    if (type(inode) == 'l' && extents(inode) == 0) {
      for (Number i = 0; i < text.size(); ++i)
        text[i] = static_cast<char>(big(inode_at(inode) + 32 + i, 1));
      return text;
    }
    for (const auto& [n, block] : blocks(inode, false)) {
      for (Number i = 0; i < 512 && n * 512 + i < text.size(); ++i) {
        text[n * 512 + i] = static_cast<char>(big(block * 512 + i, 1));
      }
    }
    return text;
  }

  void add(Number inode, const std::string& path) {
    static const std::map<char, std::string> kTypes = {
        {'d', "directory"},    {'f', "file"}, {'l', "symlink"}, {'c', "char-device"},
        {'b', "block-device"}, {'p', "fifo"}, {'?', "unknown"}};
    const Number at = inode_at(inode);
    TreeFile file;
    const char kind = type(inode);
    file.type = kTypes.at(kind);
    file.mode = static_cast<std::uint32_t>(big(at, 2) % 4096);
    if (kind != 'd') file.links = static_cast<std::uint32_t>(big(at + 2, 2));
    file.uid = static_cast<std::uint32_t>(big(at + 4, 2));
    file.gid = static_cast<std::uint32_t>(big(at + 6, 2));
    file.modified = static_cast<std::int64_t>(big(at + 16, 4));
    if (kind == 'f' || kind == 'l' || kind == 'p') file.bytes = size(inode);
    if (kind == 'l') file.target = content(inode);
    if (kind == 'f') {
      const std::string text = content(inode);
      Sha256 digest;
      digest.update(std::as_bytes(std::span(text)));
      file.sha256 = digest.finish();
    }
    result_.files[path] = file;
  }

  void walk(Number directory, const std::string& path) {
    const std::string all = content(directory);
    if (all.size() % 512 != 0) complain("odd directory " + path);
    for (Number block = 0; block + 512 <= all.size(); block += 512) {
      const auto at = [&](Number k) {
        return static_cast<Number>(static_cast<unsigned char>(all[block + k]));
      };
      if (at(0) != 0xBE || at(1) != 0xEF) complain("no directory block in " + path);
      if (at(3) > 72 || 4 + at(3) > at(2) * 2) complain("slots run into entries in " + path);
      for (Number slot = 0; slot < at(3); ++slot) {
        const Number entry = at(4 + slot) * 2;
        if (entry == 0) continue;
        if (entry < at(2) * 2 || entry + 5 + at(entry + 4) > 512)
          complain("a wild slot in " + path);
        const Number inode =
            ((at(entry) * 256 + at(entry + 1)) * 256 + at(entry + 2)) * 256 + at(entry + 3);
        const std::string name = all.substr(block + entry + 5, at(entry + 4));
        ++references_[inode];
        if (name == "." || name == "..") {
          if (name == "." && inode != directory) complain(path + "/. is not itself");
          continue;
        }
        const std::string full = path.empty() ? name : path + "/" + name;
        if (result_.files.contains(full)) complain("twice: " + full);
        add(inode, full);
        if (type(inode) == 'd') walk(inode, full);
      }
    }
  }

  const std::vector<std::byte>& image_;
  Number size_ = 0, first_ = 0, group_ = 0, inode_blocks_ = 0, groups_ = 0;
  std::vector<Number> owner_;
  std::map<Number, Number> references_;
  EfsCheck result_;
};

}  // namespace

EfsCheck check_efs_volume(const std::vector<std::byte>& image) {
  return Checker(image).check();
}

}  // namespace platter::test
