// What a fast file system's superblock tells about the volume, as facts of a claim.
#include <algorithm>

#include <fmt/format.h>

#include "core/numbers.h"
#include "filesystem/ffs_find.h"

namespace platter::filesystem {
namespace {

std::string_view dialect_name(FfsDialect dialect) {
  switch (dialect) {
    case FfsDialect::classic:
      return "4.2BSD";
    case FfsDialect::svr4:
      return "SVR4";
    case FfsDialect::bsd44_old:
      return "4.4BSD on 4.2BSD inodes";
    case FfsDialect::bsd44:
      return "4.4BSD";
    case FfsDialect::ufs2:
      return "UFS2";
    case FfsDialect::dialect_v:
      return "dialect V";
  }
  return "";
}

// The state word vouches for the clean byte: both were written at one time.
std::string_view svr4_clean(const FfsRecord& superblock, std::uint64_t value) {
  const std::byte* data = superblock.all().data();
  const ByteOrder order = superblock.order();
  const std::uint64_t state = order == ByteOrder::big
                                  ? FieldReader<kFfsSvr4Big>(data, order).get<"state">()
                                  : FieldReader<kFfsSvr4Little>(data, order).get<"state">();
  const auto head = superblock.sub<"head">();
  const auto time = static_cast<std::uint64_t>(head.get<"time">());
  if (((state + time) & 0xFFFFFFFFU) != kFfsStateSum) return "unknown";
  switch (value) {
    case 1:  // FSCLEAN
    case 2:
      return "clean";  // FSSTABLE
    case 0xFD:         // FSLOG: as good as its log
      return head.get<"rolled">() == 1 ? "clean" : "unknown";
    case 0:     // FSACTIVE
    case 0xFC:  // FSFIX
    case 0xFF:
      return "not clean";  // FSBAD
    default:
      return "unknown";
  }
}

std::string_view clean_word(const FfsRecord& superblock, FfsDialect dialect) {
  const std::uint64_t value = superblock.sub<"body">().get<"clean">();
  switch (dialect) {
    case FfsDialect::svr4:
      return svr4_clean(superblock, value);
    case FfsDialect::dialect_v:
      if (value == 0x17) return "clean";
      return value == 0x53 || value == 0x31 ? "not clean" : "unknown";
    case FfsDialect::classic:
      // 4.2BSD and 4.3BSD do not keep it; heirs that do agree on 1 only.
      return value == 1 ? "clean" : "unknown";
    default:
      return (value & 1U) != 0 ? "clean" : "not clean";
  }
}

void add_names(Claim& claim, const FfsRecord& superblock, const FfsReading& reading,
               const View& view, std::uint64_t offset) {
  const ByteOrder order = superblock.order();
  if (reading.dialect == FfsDialect::dialect_v) {
    const auto full = view.record<kFfsDialectV>(offset, order);
    claim.facts.set_text("volume_name", full.text<"fname">());
    claim.facts.set_text("pack_name", full.text<"fpack">());
    claim.facts.set_text("last_mount", full.text<"fsmnt">());
  } else if (reading.wide) {
    const FieldReader<kFfsWide> full(superblock.all().data(), order);
    claim.facts.set_text("volume_name", full.text<"volname">());
    claim.facts.set_text("last_mount", full.text<"fsmnt">());
  } else {
    const FieldReader<kFfsClassic> full(superblock.all().data(), order);
    claim.facts.set_text("last_mount", full.text<"fsmnt">());
  }
}

// Free fragments, by the counts of the superblock.
std::optional<std::uint64_t> free_fragments(const FfsReading& reading) {
  const FfsGeometry& geometry = reading.geometry;
  const FfsTotals& totals = reading.totals;
  if (totals.free_blocks < 0 || totals.free_fragments < 0) return std::nullopt;
  const std::uint64_t parts = geometry.block_bytes / geometry.fragment_bytes;
  const std::uint64_t free =
      saturating_add(saturating_mul(static_cast<std::uint64_t>(totals.free_blocks), parts),
                     static_cast<std::uint64_t>(totals.free_fragments));
  if (free > geometry.data_fragments) return std::nullopt;
  return free;
}

// Inodes 0 and 1 are marked used and are nobody's.
constexpr std::uint64_t kReservedInodes = 2;

void add_files(Claim& claim, const FfsReading& reading) {
  const FfsTotals& totals = reading.totals;
  const std::uint64_t inodes =
      saturating_mul(reading.geometry.groups, reading.geometry.group_inodes);
  if (totals.free_inodes < 0 || totals.directories < 0) return;
  const auto free = static_cast<std::uint64_t>(totals.free_inodes);
  const auto directories = static_cast<std::uint64_t>(totals.directories);
  if (saturating_add(saturating_add(free, directories), kReservedInodes) > inodes) return;
  claim.facts.set("files", inodes - free - directories - kReservedInodes)
      .set("directories", directories);
}

void add_usage(Claim& claim, const FfsRecord& superblock, const FfsReading& reading) {
  const std::byte* data = superblock.all().data();
  const ByteOrder order = superblock.order();
  if (const auto free = free_fragments(reading)) {
    const FfsGeometry& geometry = reading.geometry;
    claim.facts
        .set("used_bytes", saturating_mul(geometry.data_fragments - *free, geometry.fragment_bytes))
        .set("free_bytes", saturating_mul(*free, geometry.fragment_bytes));
  }
  add_files(claim, reading);
  std::int64_t modified = superblock.sub<"head">().get<"time">();
  if (reading.dialect == FfsDialect::ufs2) {
    modified = FieldReader<kFfsWide>(data, order).get<"wide_time">();
  }
  // 4.4BSD and its heirs take the time of creation as the first half of the identifier.
  if (reading.dialect == FfsDialect::bsd44 || reading.dialect == FfsDialect::ufs2) {
    const auto created = static_cast<std::int64_t>(FieldReader<kFfs44>(data, order).get<"id">());
    if (created != 0 && created <= modified) claim.facts.set("created", Timestamp{created});
  }
  if (modified != 0) claim.facts.set("modified", Timestamp{modified});
  claim.facts.set("clean", clean_word(superblock, reading.dialect))
      .set("clean_value", superblock.sub<"body">().get<"clean">());
}

}  // namespace

void keep_ffs_record(Claim& claim, const FfsRecord& superblock, const FfsReading& reading,
                     const View& view, std::uint64_t offset, std::string role) {
  const ByteOrder order = superblock.order();
  const auto keep = [&]<const Structure & S>(const Record<S>& record) {
    claim.records.push_back(record.keep(std::move(role)));
  };
  switch (reading.dialect) {
    case FfsDialect::classic:
      return keep(view.record<kFfsClassic>(offset, order));
    case FfsDialect::dialect_v:
      return keep(view.record<kFfsDialectV>(offset, order));
    case FfsDialect::svr4:
      if (order == ByteOrder::little) return keep(view.record<kFfsSvr4Little>(offset, order));
      return keep(view.record<kFfsSvr4Big>(offset, order));
    default:
      if (reading.wide) return keep(view.record<kFfsWide>(offset, order));
      return keep(view.record<kFfs44>(offset, order));
  }
}

// The superblock in use at `place` of `view`, which starts where the filesystem starts.
Claim describe_ffs(const View& view, std::uint64_t place, const FfsRecord& superblock,
                   const FfsReading& reading, bool in_use) {
  Claim claim;
  const FfsGeometry& geometry = reading.geometry;
  claim.start = view.start();
  claim.bytes = saturating_mul(geometry.fragments, geometry.fragment_bytes);
  claim.title = reading.dialect == FfsDialect::ufs2 ? "UFS2 filesystem" : "FFS filesystem";
  claim.facts.set("byte_order", byte_order_name(superblock.order()))
      .set("dialect", dialect_name(reading.dialect))
      .set("block_bytes", geometry.block_bytes)
      .set("fragment_bytes", geometry.fragment_bytes)
      .set("volume_bytes", claim.bytes);
  add_names(claim, superblock, reading, view, place);
  if (in_use) add_usage(claim, superblock, reading);
  claim.facts.set("groups", geometry.groups)
      .set("inodes", saturating_mul(geometry.groups, geometry.group_inodes))
      .set("superblock", superblock.start());
  return claim;
}

void judge_root(const View& view, FfsFound& found) {
  const FfsShape shape(found.sizes, found.reading);
  const FfsRootEntry root = read_root_entry(view, shape);
  Claim& claim = found.claim;
  if (root == FfsRootEntry::old_form) claim.facts.set("directory_entries", "old form");
  if (root == FfsRootEntry::typed) claim.facts.set("directory_entries", "typed");
  if (root == FfsRootEntry::reversed) {
    claim.strength = std::min(claim.strength, Strength::magic);
    claim.find(Severity::caution, FindingCode::filesystem_damaged, view.start() + found.place,
               kFfsSuperblock.bytes,
               "the root directory starts with an entry whose bytes are reversed in groups of "
               "four, expected the entry . of inode 2; the image is probably swapped");
  } else if (found.reading.words_reversed) {
    claim.strength = std::min(claim.strength, Strength::magic);
    claim.find(Severity::caution, FindingCode::filesystem_damaged, view.start() + found.place,
               kFfsSuperblock.bytes,
               "the superblock's text and 64-bit numbers are in reversed order, expected the "
               "order of its other numbers; the image is probably swapped in groups of four bytes");
  }
}

}  // namespace platter::filesystem
