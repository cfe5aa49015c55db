#include "filesystem/hfs_volume.h"

#include <algorithm>

#include <fmt/format.h>

namespace platter::filesystem {
namespace {

constexpr std::uint64_t kBlock = 512;
constexpr std::size_t kRemembered = 1024;
constexpr std::string_view kForkSuffix = ".rsrc";
// Whoever took this many names that a fork could get wants to keep us busy.
constexpr unsigned kMostForkNames = 100;

// Node numbers: catalog id, leaf of the record, index in the leaf, resource fork.
constexpr unsigned kLeafShift = 32;
constexpr unsigned kIndexShift = 56;
constexpr std::uint64_t kIdMask = 0xFFFFFFFF;
constexpr std::uint64_t kLeafMask = 0xFFFFFF;
constexpr std::uint64_t kIndexMask = 0x3F;
constexpr NodeId kResource = NodeId{1} << 63U;

std::uint64_t locator_of(const HfsTreeNode& node, std::size_t index) {
  return (node.number & kLeafMask) << kLeafShift | (index & kIndexMask) << kIndexShift;
}

std::string_view name_of_length(std::string_view name) {
  return name.substr(0, std::min(name.size(), kHfsMostName));
}

std::uint64_t kind_of(std::span<const std::byte> data) {
  return data.empty() ? 0 : std::to_integer<std::uint64_t>(data[0]);
}

}  // namespace

/// A record of the catalog below a directory. Lives as long as the visit.
struct HfsVolume::Child {
  std::string_view name;
  std::span<const std::byte> data;
  std::uint64_t locator = 0;
  std::uint64_t place = 0;  ///< image
};

HfsVolume::HfsVolume(View view, const HfsHeader& header, const VolumeOptions& options)
    : view_(std::move(view)),
      header_(header),
      blocks_(header.get<"blocks">()),
      block_bytes_(header.get<"block_bytes">()),
      first_block_place_(header.get<"first_block">() * kBlock),
      charset_(options.charset.value_or(Charset::hfs_roman)),
      extents_(view_, {}),
      catalog_(view_, {}),
      seen_(kRemembered) {
  const auto runs_of_fork = [&](std::uint64_t id, std::span<const std::byte> extents,
                                std::uint64_t bytes) {
    std::vector<HfsRun> runs;
    each_block_run(id, kHfsDataFork, Extents3(extents.data(), ByteOrder::big),
                   divide_up(bytes, block_bytes_), [&](std::uint64_t start, std::uint64_t count) {
                     if (!fits_within(start, count, blocks_)) return false;
                     runs.push_back({place_of_block(start), count * block_bytes_});
                     return true;
                   });
    return runs;
  };
  extents_ = HfsTree(view_, runs_of_fork(kHfsExtentsFile, header_.raw<"extents_extents">(),
                                         header_.get<"extents_bytes">()));
  catalog_ = HfsTree(view_, runs_of_fork(kHfsCatalogFile, header_.raw<"catalog_extents">(),
                                         header_.get<"catalog_bytes">()));
}

void HfsVolume::collect(HfsTree& tree) {
  if (auto problem = tree.take_problem()) {
    find(Severity::fault, FindingCode::filesystem_damaged, image_place(problem->place),
         kHfsNodeBytes, std::move(problem->message));
  }
}

void HfsVolume::each_block_run(std::uint64_t id, std::uint64_t fork, Extents3 first,
                               std::uint64_t wanted,
                               FunctionRef<bool(std::uint64_t start, std::uint64_t count)> visit) {
  std::uint64_t covered = 0;
  bool go_on = true;
  for (std::size_t i = 0; i < 3 && covered < wanted && go_on; ++i) {
    const auto extent = first.sub<"extents">(i);
    if (extent.get<"count">() == 0) return;
    covered += extent.get<"count">();
    go_on = visit(extent.get<"start">(), extent.get<"count">());
  }
  if (!go_on || covered >= wanted || id == kHfsExtentsFile) return;
  each_overflow_run(id, fork, covered, [&](std::uint64_t start, std::uint64_t count) {
    covered += count;
    return visit(start, count) && covered < wanted && covered <= blocks_;
  });
}

void HfsVolume::each_overflow_run(
    std::uint64_t id, std::uint64_t fork, std::uint64_t from,
    FunctionRef<bool(std::uint64_t start, std::uint64_t count)> visit) {
  using ExtentKey = FieldReader<kHfsExtentKey>;
  const auto rank = [](std::uint64_t file, std::uint64_t of_fork, std::uint64_t block) {
    return file << 24U | of_fork << 16U | block;
  };
  const auto rank_of_record = [&](std::span<const std::byte> record) -> std::uint64_t {
    if (record.size() < kHfsExtentKey.bytes) return 0;
    const ExtentKey key(record.data(), ByteOrder::big);
    return rank(key.get<"file">(), key.get<"fork">(), key.get<"first">());
  };
  std::uint64_t next = rank(id, fork, from);
  const std::uint64_t end = rank(id, fork, 0xFFFF);
  extents_.each_from(
      [&](std::span<const std::byte> record) { return rank_of_record(record) < next; },
      [&](const HfsTreeNode& node, std::size_t index) {
        const auto record = node.record(index);
        const std::uint64_t found = rank_of_record(record);
        const auto data = hfs_record_data(record);
        if (found > end || data.size() < kHfsExtentRecord.bytes) return false;
        if (found != next) {
          find(Severity::fault, FindingCode::filesystem_damaged, image_place(node.place),
               kHfsNodeBytes,
               fmt::format("the extents of file {} go on at its block {}, expected {}", id,
                           found & 0xFFFFU, next & 0xFFFFU));
          return false;
        }
        const Extents3 extents(data.data(), ByteOrder::big);
        for (std::size_t i = 0; i < 3; ++i) {
          const auto extent = extents.sub<"extents">(i);
          if (extent.get<"count">() == 0) return false;
          if (!visit(extent.get<"start">(), extent.get<"count">())) return false;
          next += extent.get<"count">();
        }
        return next <= end;
      });
  collect(extents_);
}

HfsVolume::Found HfsVolume::record_at(std::uint64_t locator) const {
  HfsTreeNode node;
  Found found;
  if (!catalog_.read(locator >> kLeafShift & kLeafMask, node) || !node.is_leaf()) return found;
  const auto record = node.record(locator >> kIndexShift & kIndexMask);
  found.bytes.assign(record.begin(), record.end());
  found.place = image_place(node.place);
  return found;
}

HfsVolume::Found HfsVolume::record_of_key(std::uint64_t parent, std::string_view name) {
  Found found;
  catalog_.each_from(
      [&](std::span<const std::byte> record) {
        const HfsCatalogKey key = hfs_catalog_key(record);
        return key.parent < parent ||
               (key.parent == parent && compare_hfs_names(key.name, name) < 0);
      },
      [&](const HfsTreeNode& node, std::size_t index) {
        const auto record = node.record(index);
        const HfsCatalogKey key = hfs_catalog_key(record);
        if (key.parent == parent && compare_hfs_names(key.name, name) == 0) {
          found.bytes.assign(record.begin(), record.end());
          found.place = image_place(node.place);
        }
        return false;
      });
  collect(catalog_);
  return found;
}

// The record of a directory lies in its parent. It was read just now, or the thread leads there.
HfsVolume::Found HfsVolume::record_of_directory(std::uint64_t id) {
  const auto is_it = [&](const Found& found) {
    const auto data = found.data();
    return kind_of(data) == kHfsDirectoryRecord && data.size() >= kHfsDirectory.bytes &&
           FieldReader<kHfsDirectory>(data.data(), ByteOrder::big).get<"id">() == id;
  };
  const Seen& seen = seen_[id % kRemembered];
  if (seen.id == id) {
    Found found = record_at(seen.locator);
    if (is_it(found)) return found;
  }
  const Found thread = record_of_key(id, "");
  const auto data = thread.data();
  if (kind_of(data) != kHfsDirectoryThread || data.size() < kHfsThread.bytes) return {};
  const FieldReader<kHfsThread> reader(data.data(), ByteOrder::big);
  Found found = record_of_key(reader.get<"parent">(),
                              hfs_name(reader.get<"name_length">(), reader.raw<"name">()));
  return is_it(found) ? found : Found{};
}

Attributes HfsVolume::attributes(NodeId node) {
  Attributes attributes;
  const std::uint64_t id = node & kIdMask;
  if (node == id) {
    const Found found = record_of_directory(id);
    if (found.bytes.empty()) {
      if (id == kHfsRoot) attributes.type = NodeType::directory;
      return attributes;
    }
    const FieldReader<kHfsDirectory> directory(found.data().data(), ByteOrder::big);
    attributes.type = NodeType::directory;
    attributes.modified = hfs_time(directory.get<"modified">());
    attributes.created = hfs_time(directory.get<"created">());
    return attributes;
  }
  const Found found = record_at(node);
  const auto data = found.data();
  if (kind_of(data) != kHfsFileRecord || data.size() < kHfsFile.bytes) return attributes;
  const FieldReader<kHfsFile> file(data.data(), ByteOrder::big);
  if (file.get<"id">() != id) return attributes;
  attributes.type = NodeType::file;
  attributes.bytes =
      (node & kResource) != 0 ? file.get<"resource_bytes">() : file.get<"data_bytes">();
  attributes.modified = hfs_time(file.get<"modified">());
  attributes.created = hfs_time(file.get<"created">());
  return attributes;
}

void HfsVolume::each_child(std::uint64_t directory, FunctionRef<bool(const Child&)> visit) {
  catalog_.each_from(
      [&](std::span<const std::byte> record) { return hfs_catalog_key(record).parent < directory; },
      [&](const HfsTreeNode& node, std::size_t index) {
        const auto record = node.record(index);
        const HfsCatalogKey key = hfs_catalog_key(record);
        if (key.parent == 0) {
          find(Severity::fault, FindingCode::filesystem_damaged, image_place(node.place),
               kHfsNodeBytes, fmt::format("record {} of a catalog leaf has no key", index));
          return true;
        }
        if (key.parent != directory) return false;
        if (key.name.empty()) return true;  // the thread
        return visit({name_of_length(key.name), hfs_record_data(record), locator_of(node, index),
                      image_place(node.place)});
      });
  collect(catalog_);
}

// Names that could be taken for, or stand in the way of, those that resource forks get.
std::vector<std::string> HfsVolume::names_like_forks(std::uint64_t directory) {
  std::vector<std::string> names;
  each_child(directory, [&](const Child& child) {
    if (child.name.find(kForkSuffix) != std::string_view::npos) names.emplace_back(child.name);
    return true;
  });
  std::ranges::sort(names);
  return names;
}

void HfsVolume::each_entry(NodeId directory, FunctionRef<bool(const Entry&)> visit) {
  const std::uint64_t id = directory & kIdMask;
  if (id != directory || id < kHfsRoot) return;
  std::vector<std::string> taken = names_like_forks(id);
  std::string name;
  each_child(id, [&](const Child& child) {
    name.assign(child.name);
    if (name.find(':') != std::string::npos) {
      find(Severity::caution, FindingCode::name_illegal, child.place, kHfsNodeBytes,
           "the name of an entry holds a colon, which its filesystem forbids");
    }
    // On this filesystem '/' is a character like any other, and ':' parts names.
    std::ranges::replace(name, '/', ':');
    const Child named{name, child.data, child.locator, child.place};
    const std::uint64_t kind = kind_of(child.data);
    if (kind == kHfsFileRecord && child.data.size() >= kHfsFile.bytes) {
      return visit_file(named, taken, visit);
    }
    if (kind != kHfsDirectoryRecord || child.data.size() < kHfsDirectory.bytes) {
      find(Severity::fault, FindingCode::filesystem_damaged, child.place, kHfsNodeBytes,
           fmt::format("a catalog record with a name has the kind {}, expected a file or a "
                       "directory",
                       kind));
      return true;
    }
    const std::uint64_t own =
        FieldReader<kHfsDirectory>(child.data.data(), ByteOrder::big).get<"id">();
    if (own < kHfsFirstUserId) {
      find(Severity::fault, FindingCode::filesystem_damaged, child.place, kHfsNodeBytes,
           fmt::format("a directory has the id {}, expected {} or more", own, kHfsFirstUserId));
    }
    seen_[own % kRemembered] = {own, child.locator};
    return visit({.name = name, .charset = charset_, .node = own, .place = child.place});
  });
}

bool HfsVolume::visit_file(const Child& child, std::vector<std::string>& taken,
                           FunctionRef<bool(const Entry&)> visit) {
  const FieldReader<kHfsFile> file(child.data.data(), ByteOrder::big);
  const NodeId node = file.get<"id">() | child.locator;
  if (!visit({.name = child.name, .charset = charset_, .node = node, .place = child.place})) {
    return false;
  }
  if (file.get<"resource_bytes">() == 0) return true;
  std::string name = std::string(child.name) + std::string(kForkSuffix);
  const std::size_t plain = name.size();
  for (unsigned number = 2; number < kMostForkNames && std::ranges::binary_search(taken, name);
       ++number) {
    name.resize(plain);
    name += fmt::format("-{}", number);
  }
  return visit({.name = name, .charset = charset_, .node = node | kResource, .place = child.place});
}

void HfsVolume::each_extent(NodeId node, FunctionRef<bool(const Extent&)> visit) {
  const std::uint64_t id = node & kIdMask;
  if (node == id) return;  // directories have no bytes of their own
  const Found found = record_at(node);
  const auto data = found.data();
  if (attributes(node).type != NodeType::file) return;
  const FieldReader<kHfsFile> file(data.data(), ByteOrder::big);
  const bool resource = (node & kResource) != 0;
  const std::uint64_t bytes = resource ? file.get<"resource_bytes">() : file.get<"data_bytes">();
  const auto extents = resource ? file.raw<"resource_extents">() : file.raw<"data_extents">();
  ExtentJoiner joiner(visit);
  std::uint64_t offset = 0;
  bool go_on = true;
  each_block_run(
      id, resource ? kHfsResourceFork : kHfsDataFork, Extents3(extents.data(), ByteOrder::big),
      divide_up(bytes, block_bytes_), [&](std::uint64_t start, std::uint64_t count) {
        const std::uint64_t length = std::min(count * block_bytes_, bytes - offset);
        const bool absent = !fits_within(start, count, blocks_);
        if (absent) {
          find(Severity::fault, FindingCode::extent_beyond_end, found.place, kHfsNodeBytes,
               fmt::format("an extent of file {} covers blocks {} to {}, expected blocks "
                           "below {}",
                           id, start, start + count - 1, blocks_));
        }
        go_on =
            joiner.add({offset, absent ? 0 : image_place(place_of_block(start)), length, absent});
        offset += length;
        return go_on && offset < bytes;
      });
  if (!go_on) return;
  if (offset < bytes) {
    find(Severity::fault, FindingCode::filesystem_damaged, found.place, kHfsNodeBytes,
         fmt::format("the extents of file {} cover {} bytes, expected {}", id, offset, bytes));
    if (!joiner.add({.offset = offset, .bytes = bytes - offset, .absent = true})) return;
  }
  joiner.finish();
}

// Blocks that are allotted to a fork behind its end.
void HfsVolume::each_further_block(NodeId node, FunctionRef<bool(const Extent&)> visit) {
  const std::uint64_t id = node & kIdMask;
  if (node == id || attributes(node).type != NodeType::file) return;
  const Found found = record_at(node);
  const auto data = found.data();
  const FieldReader<kHfsFile> file(data.data(), ByteOrder::big);
  const bool resource = (node & kResource) != 0;
  const std::uint64_t bytes = resource ? file.get<"resource_bytes">() : file.get<"data_bytes">();
  const std::uint64_t room =
      resource ? file.get<"resource_allocated">() : file.get<"data_allocated">();
  const auto extents = resource ? file.raw<"resource_extents">() : file.raw<"data_extents">();
  std::uint64_t skip = divide_up(bytes, block_bytes_);
  each_block_run(id, resource ? kHfsResourceFork : kHfsDataFork,
                 Extents3(extents.data(), ByteOrder::big), divide_up(room, block_bytes_),
                 [&](std::uint64_t start, std::uint64_t count) {
                   const std::uint64_t passed = std::min(skip, count);
                   skip -= passed;
                   if (passed == count || !fits_within(start, count, blocks_)) return true;
                   return visit({0, image_place(place_of_block(start + passed)),
                                 (count - passed) * block_bytes_, false});
                 });
}

}  // namespace platter::filesystem
