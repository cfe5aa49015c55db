#include "filesystem/fat_volume.h"

#include <algorithm>

#include <fmt/format.h>

namespace platter::filesystem {
namespace {

// No system makes directories of more than 65536 entries (Linux fs/fat/fat.h, FAT_MAX_DIR_SIZE).
constexpr std::uint64_t kMostDirectoryBytes = 65536 * 32;
constexpr std::size_t kPieceBytes = 64 * 1024;
constexpr std::size_t kRemembered = 1024;

bool is_long_name(const FatEntry& entry) {
  return (entry.get<"attributes">() & fat_attribute::all) == fat_attribute::long_name;
}
bool is_label(const FatEntry& entry) {
  return (entry.get<"attributes">() & fat_attribute::label) != 0;
}
bool names_directory(const FatEntry& entry) {
  return (entry.get<"attributes">() & fat_attribute::directory) != 0;
}

}  // namespace

/// What is known on the way through one directory.
struct FatVolume::Scan {
  std::uint64_t cluster = 0;  ///< first one; 0: the root
  std::uint64_t index = 0;    ///< of the entry
  bool ended = false;
  FatLongName long_name = {};
  std::uint64_t long_name_place = 0;
};

FatVolume::FatVolume(View view, const FatLayout& layout, const VolumeOptions& options)
    : view_(std::move(view)),
      layout_(layout),
      table_(view_, layout),
      charset_(options.charset.value_or(Charset::cp437)),
      seen_(kRemembered) {}

std::uint64_t FatVolume::cluster_of(const FatEntry& entry) const {
  // Before FAT32 the upper half held other things, e.g. handles of extended attributes.
  const std::uint64_t high = layout_.width == 32 ? entry.get<"cluster_high">() : 0;
  return high << 16U | entry.get<"cluster_low">();
}

std::uint64_t FatVolume::directory_cluster(std::uint64_t node_cluster) const {
  return node_cluster == 0 ? layout_.root_cluster : node_cluster;
}

FatChain FatVolume::directory_chain(std::uint64_t cluster) {
  return table_.follow(cluster, divide_up(kMostDirectoryBytes, layout_.cluster_bytes));
}

// Where the entry of a directory lies: in its parent when that was read just now, else its own ".",
// which tells the time of its making.
std::uint64_t FatVolume::seen_place(std::uint64_t cluster) {
  const Seen& seen = seen_[cluster % kRemembered];
  return seen.cluster == cluster ? seen.place : layout_.place_of_cluster(cluster);
}

void FatVolume::times_from(const FatEntry& entry, Attributes& attributes) const {
  attributes.modified = fat_time(entry.get<"modified_date">(), entry.get<"modified_time">());
  attributes.accessed = fat_time(entry.get<"accessed_date">(), 0);
  attributes.created = fat_time(entry.get<"created_date">(), entry.get<"created_time">(),
                                entry.get<"created_hundredths">());
}

Attributes FatVolume::attributes(NodeId node) {
  Attributes attributes;
  const std::uint64_t cluster = node & ~kDirectory;
  if (node == kDirectory && layout_.width != 32) {
    attributes.type = NodeType::directory;
    attributes.bytes = layout_.root_bytes;
    return attributes;
  }
  if (is_directory(node)) {
    attributes.type = NodeType::directory;
    attributes.bytes = directory_chain(directory_cluster(cluster)).clusters * layout_.cluster_bytes;
    if (!layout_.is_cluster(cluster)) return attributes;
    const auto entry = view_.record<kFatEntry>(seen_place(cluster), ByteOrder::little);
    if (names_directory(entry) && !is_long_name(entry)) times_from(entry, attributes);
    return attributes;
  }
  const std::uint64_t place = saturating_mul(node, kEntryBytes);
  if (place < layout_.root_start || place >= layout_.volume_bytes) return attributes;
  const auto entry = view_.record<kFatEntry>(place, ByteOrder::little);
  if (!entry.complete() || is_label(entry) || names_directory(entry)) return attributes;
  attributes.type = NodeType::file;
  attributes.bytes = entry.get<"size">();
  times_from(entry, attributes);
  return attributes;
}

// The bytes of a directory, by runs of clusters that follow one another.
void FatVolume::each_directory_piece(
    NodeId directory,
    FunctionRef<bool(std::uint64_t place, std::span<const std::byte> bytes)> visit) {
  std::vector<std::byte> buffer;
  each_extent(directory, [&](const Extent& extent) {
    if (extent.absent) return true;
    const std::uint64_t first = extent.start - view_.start();
    const std::uint64_t present =
        first < view_.bytes() ? std::min(extent.bytes, view_.bytes() - first) : 0;
    if (present < extent.bytes) {
      find(Severity::fault, FindingCode::extent_beyond_end, extent.start + present,
           extent.bytes - present,
           fmt::format("{} bytes of a directory lie past the end of the image",
                       extent.bytes - present));
    }
    for (std::uint64_t done = 0; done < present;) {
      const auto piece =
          static_cast<std::size_t>(std::min<std::uint64_t>(kPieceBytes, present - done));
      buffer.resize(std::max(buffer.size(), piece));
      const auto bytes = std::span(buffer).first(piece);
      view_.read(first + done, bytes);
      if (!visit(first + done, bytes)) return false;
      done += piece;
    }
    return true;
  });
}

void FatVolume::each_entry(NodeId directory, FunctionRef<bool(const Entry&)> visit) {
  if (!is_directory(directory)) return;
  Scan scan{.cluster = directory & ~kDirectory};
  each_directory_piece(directory, [&](std::uint64_t place, std::span<const std::byte> bytes) {
    for (std::size_t at = 0; at + kEntryBytes <= bytes.size(); at += kEntryBytes) {
      const FatEntry entry(bytes.data() + at, ByteOrder::little);
      if (!visit_entry(scan, entry, place + at, visit) || scan.ended) return false;
      ++scan.index;
    }
    return true;
  });
}

bool FatVolume::visit_entry(Scan& scan, const FatEntry& entry, std::uint64_t place,
                            FunctionRef<bool(const Entry&)> visit) {
  const std::byte first = entry.raw<"name">()[0];
  const bool free = first == std::byte{0} || first == std::byte{kFatDeleted};
  const auto report_orphans = [&](std::uint64_t part) {
    find(Severity::note, FindingCode::filesystem_damaged, view_.start() + part, kEntryBytes,
         "a part of a long name does not belong to its neighbours; it is left out");
  };
  if (!free && is_long_name(entry)) {
    const FieldReader<kFatLongName> part(entry.all().data(), ByteOrder::little);
    const bool follows = scan.long_name.add(part);
    if (!follows) report_orphans(place);
    scan.long_name_place = place;
    return true;
  }
  const auto name = free ? std::nullopt : scan.long_name.name_for(entry);
  if (scan.long_name.holds_parts() && !name) report_orphans(scan.long_name_place);
  scan.ended = first == std::byte{0};
  // The name is a view of bytes that stay until the next part comes.
  scan.long_name.clear();
  if (free || is_label(entry)) return true;
  if (is_dot_entry(entry, 1) || is_dot_entry(entry, 2)) {
    check_dot(scan, entry, place);
    return true;
  }
  const std::uint64_t at = view_.start() + place;
  const FatShortName short_name(entry, charset_);
  if (name ? !is_legal_long_name(*name) : !short_name.is_legal()) {
    find(Severity::caution, FindingCode::name_illegal, at, kEntryBytes,
         "the name of an entry holds characters that its filesystem forbids");
  }
  NodeId node = place / kEntryBytes;
  if (names_directory(entry)) {
    const std::uint64_t cluster = cluster_of(entry);
    if (cluster == 0 || (cluster != layout_.root_cluster && !layout_.is_cluster(cluster))) {
      find(Severity::fault, FindingCode::filesystem_damaged, at, kEntryBytes,
           fmt::format("a directory starts at cluster {}, expected one from 2 to {}", cluster,
                       layout_.clusters + 1));
    }
    seen_[cluster % kRemembered] = {cluster, place};
    node = kDirectory | (cluster == layout_.root_cluster ? 0 : cluster);
  }
  return visit({.name = name ? *name : short_name.text(),
                .charset = name ? Charset::utf16_le : charset_,
                .node = node,
                .place = at});
}

void FatVolume::check_dot(Scan& scan, const FatEntry& entry, std::uint64_t place) {
  const bool own = is_dot_entry(entry, 1);
  const std::uint64_t cluster = cluster_of(entry);
  const std::uint64_t at = view_.start() + place;
  if (scan.cluster == 0) {
    find(Severity::caution, FindingCode::filesystem_damaged, at, kEntryBytes,
         fmt::format("the root directory holds an entry '{}', expected none", own ? "." : ".."));
  } else if (own && cluster != scan.cluster) {
    find(Severity::fault, FindingCode::filesystem_damaged, at, kEntryBytes,
         fmt::format("the entry '.' leads to cluster {}, expected the directory's own, {}", cluster,
                     scan.cluster));
  } else if (!own && (cluster == scan.cluster || !names_directory(entry) ||
                      (cluster != 0 && !layout_.is_cluster(cluster)))) {
    find(Severity::fault, FindingCode::filesystem_damaged, at, kEntryBytes,
         fmt::format("the entry '..' leads to cluster {}, expected that of another directory",
                     cluster));
  }
}

bool FatVolume::emit_chain(std::uint64_t first, std::uint64_t clusters, std::uint64_t bytes,
                           FunctionRef<bool(const Extent&)> visit) {
  ExtentJoiner joiner(visit);
  std::uint64_t offset = 0;
  for (std::uint64_t cluster = first; clusters != 0 && offset < bytes; --clusters) {
    const std::uint64_t length = std::min(layout_.cluster_bytes, bytes - offset);
    const std::uint64_t start = saturating_add(view_.start(), layout_.place_of_cluster(cluster));
    if (!joiner.add({.offset = offset, .start = start, .bytes = length})) return false;
    offset += length;
    if (clusters != 1) cluster = table_.entry(cluster);
  }
  const bool go_on =
      offset >= bytes || joiner.add({.offset = offset, .bytes = bytes - offset, .absent = true});
  return go_on && joiner.finish();
}

void FatVolume::report_chain(const FatChain& chain, std::uint64_t first, std::uint64_t wanted,
                             std::uint64_t place) {
  const auto say = [&](Severity severity, std::string message) {
    find(severity, FindingCode::filesystem_damaged, saturating_add(view_.start(), place),
         kEntryBytes, std::move(message));
  };
  switch (chain.stop) {
    case FatChain::Stop::nothing:
      say(Severity::fault, fmt::format("a chain starts at cluster {}, expected one from 2 to {}",
                                       first, layout_.clusters + 1));
      break;
    case FatChain::Stop::loop:
      say(Severity::fault,
          fmt::format("a chain comes back to itself after {} clusters, expected {}", chain.clusters,
                      wanted));
      break;
    case FatChain::Stop::broken:
      say(Severity::fault,
          fmt::format("the entry of cluster {} in a chain is {:#x}, expected a cluster or an end "
                      "mark",
                      chain.last, chain.entry));
      break;
    case FatChain::Stop::ended:
      if (chain.clusters >= wanted) break;
      say(Severity::fault,
          fmt::format("a chain ends after {} clusters, expected {}", chain.clusters, wanted));
      break;
    case FatChain::Stop::limit:
      say(Severity::caution,
          fmt::format("a chain goes on behind the {} clusters that its file needs", wanted));
      break;
  }
}

bool FatVolume::emit_file(std::uint64_t place, FunctionRef<bool(const Extent&)> visit) {
  const auto entry = view_.record<kFatEntry>(place, ByteOrder::little);
  const std::uint64_t bytes = entry.get<"size">();
  const std::uint64_t first = cluster_of(entry);
  if (bytes == 0) {
    if (first != 0) {
      find(Severity::caution, FindingCode::filesystem_damaged, view_.start() + place, kEntryBytes,
           fmt::format("an empty file starts at cluster {}, expected none", first));
    }
    return true;
  }
  const std::uint64_t wanted = divide_up(bytes, layout_.cluster_bytes);
  const FatChain chain = table_.follow(first, wanted);
  report_chain(chain, first, wanted, place);
  return emit_chain(first, chain.clusters, bytes, visit);
}

void FatVolume::each_extent(NodeId node, FunctionRef<bool(const Extent&)> visit) {
  if (node == kDirectory && layout_.width != 32) {
    visit(
        {.start = saturating_add(view_.start(), layout_.root_start), .bytes = layout_.root_bytes});
    return;
  }
  if (!is_directory(node)) {
    if (attributes(node).type == NodeType::file) emit_file(node * kEntryBytes, visit);
    return;
  }
  const std::uint64_t first = directory_cluster(node & ~kDirectory);
  const FatChain chain = directory_chain(first);
  if (chain.stop != FatChain::Stop::ended) {
    const std::uint64_t place =
        layout_.is_cluster(first) ? layout_.place_of_cluster(first) : layout_.root_start;
    report_chain(chain, first, chain.clusters, place);
  }
  emit_chain(first, chain.clusters, chain.clusters * layout_.cluster_bytes, visit);
}

void FatVolume::each_run(FunctionRef<bool(const BlockRun&)> visit) {
  RunJoiner joiner(visit);
  if (!joiner.add({view_.start(), layout_.data_start, BlockUse::metadata})) return;
  const std::uint64_t covered = std::max<std::uint64_t>(2, table_.end_of_covered());
  for (std::uint64_t cluster = 2; cluster < covered; ++cluster) {
    const std::uint32_t entry = table_.entry(cluster);
    const BlockUse use = entry == kFatBad ? BlockUse::bad
                         : entry == 0     ? BlockUse::free
                                          : BlockUse::used;
    const std::uint64_t start = saturating_add(view_.start(), layout_.place_of_cluster(cluster));
    if (!joiner.add({start, layout_.cluster_bytes, use})) return;
  }
  // Clusters without an entry can be given to nobody.
  const BlockRun unknown{saturating_add(view_.start(), layout_.place_of_cluster(covered)),
                         (layout_.end_cluster() - covered) * layout_.cluster_bytes, BlockUse::bad};
  if (!joiner.add(unknown)) return;
  // Sectors at the end that make no whole cluster.
  const std::uint64_t end = layout_.place_of_cluster(layout_.end_cluster());
  const BlockRun rest{saturating_add(view_.start(), end), layout_.volume_bytes - end,
                      BlockUse::metadata};
  if (joiner.add(rest)) joiner.finish();
}

}  // namespace platter::filesystem
