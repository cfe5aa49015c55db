#include "support/ffs_volume_check.h"

#include <algorithm>
#include <set>

namespace platter::test {
namespace {

constexpr std::uint64_t kHole = ~std::uint64_t{0};

class Checker {
 public:
  Checker(const std::vector<std::byte>& image, bool big, bool typed)
      : image_(image), big_(big), typed_(typed) {}

  FfsCheck run() {
    read_superblock();
    used_.assign(size_, 0);
    owned_inodes_.assign(std::size_t{groups_} * group_inodes_, false);
    mark_metadata();
    walk(2, 2, "");
    for (std::uint32_t group = 0; group < groups_; ++group)
      check_group(group);
    compare("total of directories", totals_[0], number(8192 + 192, 4));
    compare("total of free blocks", totals_[1], number(8192 + 196, 4));
    compare("total of free inodes", totals_[2], number(8192 + 200, 4));
    compare("total of free fragments", totals_[3], number(8192 + 204, 4));
    const std::uint64_t free = totals_[1] * parts_ + totals_[3];
    compare("data fragments", free + result_.used_bytes / fragment_, number(8192 + 40, 4));
    check_links();
    return std::move(result_);
  }

 private:
  std::uint64_t number(std::uint64_t place, unsigned width) {
    std::uint64_t value = 0;
    for (unsigned i = 0; i < width; ++i) {
      const std::uint64_t at = place + (big_ ? i : width - 1 - i);
      value =
          value << 8U | (at < image_.size() ? std::to_integer<std::uint64_t>(image_[at]) : 0xA5U);
    }
    return value;
  }
  std::uint32_t word(std::uint64_t place) { return static_cast<std::uint32_t>(number(place, 4)); }
  bool bit(std::uint64_t map, std::uint32_t index) {
    return ((number(map + index / 8, 1) >> index % 8) & 1U) != 0;
  }
  void problem(const std::string& text) {
    if (result_.problems.size() < 20) result_.problems.push_back(text);
  }
  void compare(const std::string& what, std::uint64_t computed, std::uint64_t stored) {
    if (computed == stored) return;
    problem(what + ": computed " + std::to_string(computed) + ", stored " + std::to_string(stored));
  }

  void read_superblock() {
    const std::uint64_t sb = 8192;
    copy_ = word(sb + 8);
    group_block_ = word(sb + 12);
    inodes_at_ = word(sb + 16);
    data_ = word(sb + 20);
    shift_ = word(sb + 24);
    shift_mask_ = word(sb + 28);
    size_ = word(sb + 36);
    groups_ = word(sb + 44);
    block_ = word(sb + 48);
    fragment_ = word(sb + 52);
    parts_ = block_ / fragment_;
    sectors_ = word(sb + 124);
    summary_at_ = word(sb + 152);
    summary_bytes_ = word(sb + 156);
    track_ = word(sb + 168);
    cylinder_ = word(sb + 172);
    cycle_ = word(sb + 856);
    group_inodes_ = word(sb + 184);
    group_size_ = word(sb + 188);
    const std::uint32_t magic = word(sb + 1372);
    if (magic != 0x00095014) compare("magic", 0x00011954, magic);
    chunk_ = sectors_ != 0 && fragment_ / sectors_ == 1024 ? 1024 : 512;
  }

  std::uint64_t start_of(std::uint32_t group) const {
    return std::uint64_t{group} * group_size_ + std::uint64_t{shift_} * (group & ~shift_mask_);
  }

  void mark(std::uint64_t first, std::uint64_t count, const std::string& owner) {
    for (std::uint64_t i = first; i < first + count; ++i) {
      if (i >= size_) {
        problem(owner + " lies outside");
      } else if (++used_[i] > 1) {
        problem(owner + " shares fragment " + std::to_string(i));
      }
    }
  }

  void mark_metadata() {
    mark(0, copy_, "boot area");
    for (std::uint32_t group = 0; group < groups_; ++group) {
      mark(start_of(group) + copy_, data_ - copy_, "group " + std::to_string(group));
      for (std::uint64_t i = 0; i < 1376; ++i) {
        // All but the counts is equal in every copy.
        const bool counts = (i >= 32 && i < 36) || (i >= 192 && i < 212) || i >= 1008;
        if (!counts &&
            number((start_of(group) + copy_) * fragment_ + i, 1) != number(8192 + i, 1)) {
          problem("superblock copy " + std::to_string(group) + " differs at byte " +
                  std::to_string(i));
        }
      }
    }
    mark(summary_at_, summary_bytes_ / fragment_, "summaries");
  }

  std::uint64_t inode_at(std::uint32_t inode) const {
    return (start_of(inode / group_inodes_) + inodes_at_) * fragment_ +
           std::uint64_t{inode % group_inodes_} * 128;
  }

  // The blocks of a file in order; marks what it holds.
  void collect(std::uint32_t address, unsigned level, std::uint64_t& left,
               std::vector<std::pair<std::uint64_t, std::uint64_t>>& pieces, std::uint64_t& held,
               bool direct, const std::string& path) {
    if (left == 0) return;
    if (address == 0) {  // a hole
      std::uint64_t bytes = block_;
      for (unsigned i = 0; i < level; ++i)
        bytes *= block_ / 4;
      bytes = std::min(bytes, left);
      pieces.emplace_back(kHole, bytes);
      left -= bytes;
      return;
    }
    if (level > 0) {
      mark(address, parts_, path);
      held += parts_;
      for (std::uint32_t i = 0; i < block_ / 4 && left > 0; ++i) {
        collect(word(std::uint64_t{address} * fragment_ + i * 4U), level - 1, left, pieces, held,
                false, path);
      }
      return;
    }
    const std::uint64_t bytes = std::min<std::uint64_t>(left, block_);
    const std::uint64_t count = direct ? (bytes + fragment_ - 1) / fragment_ : parts_;
    if (address % parts_ + count > parts_) problem(path + " crosses a block");
    mark(address, count, path);
    held += count;
    pieces.emplace_back(std::uint64_t{address} * fragment_, bytes);
    left -= bytes;
  }

  std::string content(std::uint32_t inode, const std::string& path) {
    const std::uint64_t at = inode_at(inode);
    std::uint64_t left = number(at + 8, 8);
    if (left > image_.size()) {
      problem(path + " is longer than the volume");
      return {};
    }
    if ((number(at, 2) & 0170000U) == 0120000U && word(at + 104) == 0) {
      return bytes_at(at + 40, left);
    }
    std::vector<std::pair<std::uint64_t, std::uint64_t>> pieces;
    std::uint64_t held = 0;
    const bool has_indirect = left > 12ULL * block_;
    for (unsigned i = 0; i < 12; ++i) {
      collect(word(at + 40 + i * 4U), 0, left, pieces, held, !has_indirect, path);
    }
    for (unsigned i = 0; i < 3; ++i) {
      collect(word(at + 88 + i * 4U), i + 1, left, pieces, held, false, path);
    }
    compare("sectors of " + path, held * sectors_, word(at + 104));
    result_.used_bytes += held * fragment_;
    std::string all;
    for (const auto& [place, length] : pieces) {
      all += place == kHole ? std::string(length, '\0') : bytes_at(place, length);
    }
    return all;
  }

  std::string bytes_at(std::uint64_t place, std::uint64_t length) {
    std::string text;
    for (std::uint64_t i = 0; i < length; ++i)
      text += static_cast<char>(number(place + i, 1));
    return text;
  }

  std::uint64_t part(const std::string& text, std::size_t at, unsigned width) const {
    std::uint64_t value = 0;
    for (unsigned i = 0; i < width; ++i) {
      value = value << 8U | static_cast<unsigned char>(text[at + (big_ ? i : width - 1 - i)]);
    }
    return value;
  }

  void walk(std::uint32_t inode, std::uint32_t parent, const std::string& path) {
    if (inode >= owned_inodes_.size()) {
      problem("inode of " + path + " is outside");
      return;
    }
    if (owned_inodes_[inode]) {  // one more name
      if (directories_.contains(inode)) problem("the directory " + path + " has two names");
      result_.files[path] = result_.files[first_names_[inode]];
      return;
    }
    first_names_[inode] = path;
    owned_inodes_[inode] = true;
    stored_links_[inode] = number(inode_at(inode) + 2, 2);
    const std::uint64_t type = number(inode_at(inode), 2) & 0170000U;
    if (type == 0020000U || type == 0060000U || type == 0010000U || type == 0140000U) {
      result_.files[path] = "special";
      return;
    }
    const std::string text = content(inode, path);
    if (type == 0120000U) {
      result_.files[path] = "-> " + text;
    } else if (type == 0100000U) {
      result_.files[path] = text;
    } else if (type == 0040000U) {
      result_.files[path] = "";
      directories_.insert(inode);
      walk_entries(inode, parent, path, text);
    } else {
      problem(path + " has no known type");
    }
  }

  void walk_entries(std::uint32_t inode, std::uint32_t parent, const std::string& path,
                    const std::string& text) {
    if (text.empty() || text.size() % chunk_ != 0) problem(path + " is no whole number of chunks");
    unsigned count = 0;
    for (std::size_t at = 0; at + 8 <= text.size();) {
      const auto target = static_cast<std::uint32_t>(part(text, at, 4));
      const std::uint64_t length = part(text, at + 4, 2);
      const std::uint64_t name_bytes = typed_ ? part(text, at + 7, 1) : part(text, at + 6, 2);
      if (length < 8 + (name_bytes + 4) / 4 * 4 || length % 4 != 0 ||
          at / chunk_ != (at + length - 1) / chunk_) {
        problem(path + " has a bad entry at " + std::to_string(at));
        return;
      }
      const std::string name = text.substr(at + 8, name_bytes);
      at += length;
      if (target == 0) continue;
      found_links_[target] += 1;
      ++count;
      if (typed_ && part(text, at - length + 6, 1) != (number(inode_at(target), 2) >> 12U)) {
        problem(path + "/" + name + " has the wrong type in its entry");
      }
      if (count == 1 && (name != "." || target != inode)) problem(path + " does not start with .");
      if (count == 2 && (name != ".." || target != parent)) problem(path + " has no second ..");
      if (count > 2) walk(target, inode, path.empty() ? name : path + "/" + name);
    }
  }

  void check_links() {
    for (const auto& [inode, links] : stored_links_) {
      compare("links of inode " + std::to_string(inode), found_links_[inode], links);
    }
  }

  struct Group {
    std::uint64_t place;
    bool old;
    std::uint64_t inode_map;
    std::uint64_t fragment_map;
    std::uint64_t totals;
    std::uint64_t positions;
    std::uint32_t position_count;
    std::uint32_t length;
    std::uint64_t base;
  };

  void check_group(std::uint32_t index) {
    Group group{};
    group.base = std::uint64_t{index} * group_size_;
    group.length =
        static_cast<std::uint32_t>(std::min<std::uint64_t>(group_size_, size_ - group.base));
    group.place = (start_of(index) + group_block_) * fragment_;
    group.old = word(group.place + 4) != 0x00090255;
    if (group.old) compare("magic of an old group", 0x00090255, word(group.place + 980));
    group.inode_map = group.place + (group.old ? 724 : word(group.place + 92));
    group.fragment_map = group.place + (group.old ? 984 : word(group.place + 96));
    group.totals = group.place + (group.old ? 84 : word(group.place + 84));
    group.positions = group.place + (group.old ? 212 : word(group.place + 88));
    group.position_count = group.old ? 8 : word(8192 + 1360);
    const std::string name = "group " + std::to_string(index);
    compare(name + " number", index, word(group.place + 12));
    compare(name + " length", group.length, word(group.place + 20));
    compare(name + " inodes", group_inodes_ & 0xFFFFU, number(group.place + 18, 2));
    check_inodes(index, group, name);
    check_fragments(index, group, name);
  }

  void count(std::uint32_t index, const Group& group, const std::string& name, unsigned which,
             std::uint64_t value) {
    compare(name + " count " + std::to_string(which), value, word(group.place + 24 + which * 4U));
    compare(name + " summary " + std::to_string(which), value,
            word(std::uint64_t{summary_at_} * fragment_ + index * 16U + which * 4U));
    totals_[which] += value;
  }

  void check_inodes(std::uint32_t index, const Group& group, const std::string& name) {
    std::uint64_t free = 0;
    std::uint64_t directories = 0;
    for (std::uint32_t i = 0; i < group_inodes_; ++i) {
      const std::uint32_t inode = index * group_inodes_ + i;
      const bool used = bit(group.inode_map, i);
      const bool expected = inode < 2 || owned_inodes_[inode];
      if (used != expected) problem(name + " has a wrong bit for inode " + std::to_string(inode));
      if (!used && number(inode_at(inode), 2) != 0) problem("a free inode has a mode");
      free += used ? 0 : 1;
      directories += directories_.contains(inode) ? 1 : 0;
    }
    count(index, group, name, 0, directories);
    count(index, group, name, 2, free);
  }

  void check_fragments(std::uint32_t index, const Group& group, const std::string& name) {
    std::uint64_t blocks = 0;
    std::uint64_t fragments = 0;
    std::map<std::uint64_t, std::uint64_t> runs;
    std::map<std::uint64_t, std::uint64_t> by_cylinder;
    std::map<std::uint64_t, std::uint64_t> by_position;
    for (std::uint32_t at = 0; at < group.length; at += parts_) {
      std::string row;  // of one block
      for (std::uint32_t i = at; i < std::min(at + parts_, group.length); ++i) {
        const bool free = bit(group.fragment_map, i);
        if (free == (used_[group.base + i] != 0)) {
          problem(name + " has a wrong bit for fragment " + std::to_string(group.base + i));
        }
        row += free ? 'f' : 'u';
      }
      if (row == std::string(parts_, 'f')) {
        ++blocks;
        const std::uint64_t sector = std::uint64_t{at} * sectors_;
        const std::uint64_t cylinder = sector / cylinder_;
        ++by_cylinder[cylinder];
        if (track_ != 0) {
          ++by_position[cylinder * group.position_count +
                        sector % track_ * group.position_count / track_];
        }
        continue;
      }
      row += 'u';
      std::uint64_t run = 0;
      for (const char c : row) {
        if (c == 'f') {
          ++fragments;
          ++run;
        } else if (run != 0) {
          ++runs[run];
          run = 0;
        }
      }
    }
    count(index, group, name, 1, blocks);
    count(index, group, name, 3, fragments);
    for (unsigned i = 0; i < 8; ++i)
      compare(name + " runs", runs[i], word(group.place + 52 + i * 4U));
    if (cycle_ == 0) return;  // no rotational tables
    const std::uint64_t cylinders =
        (std::uint64_t{group.length} * sectors_ + cylinder_ - 1) / cylinder_;
    compare(name + " cylinders", cylinders, number(group.place + 16, 2));
    for (std::uint64_t i = 0; i < cylinders; ++i) {
      compare(name + " cylinder", by_cylinder[i], word(group.totals + i * 4));
    }
    for (std::uint64_t i = 0; i < cylinders * group.position_count; ++i) {
      compare(name + " position", by_position[i], number(group.positions + i * 2, 2));
    }
  }

  const std::vector<std::byte>& image_;
  bool big_;
  bool typed_;
  FfsCheck result_;
  std::uint32_t copy_ = 0, group_block_ = 0, inodes_at_ = 0, data_ = 0, shift_ = 0, shift_mask_ = 0,
                size_ = 0, groups_ = 0, block_ = 1, fragment_ = 1, parts_ = 1, sectors_ = 0,
                summary_at_ = 0, summary_bytes_ = 0, track_ = 0, cylinder_ = 1, cycle_ = 0,
                group_inodes_ = 1, group_size_ = 1;
  std::vector<std::uint8_t> used_;
  std::vector<bool> owned_inodes_;
  std::set<std::uint32_t> directories_;
  std::map<std::uint32_t, std::uint64_t> stored_links_;
  std::map<std::uint32_t, std::string> first_names_;
  std::uint64_t chunk_ = 512;
  std::map<std::uint32_t, std::uint64_t> found_links_;
  std::uint64_t totals_[4] = {0, 0, 0, 0};
};

}  // namespace

FfsCheck check_ffs_volume(const std::vector<std::byte>& image, bool big, bool typed_entries) {
  return Checker(image, big, typed_entries).run();
}

}  // namespace platter::test
