// Fast file system (UFS1 in all dialects, UFS2): identification by the superblock.
//
// Of everything behind the superblock, only the copy in the first group and the first group
// block's magic are read: they prove where the filesystem starts.
#include <algorithm>
#include <array>
#include <string>
#include <vector>

#include <fmt/format.h>

#include "core/claim.h"
#include "core/numbers.h"
#include "filesystem/ffs_group.h"
#include "filesystem/ffs_numbers.h"

namespace platter::filesystem {
namespace {

// NetBSD and FreeBSD sys/ufs/ffs/fs.h, SBLOCKSEARCH; each generation's own place first.
constexpr std::array<std::uint64_t, 4> kPlaces = {8192, 0, 65536, 262144};
constexpr std::array<std::uint64_t, 4> kUfs2Places = {65536, 8192, 0, 262144};
// Where the first group's copy is, for blocks of 4096 to 65536 bytes behind 8192 or 65536.
constexpr std::array<std::uint64_t, 7> kCopyPlaces = {16384, 32768, 65536, 73728,
                                                      81920, 98304, 131072};
// Disks whose label reserves a front porch: 8 KiB steps, at most 256 KiB.
constexpr std::uint64_t kPorchStep = 8192;
constexpr std::uint64_t kLongestPorch = 262144;

// So many fields may contradict the others before the magic counts as chance.
constexpr std::size_t kHandful = 5;

std::uint64_t magic_place(std::uint64_t place) {
  return place + FfsRecord::offset_of<"magic">();
}

// The byte order in which the magic at a place is ours; `inherit` when it is not.
ByteOrder order_at(const View& view, std::uint64_t place, bool ufs2) {
  const std::uint64_t magic = view.number(magic_place(place), 4, ByteOrder::big);
  if (magic == 0) return ByteOrder::inherit;
  if (is_ffs_magic(magic, ufs2)) return ByteOrder::big;
  const std::uint64_t swapped = view.number(magic_place(place), 4, ByteOrder::little);
  return is_ffs_magic(swapped, ufs2) ? ByteOrder::little : ByteOrder::inherit;
}

// An interrupted creation does not say of what; the sizes of inodes and addresses do.
bool belongs(const FfsRecord& superblock, bool ufs2) {
  if (superblock.get<"magic">() != kFfsUnfinishedMagic) return true;
  const auto head = superblock.sub<"head">();
  return (head.get<"inopb">() * kUfs2InodeBytes == head.get<"bsize">()) == ufs2;
}

bool group_block_stands(const View& view, ByteOrder order, const FfsGeometry& geometry) {
  const std::uint64_t at = geometry.group_block_fragment * geometry.fragment_bytes;
  const std::uint64_t old_at = at + FieldReader<kFfsOldGroup>::offset_of<"magic">();
  const std::uint64_t new_at = at + FieldReader<kFfsGroup>::offset_of<"magic">();
  return view.number(new_at, 4, order) == kFfsGroupMagic ||
         view.number(old_at, 4, order) == kFfsGroupMagic;
}

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

void keep_record(Claim& claim, const FfsRecord& superblock, const FfsReading& reading,
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

// Fragments in use, by the counts of the superblock.
std::optional<std::uint64_t> used_fragments(const FfsReading& reading) {
  const FfsGeometry& geometry = reading.geometry;
  const FfsTotals& totals = reading.totals;
  if (totals.free_blocks < 0 || totals.free_fragments < 0) return std::nullopt;
  const std::uint64_t parts = geometry.block_bytes / geometry.fragment_bytes;
  const std::uint64_t free =
      saturating_add(saturating_mul(static_cast<std::uint64_t>(totals.free_blocks), parts),
                     static_cast<std::uint64_t>(totals.free_fragments));
  if (free > geometry.data_fragments) return std::nullopt;
  return geometry.data_fragments - free;
}

void add_usage(Claim& claim, const FfsRecord& superblock, const FfsReading& reading) {
  const std::byte* data = superblock.all().data();
  const ByteOrder order = superblock.order();
  if (const auto used = used_fragments(reading)) {
    claim.facts.set("used_bytes", saturating_mul(*used, reading.geometry.fragment_bytes));
  }
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

// The superblock in use at `place` of `view`, which starts where the filesystem starts.
Claim describe(const View& view, std::uint64_t place, const FfsRecord& superblock,
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

void add_doubts(Claim& claim, const FfsReading& reading) {
  for (const FfsDoubt& doubt : reading.doubts) {
    claim.find(Severity::fault, FindingCode::filesystem_damaged, doubt.start, doubt.bytes,
               doubt.message);
  }
}

void note_oddities(Claim& claim, const FfsRecord& superblock, const FfsReading& reading) {
  if (superblock.get<"magic">() == kFfsUnfinishedMagic) {
    claim.find(Severity::fault, FindingCode::filesystem_damaged, superblock.place_of<"magic">(), 4,
               fmt::format("the superblock's magic is 0x{:08X}: making this filesystem was "
                           "interrupted, expected 0x{:08X}",
                           kFfsUnfinishedMagic,
                           reading.dialect == FfsDialect::ufs2 ? kUfs2Magic : kFfsMagic));
  }
  if (reading.words_reversed) {
    claim.strength = Strength::magic;
    claim.find(Severity::caution, FindingCode::filesystem_damaged, superblock.start(),
               kFfsSuperblock.bytes,
               "the superblock's text and 64-bit numbers are in reversed order, expected the "
               "order of its other numbers; the image is probably swapped in groups of four bytes");
  }
}

// A superblock and what was read of it.
struct Examined {
  FfsRecord superblock;
  FfsReading reading;
};

std::optional<Examined> examine(const View& view, std::uint64_t offset, std::uint64_t place,
                                ByteOrder order, bool ufs2) {
  const auto superblock = view.record<kFfsSuperblock>(offset, order);
  if (!belongs(superblock, ufs2)) return std::nullopt;
  auto reading = read_ffs(superblock, place, ufs2);
  if (!reading) return std::nullopt;
  return Examined{superblock, std::move(*reading)};
}

std::uint64_t copy_place(const FfsGeometry& geometry) {
  return geometry.copy_fragment * geometry.fragment_bytes;
}

// The copy in the first group, when it is sound and was made with the superblock at `place`.
std::optional<Examined> sound_copy(const View& view, std::uint64_t place, std::uint64_t block_bytes,
                                   ByteOrder order, bool ufs2) {
  const std::uint64_t at = divide_up(place + 8192, block_bytes) * block_bytes;
  if (order_at(view, at, ufs2) != order) return std::nullopt;
  auto copy = examine(view, at, place, order, ufs2);
  if (!copy || !copy->reading.doubts.empty()) return std::nullopt;
  return copy;
}

// A superblock with contradictions: the copy settles them when there is one, a handful is
// reported otherwise, and more is no filesystem.
std::optional<Claim> settle(const View& view, std::uint64_t place, Examined found, bool ufs2) {
  const ByteOrder order = found.superblock.order();
  const auto copy = sound_copy(view, place, found.reading.geometry.block_bytes, order, ufs2);
  if (!copy && found.reading.doubts.size() > kHandful) return std::nullopt;
  if (copy) {
    found.reading.geometry = copy->reading.geometry;
    found.reading.dialect = copy->reading.dialect;
  }
  Claim claim = describe(view, place, found.superblock, found.reading, true);
  claim.strength = copy ? Strength::sane : Strength::magic;
  add_doubts(claim, found.reading);
  keep_record(claim, found.superblock, found.reading, view, place, {});
  if (copy) {
    claim.find(Severity::note, FindingCode::filesystem_damaged, copy->superblock.start(),
               kFfsSuperblock.bytes,
               fmt::format("the superblock at byte {} contradicts itself; sizes are taken from its "
                           "copy at byte {}",
                           found.superblock.start(), copy->superblock.start()));
    keep_record(claim, copy->superblock, copy->reading, view, copy_place(copy->reading.geometry),
                "copy in group 0");
  }
  return claim;
}

// The superblock in use at `place`, if one is there. A copy is left alone.
std::optional<Claim> claim_at(const View& view, std::uint64_t place, bool ufs2) {
  const ByteOrder order = order_at(view, place, ufs2);
  if (order == ByteOrder::inherit) return std::nullopt;
  auto found = examine(view, place, place, order, ufs2);
  if (!found || copy_place(found->reading.geometry) == place) return std::nullopt;
  if (!found->reading.doubts.empty()) {
    // In the rarer places a copy of another group may stand: nothing less than sound will do.
    const bool usual = place == kPlaces[0] || (ufs2 && place == kUfs2Places[0]);
    if (!usual) return std::nullopt;
    auto claim = settle(view, place, *found, ufs2);
    if (claim) note_oddities(*claim, found->superblock, found->reading);
    return claim;
  }
  Claim claim = describe(view, place, found->superblock, found->reading, true);
  const FfsGeometry& geometry = found->reading.geometry;
  const auto copy = sound_copy(view, place, geometry.block_bytes, order, ufs2);
  const bool agrees = copy && copy->reading.geometry == geometry;
  claim.strength =
      agrees && group_block_stands(view, order, geometry) ? Strength::proven : Strength::sane;
  keep_record(claim, found->superblock, found->reading, view, place, {});
  note_oddities(claim, found->superblock, found->reading);
  return claim;
}

// The superblock in use has lost even its magic, but the first group's copy and group block stand
// where they belong.
std::optional<Claim> claim_from_copy(const View& view, std::uint64_t at, bool ufs2) {
  const ByteOrder order = order_at(view, at, ufs2);
  if (order == ByteOrder::inherit) return std::nullopt;
  const std::uint64_t place = ufs2 && at != 16384 && at != 32768 ? 65536 : 8192;
  const auto copy = examine(view, at, place, order, ufs2);
  if (!copy || !copy->reading.doubts.empty() || copy_place(copy->reading.geometry) != at ||
      !group_block_stands(view, order, copy->reading.geometry)) {
    return std::nullopt;
  }
  const auto lost = view.record<kFfsSuperblock>(place, order);
  auto rest = read_ffs(lost, place, ufs2);
  const bool rest_holds = rest && rest->doubts.size() <= kHandful;
  Claim claim;
  if (rest_holds) {
    rest->geometry = copy->reading.geometry;
    claim = describe(view, place, lost, *rest, true);
    claim.strength = Strength::magic;
    add_doubts(claim, *rest);
  } else {
    // What is left may as well be the rest of an older filesystem.
    claim = describe(view, at, copy->superblock, copy->reading, false);
    claim.strength = Strength::shape;
  }
  claim.find(
      Severity::fault, FindingCode::filesystem_damaged, lost.place_of<"magic">(), 4,
      fmt::format("the superblock at byte {} has magic 0x{:08X}, expected 0x{:08X} as in its "
                  "copy at byte {}, which was used",
                  lost.start(), lost.get<"magic">(), copy->superblock.get<"magic">(),
                  copy->superblock.start()));
  keep_record(claim, copy->superblock, copy->reading, view, at, "copy in group 0");
  return claim;
}

// A bare image of a disk with a front porch: the filesystem starts behind it.
std::optional<Claim> claim_behind_porch(const View& view, bool ufs2) {
  for (std::uint64_t porch = kPorchStep; porch <= kLongestPorch; porch += kPorchStep) {
    if (order_at(view, porch + kPlaces[0], ufs2) == ByteOrder::inherit) continue;
    const View inside = view.sub(porch, view.bytes() - std::min(view.bytes(), porch));
    auto claim = claim_at(inside, kPlaces[0], ufs2);
    // Copies look the same: only the first group's own records tell where the filesystem starts.
    if (claim && claim->strength == Strength::proven) return claim;
  }
  return std::nullopt;
}

std::vector<Claim> one(Claim claim) {
  std::vector<Claim> result;
  result.push_back(std::move(claim));
  return result;
}

std::vector<Claim> claims(const View& view, const Context& context, bool ufs2) {
  for (const std::uint64_t place : ufs2 ? kUfs2Places : kPlaces) {
    if (auto claim = claim_at(view, place, ufs2)) return one(std::move(*claim));
  }
  for (const std::uint64_t at : kCopyPlaces) {
    if (auto claim = claim_from_copy(view, at, ufs2)) return one(std::move(*claim));
  }
  if (context.slice == nullptr) {
    if (auto claim = claim_behind_porch(view, ufs2)) return one(std::move(*claim));
  }
  return {};
}

std::vector<Claim> ffs_claims(const View& view, const Context& context) {
  return claims(view, context, false);
}

std::vector<Claim> ufs2_claims(const View& view, const Context& context) {
  return claims(view, context, true);
}

}  // namespace

extern const Format ffs_format;
const Format ffs_format = {
    .id = "ffs", .title = "FFS filesystem", .stage = Stage::filesystem, .claims = ffs_claims};

extern const Format ufs2_format;
const Format ufs2_format = {
    .id = "ufs2", .title = "UFS2 filesystem", .stage = Stage::filesystem, .claims = ufs2_claims};

}  // namespace platter::filesystem
