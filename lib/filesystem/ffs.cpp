// Fast file system (UFS1 in all dialects, UFS2): identification by the superblock.
//
// Of everything behind the superblock, only the copy in the first group, the first group block's
// magic and the first entry of the root directory are read: they prove where the filesystem starts
// and in which order its bytes are.
#include <algorithm>
#include <array>
#include <string>
#include <vector>

#include <fmt/format.h>

#include "core/claim.h"
#include "core/numbers.h"
#include "filesystem/ffs_find.h"
#include "filesystem/ffs_group.h"
#include "filesystem/ffs_numbers.h"
#include "filesystem/ffs_volume.h"

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

void add_doubts(Claim& claim, const FfsReading& reading) {
  for (const FfsDoubt& doubt : reading.doubts) {
    claim.find(Severity::fault, FindingCode::filesystem_damaged, doubt.start, doubt.bytes,
               doubt.message);
  }
}

void note_oddities(FfsFound& found, const FfsRecord& superblock) {
  if (superblock.get<"magic">() != kFfsUnfinishedMagic) return;
  const std::uint64_t expected = found.reading.dialect == FfsDialect::ufs2 ? kUfs2Magic : kFfsMagic;
  found.claim.find(Severity::fault, FindingCode::filesystem_damaged, superblock.place_of<"magic">(),
                   4,
                   fmt::format("the superblock's magic is 0x{:08X}: making this filesystem was "
                               "interrupted, expected 0x{:08X}",
                               kFfsUnfinishedMagic, expected));
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
std::optional<FfsFound> settle(const View& view, std::uint64_t place, Examined found, bool ufs2) {
  const ByteOrder order = found.superblock.order();
  const auto copy = sound_copy(view, place, found.reading.geometry.block_bytes, order, ufs2);
  if (!copy && found.reading.doubts.size() > kHandful) return std::nullopt;
  if (copy) {
    found.reading.geometry = copy->reading.geometry;
    found.reading.dialect = copy->reading.dialect;
  }
  Claim claim = describe_ffs(view, place, found.superblock, found.reading, true);
  claim.strength = copy ? Strength::sane : Strength::magic;
  add_doubts(claim, found.reading);
  keep_ffs_record(claim, found.superblock, found.reading, view, place, {});
  if (copy) {
    claim.find(Severity::note, FindingCode::filesystem_damaged, copy->superblock.start(),
               kFfsSuperblock.bytes,
               fmt::format("the superblock at byte {} contradicts itself; sizes are taken from its "
                           "copy at byte {}",
                           found.superblock.start(), copy->superblock.start()));
    keep_ffs_record(claim, copy->superblock, copy->reading, view,
                    copy_place(copy->reading.geometry), "copy in group 0");
  }
  FfsFound result{std::move(claim), copy ? copy->superblock : found.superblock,
                  std::move(found.reading), true, place};
  note_oddities(result, found.superblock);
  return result;
}

// The superblock in use at `place`, if one is there. A copy is left alone.
std::optional<FfsFound> found_at(const View& view, std::uint64_t place, bool ufs2) {
  const ByteOrder order = order_at(view, place, ufs2);
  if (order == ByteOrder::inherit) return std::nullopt;
  auto found = examine(view, place, place, order, ufs2);
  if (!found || copy_place(found->reading.geometry) == place) return std::nullopt;
  if (!found->reading.doubts.empty()) {
    // In the rarer places a copy of another group may stand: nothing less than sound will do.
    const bool usual = place == kPlaces[0] || (ufs2 && place == kUfs2Places[0]);
    return usual ? settle(view, place, *found, ufs2) : std::nullopt;
  }
  Claim claim = describe_ffs(view, place, found->superblock, found->reading, true);
  const FfsGeometry& geometry = found->reading.geometry;
  const auto copy = sound_copy(view, place, geometry.block_bytes, order, ufs2);
  const bool agrees = copy && copy->reading.geometry == geometry;
  claim.strength =
      agrees && group_block_stands(view, order, geometry) ? Strength::proven : Strength::sane;
  keep_ffs_record(claim, found->superblock, found->reading, view, place, {});
  FfsFound result{std::move(claim), found->superblock, std::move(found->reading), true, place};
  note_oddities(result, result.sizes);
  return result;
}

// The superblock in use has lost even its magic, but the first group's copy and group block stand
// where they belong.
std::optional<FfsFound> found_by_copy(const View& view, std::uint64_t at, bool ufs2) {
  const ByteOrder order = order_at(view, at, ufs2);
  if (order == ByteOrder::inherit) return std::nullopt;
  const std::uint64_t place = ufs2 && at != 16384 && at != 32768 ? 65536 : 8192;
  auto copy = examine(view, at, place, order, ufs2);
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
    claim = describe_ffs(view, place, lost, *rest, true);
    claim.strength = Strength::magic;
    add_doubts(claim, *rest);
  } else {
    // What is left may as well be the rest of an older filesystem.
    claim = describe_ffs(view, at, copy->superblock, copy->reading, false);
    claim.strength = Strength::shape;
  }
  claim.find(
      Severity::fault, FindingCode::filesystem_damaged, lost.place_of<"magic">(), 4,
      fmt::format("the superblock at byte {} has magic 0x{:08X}, expected 0x{:08X} as in its "
                  "copy at byte {}, which was used",
                  lost.start(), lost.get<"magic">(), copy->superblock.get<"magic">(),
                  copy->superblock.start()));
  keep_ffs_record(claim, copy->superblock, copy->reading, view, at, "copy in group 0");
  FfsReading reading = rest_holds ? std::move(*rest) : std::move(copy->reading);
  return FfsFound{std::move(claim), copy->superblock, std::move(reading), rest_holds,
                  rest_holds ? place : at};
}

std::optional<FfsFound> find_superblock(const View& view, bool ufs2) {
  for (const std::uint64_t place : ufs2 ? kUfs2Places : kPlaces) {
    if (auto found = found_at(view, place, ufs2)) return found;
  }
  for (const std::uint64_t at : kCopyPlaces) {
    if (auto found = found_by_copy(view, at, ufs2)) return found;
  }
  return std::nullopt;
}

// A bare image of a disk with a front porch: the filesystem starts behind it.
std::optional<FfsFound> found_behind_porch(const View& view, bool ufs2) {
  for (std::uint64_t porch = kPorchStep; porch <= kLongestPorch; porch += kPorchStep) {
    if (order_at(view, porch + kPlaces[0], ufs2) == ByteOrder::inherit) continue;
    const View inside = view.sub(porch, view.bytes() - std::min(view.bytes(), porch));
    auto found = found_at(inside, kPlaces[0], ufs2);
    // Copies look the same: only the first group's own records tell where the filesystem starts.
    if (found && found->claim.strength == Strength::proven) {
      judge_root(inside, *found);
      return found;
    }
  }
  return std::nullopt;
}

std::vector<Claim> claims(const View& view, const Context& context, bool ufs2) {
  auto found = find_ffs(view, ufs2);
  if (!found && context.slice == nullptr) found = found_behind_porch(view, ufs2);
  std::vector<Claim> result;
  if (found) result.push_back(std::move(found->claim));
  return result;
}

std::vector<Claim> ffs_claims(const View& view, const Context& context) {
  return claims(view, context, false);
}

std::vector<Claim> ufs2_claims(const View& view, const Context& context) {
  return claims(view, context, true);
}

}  // namespace

std::optional<FfsFound> find_ffs(const View& view, bool ufs2) {
  auto found = find_superblock(view, ufs2);
  if (found) judge_root(view, *found);
  return found;
}

extern const Format ffs_format;
const Format ffs_format = {.id = "ffs",
                           .title = "FFS filesystem",
                           .stage = Stage::filesystem,
                           .claims = ffs_claims,
                           .open = [](const View& view, const VolumeOptions& options) {
                             return open_ffs(view, options, false);
                           }};

extern const Format ufs2_format;
const Format ufs2_format = {.id = "ufs2",
                            .title = "UFS2 filesystem",
                            .stage = Stage::filesystem,
                            .claims = ufs2_claims,
                            .open = [](const View& view, const VolumeOptions& options) {
                              return open_ffs(view, options, true);
                            }};

}  // namespace platter::filesystem
