#include "support/old_unix_check.h"

#include <algorithm>
#include <functional>
#include <map>
#include <set>

#include <fmt/format.h>

#include "core/digest.h"

namespace platter::test {
namespace {

using Number = std::size_t;

class Checker {
 public:
  Checker(const std::vector<std::byte>& image, OldKind kind, OldOrder order, Number block_bytes)
      : image_(image),
        kind_(kind),
        order_(order),
        block_(kind == OldKind::release4 || kind == OldKind::release2 || kind == OldKind::xenix
                   ? block_bytes
                   : 512) {}

  OldUnixCheck check() {
    const Number super = kind_ == OldKind::xenix ? 1024 : 512;
    const bool wide = kind_ == OldKind::release4;
    if (kind_ == OldKind::v6) {
      data_ = word(super) + 2;
      blocks_ = word(super + 2);
    } else {
      data_ = word(super);
      blocks_ = quad(super + (wide ? 4 : 2));
    }
    owner_.assign(blocks_, 0);
    if (image_.size() < blocks_ * block_) complain("the image is too short");
    scan_inodes();
    allocate_all(super);
    for (Number b = data_; b < blocks_; ++b) {
      if (owner_[b] == 0) complain(fmt::format("block {} belongs to nobody", b));
    }
    check_counts(super);
    walk(root(), "", 0);
    for (const auto& [inode, links] : links_) {
      if (references_[inode] != links && !(inode == 1 && kind_ != OldKind::v6)) {
        complain(
            fmt::format("inode {} has {} names, {} are counted", inode, references_[inode], links));
      }
    }
    result_.used_blocks = static_cast<Number>(
        std::ranges::count_if(owner_, [](Number owner) { return owner > 0 && owner != kFree; }));
    return std::move(result_);
  }

 private:
  static constexpr Number kFree = 1000000;

  void complain(std::string text) {
    if (result_.problems.size() < 20) result_.problems.push_back(std::move(text));
  }
  Number byte(Number at) const {
    return at < image_.size() ? std::to_integer<Number>(image_[at]) : 0;
  }
  Number word(Number at) const {
    return order_ == OldOrder::big ? byte(at) * 256 + byte(at + 1) : byte(at) + byte(at + 1) * 256;
  }
  Number quad(Number at) const {
    return order_ == OldOrder::little ? word(at) + word(at + 2) * 65536
                                      : word(at) * 65536 + word(at + 2);
  }
  Number address(Number at) const {
    switch (order_) {
      case OldOrder::little:
        return byte(at) + byte(at + 1) * 256 + byte(at + 2) * 65536;
      case OldOrder::big:
        return byte(at) * 65536 + byte(at + 1) * 256 + byte(at + 2);
      default:
        return byte(at) * 65536 + byte(at + 1) + byte(at + 2) * 256;
    }
  }
  Number root() const { return kind_ == OldKind::v6 ? 1 : 2; }
  Number inode_at(Number inode) const {
    const Number bytes = kind_ == OldKind::v6 ? 32 : 64;
    return (2 + (inode - 1) / (block_ / bytes)) * block_ + (inode - 1) % (block_ / bytes) * bytes;
  }
  Number mode(Number inode) const { return word(inode_at(inode)); }
  bool is_v6() const { return kind_ == OldKind::v6; }
  char type(Number inode) const {
    const Number m = mode(inode);
    if (is_v6()) {
      if ((m & 0100000) == 0) return 0;
      return (m & 060000) == 040000   ? 'd'
             : (m & 060000) == 020000 ? 'c'
             : (m & 060000) == 060000 ? 'b'
                                      : 'f';
    }
    switch (m >> 12) {
      case 4:
        return 'd';
      case 8:
        return 'f';
      case 10:
        return 'l';
      case 2:
        return 'c';
      case 6:
        return 'b';
      case 1:
        return 'p';
      default:
        return 0;
    }
  }
  Number size(Number inode) const {
    const Number at = inode_at(inode);
    return is_v6() ? byte(at + 5) * 65536 + word(at + 6) : quad(at + 8);
  }
  // The text of a short link inside its inode: told by its first address, which is no block.
  bool inside(Number inode) const {
    if (is_v6() || type(inode) != 'l' || size(inode) > 39) return false;
    const Number first = address(inode_at(inode) + 12);
    return first < data_ || first >= blocks_;
  }

  // Block n of a file, with the indirect blocks on the way to it.
  Number block_of(Number inode, Number n, std::set<Number>* on_the_way) const {
    const Number at = inode_at(inode);
    const auto through = [&](Number block, Number index, Number width) -> Number {
      if (block == 0) return 0;
      if (on_the_way != nullptr) on_the_way->insert(block);
      return width == 2 ? word(block * block_ + index * 2) : quad(block * block_ + index * 4);
    };
    if (is_v6()) {
      if ((mode(inode) & 010000) == 0) return n < 8 ? word(at + 8 + n * 2) : 0;
      if (n < 7 * 256) return through(word(at + 8 + n / 256 * 2), n % 256, 2);
      n -= 7 * 256;
      return through(through(word(at + 22), n / 256, 2), n % 256, 2);
    }
    const Number per = block_ / 4;
    if (n < 10) return address(at + 12 + 3 * n);
    n -= 10;
    if (n < per) return through(address(at + 42), n, 4);
    n -= per;
    if (n < per * per) return through(through(address(at + 45), n / per, 4), n % per, 4);
    n -= per * per;
    return through(through(through(address(at + 48), n / (per * per), 4), n / per % per, 4),
                   n % per, 4);
  }

  void own(Number block, Number owner) {
    if (block < data_ || block >= blocks_) {
      complain(fmt::format("{} names block {}", owner, block));
    } else if (owner_[block] != 0) {
      complain(fmt::format("block {} belongs to {} and {}", block, owner_[block], owner));
    } else {
      owner_[block] = owner;
    }
  }

  void scan_inodes() {
    const Number count = (data_ - 2) * (block_ / (is_v6() ? 32 : 64));
    for (Number inode = 1; inode <= count; ++inode) {
      const char kind = type(inode);
      if (kind == 0) {
        if (mode(inode) != 0) complain(fmt::format("inode {} has mode {:o}", inode, mode(inode)));
        if (inode >= 2) ++free_inodes_;
        continue;
      }
      links_[inode] = is_v6() ? byte(inode_at(inode) + 2) : word(inode_at(inode) + 2);
      if ((kind != 'd' && kind != 'f' && kind != 'l') || inside(inode)) continue;
      std::set<Number> pointers;
      for (Number n = 0; n < (size(inode) + block_ - 1) / block_; ++n) {
        if (const Number block = block_of(inode, n, &pointers); block != 0) own(block, inode);
      }
      for (const Number pointer : pointers)
        own(pointer, inode);
    }
  }

  // As alloc() of the Seventh Edition does it, until no block is left.
  void allocate_all(Number super) {
    const Number width = is_v6() ? 2 : 4;
    Number capacity = 50;
    Number count_at = super + 6;
    Number free_at = super + 8;
    Number link_at = 2;
    switch (kind_) {
      case OldKind::release4:
        count_at = super + 8, free_at = super + 12, link_at = 4;
        break;
      case OldKind::xenix:
        capacity = 100;
        break;
      case OldKind::coherent:
        capacity = 64;
        break;
      case OldKind::v6:
        capacity = 100, count_at = super + 4, free_at = super + 6;
        break;
      default:
        break;
    }
    std::vector<Number> cache;
    const auto load = [&](Number counter, Number numbers) {
      cache.clear();
      const Number count = word(counter);
      if (count > capacity) complain(fmt::format("{} free blocks at {}", count, counter));
      for (Number i = 0; i < std::min(count, capacity); ++i) {
        cache.push_back(width == 2 ? word(numbers + 2 * i) : quad(numbers + 4 * i));
      }
    };
    load(count_at, free_at);
    while (!cache.empty() && result_.free_blocks <= blocks_) {
      const Number block = cache.back();
      cache.pop_back();
      if (block == 0) break;
      own(block, kFree);
      ++result_.free_blocks;
      if (cache.empty()) load(block * block_, block * block_ + link_at);
    }
  }

  void check_counts(Number super) {
    Number total = 0;
    Number inodes = 0;
    switch (kind_) {
      case OldKind::release4:
        total = quad(super + 432), inodes = word(super + 436);
        break;
      case OldKind::release2:
        total = quad(super + 426), inodes = word(super + 430);
        break;
      case OldKind::xenix:
        total = quad(super + 618), inodes = word(super + 622);
        break;
      case OldKind::coherent:
        total = quad(super + 474), inodes = word(super + 478);
        break;
      default:
        return;  // V7 and V6 keep no totals
    }
    if (total != result_.free_blocks)
      complain(fmt::format("tfree {} of {}", total, result_.free_blocks));
    if (inodes != free_inodes_) complain(fmt::format("tinode {} of {}", inodes, free_inodes_));
  }

  std::string content(Number inode) const {
    std::string text(size(inode), '\0');
    if (inside(inode)) {
      for (Number i = 0; i < text.size(); ++i)
        text[i] = static_cast<char>(byte(inode_at(inode) + 12 + i));
      return text;
    }
    for (Number n = 0; n * block_ < text.size(); ++n) {
      const Number block = block_of(inode, n, nullptr);
      if (block == 0) continue;
      for (Number i = 0; i < block_ && n * block_ + i < text.size(); ++i) {
        text[n * block_ + i] = static_cast<char>(byte(block * block_ + i));
      }
    }
    return text;
  }

  void add(Number inode, const std::string& path) {
    static const std::map<char, std::string> kTypes = {
        {'d', "directory"},    {'f', "file"}, {'l', "symlink"}, {'c', "char-device"},
        {'b', "block-device"}, {'p', "fifo"}, {0, "unknown"}};
    const Number at = inode_at(inode);
    TreeFile file;
    const char kind = type(inode);
    file.type = kTypes.at(kind);
    file.mode = static_cast<std::uint32_t>(mode(inode) & (is_v6() ? 07777 : 07777));
    file.uid = static_cast<std::uint32_t>(is_v6() ? byte(at + 3) : word(at + 4));
    file.gid = static_cast<std::uint32_t>(is_v6() ? byte(at + 4) : word(at + 6));
    file.modified = static_cast<std::int32_t>(quad(at + (is_v6() ? 28 : 56)));
    if (kind != 'd') file.links = static_cast<std::uint32_t>(links_[inode]);
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

  void walk(Number directory, const std::string& path, int depth) {
    const std::string entries = content(directory);
    if (entries.size() % 16 != 0 || depth > 100) complain("odd directory " + path);
    for (Number i = 0; i + 16 <= entries.size(); i += 16) {
      const auto at = [&](Number k) {
        return static_cast<Number>(static_cast<unsigned char>(entries[i + k]));
      };
      const Number inode = order_ == OldOrder::big ? at(0) * 256 + at(1) : at(0) + at(1) * 256;
      if (inode == 0) continue;
      std::string name = entries.substr(i + 2, 14);
      name = name.substr(0, name.find('\0'));
      ++references_[inode];
      if (name == ".") {
        if (inode != directory) complain(path + "/. is not itself");
        continue;
      }
      if (name == "..") continue;
      const std::string full = path.empty() ? name : path + "/" + name;
      if (result_.files.contains(full)) complain("twice: " + full);
      add(inode, full);
      if (type(inode) == 'd') walk(inode, full, depth + 1);
    }
  }

  const std::vector<std::byte>& image_;
  OldKind kind_;
  OldOrder order_;
  Number block_;
  Number data_ = 0;
  Number blocks_ = 0;
  Number free_inodes_ = 0;
  std::vector<Number> owner_;
  std::map<Number, Number> links_;
  std::map<Number, Number> references_;
  OldUnixCheck result_;
};

}  // namespace

OldUnixCheck check_old_unix_volume(const std::vector<std::byte>& image, OldKind kind,
                                   OldOrder order, std::size_t block_bytes) {
  return Checker(image, kind, order, block_bytes).check();
}

}  // namespace platter::test
